// Draws the roll: the song behind, the sheet in front, drums below, bars and steps as lines.
//
// Only what is in view is drawn. When more notes are in view than can be told apart, cells stand
// for the notes in them and take the look of the note that fared worst; the page says so.

const TOO_MANY = 2500;
const MANY_STEPS = 800;

class Roll {
  constructor(canvas, view) {
    this.canvas = canvas;
    this.view = view;
    this.base = document.createElement("canvas");
    this.palette = readPalette();
    this.showSong = true;
    this.showSheet = true;
    this.aggregated = false;
    this.rasters = new Map();
    this.stale = true;
    this.inNextFrame = inNextFrame(() => this.draw());
  }

  // Draws again whenever what it shows changes.
  listen() {
    onchange("selection pointed place preview", () => this.request(false));
    onchange("data filter view sound", () => this.request(true));
    onchange("colours", () => {
      this.palette = readPalette();
      this.request(true);
    });
  }

  // Asks for a picture in the next frame; stale when more than choice and cursor changed.
  request(stale) {
    this.stale = this.stale || stale;
    this.inNextFrame();
  }

  get account() {
    return this.view.account;
  }

  draw() {
    const { view } = this;
    const front = sharpContext(this.canvas, view.width, view.height);
    if (this.stale) {
      this.drawBase(sharpContext(this.base, view.width, view.height));
      this.stale = false;
    }
    front.clearRect(0, 0, view.width, view.height);
    front.drawImage(this.base, 0, 0, view.width, view.height);
    clipped(front, view.gutter, RULER, view.room, view.height - RULER, () => this.drawChosen(front));
    clipped(front, 0, 0, view.width, RULER, () => drawRuler(front, view, this.palette));
    this.drawCursor(front);
  }

  drawBase(context) {
    const { view, palette } = this;
    drawFrame(context, view, palette);
    clipped(context, view.gutter, RULER, view.room, view.floor - RULER, () => {
      if (this.showSong) this.drawSong(context, false);
      if (this.showSheet) this.drawSheet(context);
    });
    clipped(context, view.gutter, view.floor, view.room, view.laneHeight, () => {
      if (this.showSong) this.drawSong(context, true);
      if (this.showSheet && this.manySteps) this.drawDrumCells(context);
      else if (this.showSheet) this.drawDrums(context);
    });
    drawNames(context, view, palette);
  }

  // Draws the notes of the song, only the drums or only the others.
  drawSong(context, drums) {
    const { view, account } = this;
    const visible = notesBetween(account, view.leftStep - 1, view.rightStep);
    this.aggregated = visible > TOO_MANY;
    if (this.aggregated) this.drawCells(context, drums);
    else this.drawSingly(context, drums);
  }

  drawSingly(context, drums) {
    const { view, account, palette } = this;
    const shown = OUTCOMES.map(() => []);
    const faded = OUTCOMES.map(() => []);
    const heard = account.parts.map((part) => isHeard(`song ${part.index}`));
    eachNoteBetween(account, view.leftStep - 1, view.rightStep, (id) => {
      if (isDrum(account, id) !== drums) return;
      const group = passes(id) && heard[account.notes.part[id]] ? shown : faded;
      group[account.notes.outcome[id]].push(view.noteBox(id));
    });
    context.globalAlpha = 0.18;
    faded.forEach((boxes, index) => drawNotes(context, palette, OUTCOMES[index], boxes));
    context.globalAlpha = 1;
    shown.forEach((boxes, index) => drawNotes(context, palette, OUTCOMES[index], boxes));
  }

  drawCells(context, drums) {
    const cells = this.kept(`notes ${drums}`, () => this.noteCells(drums));
    this.drawRaster(context, cells, outcomeTiles(this.palette), drums, 0);
  }

  // The notes of the whole song at this zoom.
  noteCells(drums) {
    const { view, account } = this;
    const { notes } = account;
    const { rows, stepPx } = view;
    const rowsOf = drums ? rows.drumRows : rows.place;
    const count = drums ? rows.drums.length : rows.pitches.length;
    const cells = new CellGrid(account.steps * stepPx, count, CELL_WIDTH);
    for (const id of account.drawn) {
      if (isDrum(account, id) !== drums || !passes(id)) continue;
      const from = notes.at[id] * stepPx;
      const to = from + (drums ? 0.8 : notes.steps[id]) * stepPx;
      cells.mark(rowsOf[notes.pitch[id]], from, to, notes.outcome[id]);
    }
    return cells;
  }

