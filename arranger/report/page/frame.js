// What stands around the notes of the roll: rows and lines behind, names on the left, bars on top.

const LEAST_NAME = 10;
const LEAST_DRUM_NAME = 9;

function drawFrame(context, view, palette) {
  context.fillStyle = palette.paper;
  context.fillRect(0, 0, view.width, view.height);
  drawRows(context, view, palette);
  drawBarLines(context, view, palette);
}

// Octaves are told apart by shade; where pitches are folded away, the border is a line.
function drawRows(context, view, palette) {
  const { pitches } = view.rows;
  clipped(context, view.gutter, RULER, view.room, view.floor - RULER, () => {
    pitches.forEach((pitch, row) => {
      const y = view.rowY(row);
      context.fillStyle = palette.shade;
      if (Math.floor(pitch / 12) % 2 === 0)
        context.fillRect(view.gutter, y, view.width, view.rowPx);
      context.fillStyle = palette.faint;
      if (view.rows.skipsAfter(row))
        context.fillRect(view.gutter, Math.round(y + view.rowPx), view.width, 1);
    });
  });
}

function drawBarLines(context, view, palette) {
  const { account } = view;
  const height = view.height - RULER;
  for (const bar of barsInView(view)) {
    if (view.stepPx >= 5) drawStepLines(context, view, palette, bar);
    if (bar.steps * view.stepPx < 6) continue;
    context.fillStyle = palette.line;
    context.fillRect(Math.round(view.x(bar.first)), RULER, 1, height);
  }
  context.fillStyle = palette.line;
  context.fillRect(Math.round(view.x(account.steps)), RULER, 1, height);
  if (view.laneHeight > 0) context.fillRect(0, view.floor, view.width, 1);
}

// Beats stand out among the steps.
function drawStepLines(context, view, palette, bar) {
  const stepsABeat = bar.steps / bar.beats;
  for (let step = 1; step < bar.steps; step += 1) {
    const onBeat = Math.abs(step / stepsABeat - Math.round(step / stepsABeat)) < 1e-6;
    context.fillStyle = onBeat ? palette.beat : palette.faint;
    context.fillRect(Math.round(view.x(bar.first + step)), RULER, 1, view.height - RULER);
  }
}

function barsInView(view) {
  const { bars } = view.account;
  const first = barOfStep(view.account, view.leftStep).index;
  const after = firstWhere(bars.length, (index) => bars[index].first > view.rightStep);
  return bars.slice(first, Math.max(after, first + 1));
}

// Names of rows and bars, over what was drawn.
function drawNames(context, view, palette) {
  context.fillStyle = palette.paper;
  context.fillRect(0, 0, view.gutter, view.height);
  context.textBaseline = "middle";
  drawPitchNames(context, view, palette);
  drawDrumNames(context, view, palette);
  context.fillStyle = palette.line;
  context.fillRect(view.gutter - 1, 0, 1, view.height);
  drawRuler(context, view, palette);
}

// As many names as have room; the lowest of each octave first.
function drawPitchNames(context, view, palette) {
  const { pitches } = view.rows;
  const rows = [...pitches.keys()];
  const order = [
    ...rows.filter((row) => view.rows.endsOctave(row) || row === pitches.length - 1),
    ...rows,
  ];
  const taken = new Set();
  const apart = Math.ceil(LEAST_NAME / view.rowPx);
  context.textAlign = "right";
  context.fillStyle = palette.quiet;
  context.font = NAMES_FONT;
  clipped(context, 0, RULER, view.gutter, view.floor - RULER, () => {
    for (const row of order) {
      const middle = view.rowY(row) + view.rowPx / 2;
      if (middle < RULER + 6 || middle > view.floor - 5) continue;
      let free = true;
      for (let near = row - apart + 1; near < row + apart; near += 1)
        free = free && !taken.has(near);
      if (!free) continue;
      taken.add(row);
      context.fillText(pitchName(pitches[row]), view.gutter - 6, middle);
    }
  });
}

function drawDrumNames(context, view, palette) {
  const size = Math.min(11, view.laneRow);
  if (size < LEAST_DRUM_NAME) return;
  context.font = `${size}px system-ui, sans-serif`;
  context.fillStyle = palette.quiet;
  for (const key of view.rows.drums) {
    const name = fitted(context, view.account.drumNames[key], view.gutter - 10);
    context.fillText(name, view.gutter - 6, view.drumY(key) + view.laneRow / 2);
  }
}

function drawRuler(context, view, palette) {
  context.fillStyle = palette.card;
  context.fillRect(0, 0, view.width, RULER);
  drawChosenBars(context, view, palette, 0, RULER, 0.35);
  context.fillStyle = palette.line;
  context.fillRect(0, RULER - 1, view.width, 1);
  context.font = NAMES_FONT;
  context.fillStyle = palette.ink;
  context.textAlign = "left";
  let free = view.gutter;
  for (const bar of barsInView(view)) {
    const x = view.x(bar.first);
    if (x < free) continue;
    const name = String(bar.number);
    context.fillText(name, x + 3, RULER / 2);
    free = x + context.measureText(name).width + 14;
  }
  context.fillStyle = palette.card;
  context.fillRect(0, 0, view.gutter - 1, RULER - 1);
  context.fillStyle = palette.quiet;
  context.textAlign = "right";
  context.fillText("bar", view.gutter - 6, RULER / 2);
}

function drawChosenBars(context, view, palette, top, height, alpha) {
  const chosen = chosenSteps();
  if (chosen === null) return;
  const left = Math.max(view.x(chosen.first), view.gutter);
  const right = view.x(chosen.end);
  if (right <= left) return;
  context.globalAlpha = alpha;
  context.fillStyle = palette.accent;
  context.fillRect(left, top, right - left, height);
  context.globalAlpha = 1;
}

function clipped(context, x, y, width, height, draw) {
  context.save();
  context.beginPath();
  context.rect(x, y, Math.max(width, 0), Math.max(height, 0));
  context.clip();
  draw();
  context.restore();
}

function fitted(context, text, width) {
  if (context.measureText(text).width <= width) return text;
  let length = text.length;
  while (length > 1 && context.measureText(`${text.slice(0, length)}…`).width > width) length -= 1;
  return `${text.slice(0, length)}…`;
}
