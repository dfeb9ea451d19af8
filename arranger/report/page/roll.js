// Draws the roll: the song behind, the sheet in front, drums below, bars and steps as lines.
//
// Only what is in view is drawn. When more notes are in view than can be told apart, cells stand
// for the notes in them and take the look of the note that fared worst; the page says so.

const TOO_MANY = 9000;
const CELL_WIDTH = 4;
const LEAST_TEXT = 10;
const FARED_WORST = OUTCOMES;

class Roll {
  constructor(canvas, view) {
    this.canvas = canvas;
    this.view = view;
    this.account = view.account;
    this.base = document.createElement("canvas");
    this.matches = null;
    this.focus = NO_NOTE;
    this.cursor = -1;
    this.showSong = true;
    this.showSheet = true;
    this.aggregated = false;
    this.stale = true;
    this.waiting = false;
  }

  // Asks for a picture in the next frame; stale when more than focus and cursor changed.
  request(stale) {
    this.stale = this.stale || stale;
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.draw();
    });
  }

  draw() {
    const { view } = this;
    const front = sharpContext(this.canvas, view.width, view.height);
    if (this.stale) {
      const back = sharpContext(this.base, view.width, view.height);
      this.drawBase(back);
      this.stale = false;
    }
    front.clearRect(0, 0, view.width, view.height);
    front.drawImage(this.base, 0, 0, view.width, view.height);
    this.drawFocus(front);
    this.drawCursor(front);
  }

  drawBase(context) {
    const { view, palette } = this;
    context.fillStyle = palette.paper;
    context.fillRect(0, 0, view.width, view.height);
    this.drawRows(context);
    this.drawLines(context);
    clipped(context, view.gutter, RULER, view.width - view.gutter, view.floor - RULER, () => {
      if (this.showSong) this.drawSong(context, false);
      if (this.showSheet) this.drawSheet(context);
    });
    clipped(context, view.gutter, view.floor, view.width - view.gutter, view.laneHeight, () => {
      if (this.showSong) this.drawSong(context, true);
      if (this.showSheet) this.drawDrums(context);
    });
    this.drawGutter(context);
    this.drawRuler(context);
  }

  drawRows(context) {
    const { view, palette } = this;
    context.fillStyle = palette.shade;
    for (let pitch = view.lowest; pitch <= view.highest; pitch += 1) {
      if (!SHARP_NAMES[pitch % 12].endsWith("#")) continue;
      context.fillRect(view.gutter, view.y(pitch), view.width, view.rowPx);
    }
    context.fillStyle = palette.paper;
    context.fillRect(0, view.floor, view.width, view.laneHeight);
  }

  drawLines(context) {
    const { view, palette, account } = this;
    const first = barOfStep(account, view.leftStep).index;
    const tops = [RULER, view.height];
    for (let index = first; index < account.bars.length; index += 1) {
      const bar = account.bars[index];
      if (bar.first > view.rightStep) break;
      if (view.stepPx >= 5) this.drawSteps(context, bar, tops);
      if (bar.steps * view.stepPx < 6) continue;
      context.fillStyle = palette.line;
      context.fillRect(Math.round(view.x(bar.first)), tops[0], 1, tops[1] - tops[0]);
    }
    context.fillStyle = palette.line;
    context.fillRect(0, view.floor, view.width, view.laneHeight > 0 ? 1 : 0);
  }

  drawSteps(context, bar, [top, bottom]) {
    const { view, palette } = this;
    context.fillStyle = palette.faint;
    for (let step = 1; step < bar.steps; step += 1) {
      context.fillRect(Math.round(view.x(bar.first + step)), top, 1, bottom - top);
    }
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
    const shown = FARED_WORST.map(() => []);
    const faded = FARED_WORST.map(() => []);
    eachNoteBetween(account, view.leftStep - 1, view.rightStep, (id) => {
      if (isDrum(account, id) !== drums) return;
      const group = this.passes(id) ? shown : faded;
      group[account.notes.outcome[id]].push(view.noteBox(id));
    });
    context.globalAlpha = 0.18;
    faded.forEach((boxes, index) => drawNotes(context, palette, FARED_WORST[index], boxes));
    context.globalAlpha = 1;
    shown.forEach((boxes, index) => drawNotes(context, palette, FARED_WORST[index], boxes));
  }

  drawCells(context, drums) {
    const { view, account } = this;
    const keys = account.drumKeys;
    const rows = drums ? keys.length : view.highest - view.lowest + 1;
    const cells = new CellGrid(Math.ceil(view.width / CELL_WIDTH), rows);
    eachNoteBetween(account, view.leftStep - 1, view.rightStep, (id) => {
      if (isDrum(account, id) !== drums || !this.passes(id)) return;
      const [x, , width] = view.noteBox(id);
      const pitch = account.notes.pitch[id];
      cells.mark(
        drums ? keys.indexOf(pitch) : view.highest - pitch,
        x / CELL_WIDTH,
        (x + width) / CELL_WIDTH,
        account.notes.outcome[id],
      );
    });
    const top = (row) => (drums ? view.drumY(keys[row]) + 1 : view.y(view.highest - row));
    cells.draw(context, this.palette, top, drums ? view.laneRow * 0.8 : view.rowPx);
  }

  passes(id) {
    return this.matches === null || this.matches.has(id);
  }

  drawSheet(context) {
    const { view, account, palette } = this;
    account.tones.forEach((tones, index) => {
      const boxes = [];
      let at = firstWhere(tones.length, (i) => tones[i].step + tones[i].steps > view.leftStep);
      for (; at < tones.length && tones[at].step < view.rightStep; at += 1) {
        const parts = view.stepPx < LEAST_SHAPE ? [tones[at]] : heardStretches(account, tones[at]);
        parts.forEach(({ step, steps }, number) =>
          boxes.push([...view.toneBox(step, steps, tones[at].pitch), number > 0]),
        );
      }
      drawTones(context, palette, index + 1, boxes);
    });
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

  drawGutter(context) {
    const { view, palette, account } = this;
    context.fillStyle = palette.paper;
    context.fillRect(0, 0, view.gutter, view.height);
    context.fillStyle = palette.quiet;
    context.font = "11px system-ui, sans-serif";
    context.textBaseline = "middle";
    context.textAlign = "right";
    clipped(context, 0, RULER, view.gutter, view.floor - RULER, () => {
      for (let pitch = view.lowest; pitch <= view.highest; pitch += 1) {
        const named = pitch % 12 === 0 || (view.rowPx >= 13 && !pitchName(pitch).includes("#"));
        if (named)
          context.fillText(pitchName(pitch), view.gutter - 6, view.y(pitch) + view.rowPx / 2);
      }
    });
    for (const key of view.laneRow < LEAST_TEXT ? [] : account.drumKeys) {
      const middle = view.drumY(key) + view.laneRow / 2;
      context.fillText(
        fitted(context, account.drumNames[key], view.gutter - 10),
        view.gutter - 6,
        middle,
      );
    }
    context.fillStyle = palette.line;
    context.fillRect(view.gutter - 1, 0, 1, view.height);
  }

  drawRuler(context) {
    const { view, palette, account } = this;
    context.fillStyle = palette.paper;
    context.fillRect(0, 0, view.width, RULER);
    context.fillStyle = palette.line;
    context.fillRect(0, RULER - 1, view.width, 1);
    context.fillStyle = palette.ink;
    context.textAlign = "left";
    let free = view.gutter;
    for (
      let index = barOfStep(account, view.leftStep).index;
      index < account.bars.length;
      index += 1
    ) {
      const x = view.x(account.bars[index].first);
      if (x > view.width) break;
      if (x < free) continue;
      const name = String(account.bars[index].number);
      context.fillText(name, x + 3, RULER / 2);
      free = x + context.measureText(name).width + 14;
    }
    context.textAlign = "right";
    context.fillText("bar", view.gutter - 6, RULER / 2);
  }

  drawFocus(context) {
    if (this.focus === NO_NOTE || this.account.notes.at[this.focus] < 0) return;
    const { view, palette, account } = this;
    clipped(context, view.gutter, RULER, view.width - view.gutter, view.height - RULER, () => {
      const box = view.noteBox(this.focus);
      context.strokeStyle = palette.accent;
      for (const other of account.notes.by[this.focus]) {
        if (account.notes.at[other] >= 0) outline(context, view.noteBox(other), 1, [4, 3]);
      }
      for (const [voice, step, steps] of account.notes.spans[this.focus]) {
        const heard = voice === 0 ? account.notes.pitch[this.focus] : account.notes.out[this.focus];
        const place = voice === 0 ? view.hitBox(step, heard) : view.toneBox(step, steps, heard);
        joined(context, box, place);
        outline(context, place, 1.5, []);
      }
      outline(context, box, 3, []);
    });
  }

  drawCursor(context) {
    if (this.cursor < 0) return;
    const x = this.view.x(this.cursor);
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
}

function toneSourceAt(account, step, pitch) {
  for (const tones of account.tones) {
    const tone = tones[firstWhere(tones.length, (i) => tones[i].step + tones[i].steps > step)];
    if (tone !== undefined && tone.step <= step && tone.pitch === pitch) return tone.source;
  }
  return NO_NOTE;
}

// A raster of cells, each with the worst outcome of the notes in it.
class CellGrid {
  constructor(columns, rows) {
    this.columns = columns;
    this.rows = rows;
    this.worst = new Uint8Array(columns * rows);
  }

  // Marks the cells of a row from left to right, in columns; 0 stays for no note.
  mark(row, left, right, outcome) {
    const from = row * this.columns + Math.max(Math.floor(left), 0);
    const to = row * this.columns + Math.min(Math.ceil(right), this.columns);
    for (let cell = from; cell < to; cell += 1) {
      if (this.worst[cell] <= outcome) this.worst[cell] = outcome + 1;
    }
  }

  // Draws neighbours of the same look as one box.
  draw(context, palette, top, height) {
    const paths = FARED_WORST.map(() => new Path2D());
    for (let row = 0; row < this.rows; row += 1) {
      const start = row * this.columns;
      let from = start;
      for (let cell = start; cell <= start + this.columns; cell += 1) {
        if (cell < start + this.columns && this.worst[cell] === this.worst[from]) continue;
        const outcome = this.worst[from] - 1;
        if (outcome >= 0)
          paths[outcome].rect(
            (from - start) * CELL_WIDTH,
            top(row),
            (cell - from) * CELL_WIDTH,
            height,
          );
        from = cell;
      }
    }
    paths.forEach((path, index) => {
      context.fillStyle =
        FARED_WORST[index] === "dropped"
          ? palette.outcome.dropped
          : patternFor(context, palette, FARED_WORST[index]);
      context.fill(path);
    });
  }
}

function clipped(context, x, y, width, height, draw) {
  context.save();
  context.beginPath();
  context.rect(x, y, Math.max(width, 0), Math.max(height, 0));
  context.clip();
  draw();
  context.restore();
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

function fitted(context, text, width) {
  if (context.measureText(text).width <= width) return text;
  let length = text.length;
  while (length > 1 && context.measureText(`${text.slice(0, length)}…`).width > width) length -= 1;
  return `${text.slice(0, length)}…`;
}