  // Keeps a raster while scrolling: until zoom, rows or filter change.
  kept(name, make) {
    const { stepPx, rows } = this.view;
    const found = this.rasters.get(name);
    const asked = [stepPx, rows, state.matches];
    if (found !== undefined && asked.every((each, at) => each === found.asked[at]))
      return found.cells;
    const cells = make();
    this.rasters.set(name, { asked, cells });
    return cells;
  }

  // Gaps are of a row's height, above and below.
  drawRaster(context, cells, tiles, drums, gap) {
    const { view } = this;
    const [top, rowPx] = drums
      ? [view.floor + LANE_GAP, view.laneRow]
      : [view.rowY(0), view.rowPx];
    const left = Math.round(view.scrollX);
    const gaps = [gap * rowPx, gap * rowPx + 1];
    const picture = cells.picture(tiles, left, Math.ceil(view.room), rowPx, gaps);
    context.drawImage(picture, view.gutter, top);
  }

  get manySteps() {
    return this.view.rightStep - this.view.leftStep > MANY_STEPS;
  }

  drawSheet(context) {
    const { view, account, palette } = this;
    if (this.manySteps) {
      this.drawSheetCells(context);
      return;
    }
    account.tones.forEach((tones, index) => {
      const boxes = [];
      eachToneBetween(tones, view.leftStep, view.rightStep, (tone) => {
        const parts = view.stepPx < LEAST_SHAPE ? [tone] : heardStretches(account, tone);
        parts.forEach(({ step, steps }, number) =>
          boxes.push([...view.toneBox(step, steps, tone.pitch), number > 0]),
        );
      });
      drawTones(context, palette, index + 1, boxes);
    });
  }

  drawSheetCells(context) {
    const { account, view } = this;
    const { rows, stepPx } = view;
    const cells = this.kept("sheet", () => {
      const made = new CellGrid(account.steps * stepPx, rows.pitches.length, 1);
      for (const { step, steps, pitch } of account.tones.flat())
        made.mark(rows.of(pitch), step * stepPx, (step + steps) * stepPx, 0);
      return made;
    });
    this.drawRaster(context, cells, [plainPixels(this.palette.ink)], false, 0.3);
  }

  drawDrums(context) {
    const { view, account } = this;
    const boxes = [];
    const last = Math.min(Math.ceil(view.rightStep), account.steps);
    for (let step = Math.max(Math.floor(view.leftStep), 0); step < last; step += 1) {
      const sound = account.sheet.drums[step];
      if (sound < 0) continue;
      const length = account.engine.silentShares[sound] * view.stepPx;
      for (const key of account.hitKeys.get(step) ?? [])
        boxes.push([...view.hitBox(step, key), length]);
    }
    drawHits(context, this.palette, boxes);
  }

  drawDrumCells(context) {
    const { account, view } = this;
    const { rows, stepPx } = view;
    const cells = this.kept("hits", () => {
      const made = new CellGrid(account.steps * stepPx, rows.drums.length, 1);
      for (const [step, keys] of account.hitKeys)
        for (const key of keys) made.mark(rows.drumRows[key], step * stepPx, step * stepPx + 1, 0);
      return made;
    });
    this.drawRaster(context, cells, [plainPixels(this.palette.ink)], true, 0.25);
  }

  // Chosen bars, the chosen note with what took its place, and what an edit would do.
  drawChosen(context) {
    const { view, palette } = this;
    drawChosenBars(context, view, palette, RULER, view.height, 0.12);
    if (state.pointed !== NO_NOTE) this.drawNote(context, state.pointed, 1.5);
    if (state.note !== NO_NOTE) this.drawNote(context, state.note, 3);
    if (state.preview !== null) drawPreview(context, view, palette, state.preview);
  }

  drawNote(context, id, thick) {
    const { view, palette, account } = this;
    const { notes } = account;
    if (notes.at[id] < 0) return;
    const box = view.noteBox(id);
    context.strokeStyle = palette.accent;
    for (const other of notes.by[id]) {
      if (notes.at[other] >= 0) outline(context, view.noteBox(other), 1, [4, 3]);
    }
    for (const [voice, step, steps] of notes.spans[id]) {
      const place =
        voice === 0
          ? view.hitBox(step, notes.pitch[id])
          : view.toneBox(step, steps, notes.out[id]);
      joined(context, box, place);
      outline(context, place, 1.5, []);
    }
    outline(context, box, thick, []);
  }

  drawCursor(context) {
    const x = this.view.x(state.step);
    if (x < this.view.gutter) return;
    context.fillStyle = this.palette.accent;
    context.fillRect(x - 1, 0, 2, this.view.height);
  }

  // The note under a point of the canvas, or NO_NOTE: a note of the song first, then a tone's source.
  noteAt(x, y) {
    const { view, account } = this;
    if (x < view.gutter || y < RULER) return NO_NOTE;
    const onDrums = y >= view.floor;
    const row = onDrums ? view.drumAt(y) : view.pitchAt(y);
    const reach = 3 / view.stepPx;
    const step = view.stepAt(x);
    let best = NO_NOTE;
    let shortest = Infinity;
    eachNoteBetween(account, step - reach - (onDrums ? 1 : 0), step + reach, (id) => {
      if (account.notes.pitch[id] !== row || isDrum(account, id) !== onDrums) return;
      const width = onDrums ? Math.abs(account.notes.at[id] - step) : account.notes.steps[id];
      if (width < shortest) [best, shortest] = [id, width];
    });
    return best !== NO_NOTE || onDrums ? best : toneSourceAt(account, step, row);
  }

  // The note nearest to a point, at most so many pixels away, on the same side of the drums' border.
  noteNear(x, y, reach) {
    const { view, account } = this;
    if (x < view.gutter || y < RULER) return NO_NOTE;
    let best = NO_NOTE;
    let least = reach;
    eachNoteBetween(account, view.stepAt(x - reach) - 1, view.stepAt(x + reach), (id) => {
      if (isDrum(account, id) !== y >= view.floor) return;
      const away = distance(view.noteBox(id), x, y);
      if (away < least) [best, least] = [id, away];
    });
    return best;
  }
}

// How far a point is from a box.
function distance([left, top, width, height], x, y) {
  const across = Math.max(left - x, x - left - width, 0);
  return Math.hypot(across, Math.max(top - y, y - top - height, 0));
}

function eachToneBetween(tones, left, right, visit) {
  let at = firstWhere(tones.length, (i) => tones[i].step + tones[i].steps > left);
  for (; at < tones.length && tones[at].step < right; at += 1) visit(tones[at]);
}

function toneSourceAt(account, step, pitch) {
  for (const tones of account.tones) {
    const tone = tones[firstWhere(tones.length, (i) => tones[i].step + tones[i].steps > step)];
    if (tone !== undefined && tone.step <= step && tone.pitch === pitch) return tone.source;
  }
  return NO_NOTE;
}

// What an edit would put is drawn as the sheet's, in the colour of choice; what it would displace crossed.
function drawPreview(context, view, palette, { tones = [], drums = [], lost = [] }) {
  const coloured = { ...palette, ink: palette.accent };
  for (const { voice, step, steps, pitch } of tones) {
    const box = view.toneBox(step, steps, pitch);
    drawTones(context, coloured, voice, [[...box, false]]);
    context.strokeStyle = palette.accent;
    outline(context, box, 1.5, [2, 2]);
  }
  const hits = drums.map(({ step, key }) => [...view.hitBox(step, key), view.stepPx / 2]);
  drawHits(context, coloured, hits);
  context.strokeStyle = palette.outcome.dropped;
  for (const id of lost) {
    const [x, y, width, height] = view.noteBox(id);
    outline(context, [x, y, width, height], 2, [3, 2]);
    const cross = new Path2D();
    crossPath(cross, x, y, width, height);
    context.stroke(cross);
  }
}

function outline(context, [x, y, width, height], thick, dashes) {
  context.lineWidth = thick;
  context.setLineDash(dashes);
  context.strokeRect(x - 2, y - 2, width + 4, height + 4);
  context.setLineDash([]);
}

function joined(context, from, to) {
  if (Math.abs(from[1] - to[1]) < 1 && Math.abs(from[0] - to[0]) < 2) return;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(from[0] + 2, from[1] + from[3] / 2);
  context.lineTo(to[0] + 2, to[1] + to[3] / 2);
  context.stroke();
}

function passes(id) {
  return state.matches === null || state.matches.has(id);
}
