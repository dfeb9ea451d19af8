// The picture language: an outcome is told by outline, filling and colour, any two of which suffice.
//
// kept     a plain block, lightly filled
// changed  a block with its end cut off aslant, hatched
// merged   a block with round ends, dotted
// dropped  an empty block with a broken outline, crossed at its start
// voice 1  a dark bar with a pointed head; voice 2 a bar with a light core and a round head; without
//          a head where a tone goes on after a drum
// drum     a dark lozenge with a line for as long as it sounds

// Narrower than this, in pixels, a shape can't be told: a plain block is drawn, and drawn faster.
const LEAST_SHAPE = 4;

// A filling repeats after so many pixels, both ways.
const TILE = 6;

const patternTiles = new Map();

function patternFor(context, palette, outcome) {
  return context.createPattern(tileOf(palette, outcome), "repeat");
}

function tileOf(palette, outcome) {
  const key = `${outcome} ${palette.outcome[outcome]} ${palette.fill[outcome]}`;
  if (!patternTiles.has(key)) patternTiles.set(key, drawTile(palette, outcome));
  return patternTiles.get(key);
}

function drawTile(palette, outcome) {
  const tile = document.createElement("canvas");
  tile.width = TILE;
  tile.height = TILE;
  const context = tile.getContext("2d");
  context.fillStyle = palette.fill[outcome];
  context.fillRect(0, 0, TILE, TILE);
  context.strokeStyle = palette.outcome[outcome];
  context.fillStyle = palette.outcome[outcome];
  if (outcome === "changed") {
    context.lineWidth = 1.5;
    context.beginPath();
    for (const shift of [-TILE, 0, TILE]) {
      context.moveTo(shift, TILE);
      context.lineTo(shift + TILE, 0);
    }
    context.stroke();
  } else if (outcome === "merged") {
    context.fillRect(1, 1, 2, 2);
    context.fillRect(4, 4, 2, 2);
  }
  return tile;
}

const NOTE_PATHS = {
  kept(path, x, y, width, height) {
    path.rect(x, y, width, height);
  },
  changed(path, x, y, width, height) {
    const cut = Math.min(height * 0.8, width * 0.6);
    path.moveTo(x, y);
    path.lineTo(x + width, y);
    path.lineTo(x + width - cut, y + height);
    path.lineTo(x, y + height);
    path.closePath();
  },
  merged(path, x, y, width, height) {
    path.roundRect(x, y, width, height, Math.min(height, width) / 2);
  },
  dropped(path, x, y, width, height) {
    path.rect(x, y, width, height);
  },
};

function crossPath(path, x, y, width, height) {
  const size = Math.min(height, Math.max(width, height * 0.6));
  path.moveTo(x, y);
  path.lineTo(x + size, y + height);
  path.moveTo(x, y + height);
  path.lineTo(x + size, y);
}

// Draws many notes of one outcome at once: boxes are [x, y, width, height].
function drawNotes(context, palette, outcome, boxes) {
  const path = new Path2D();
  const crosses = new Path2D();
  for (const [x, y, width, height] of boxes) {
    if (width < LEAST_SHAPE) {
      path.rect(x, y, width, height);
      continue;
    }
    NOTE_PATHS[outcome](path, x, y, width, height);
    if (outcome === "dropped") crossPath(crosses, x, y, width, height);
  }
  context.lineWidth = 1;
  context.strokeStyle = palette.outcome[outcome];
  if (outcome === "dropped") {
    context.setLineDash([3, 2]);
    context.stroke(path);
    context.setLineDash([]);
    context.stroke(crosses);
    return;
  }
  context.fillStyle =
    outcome === "kept" ? palette.fill.kept : patternFor(context, palette, outcome);
  context.fill(path);
  context.stroke(path);
}

// Draws many tones of one voice (1 or 2) of the sheet at once: boxes, and whether each only goes on.
function drawTones(context, palette, voice, boxes) {
  const bars = new Path2D();
  const heads = new Path2D();
  const cores = new Path2D();
  for (const [x, y, width, height, goesOn] of boxes) {
    const middle = y + height / 2;
    const thick = Math.max(height * 0.42, 2);
    const head = goesOn ? 0 : Math.min(height * 0.5, width * 0.35);
    bars.rect(x, middle - thick / 2, width, thick);
    if (width < LEAST_SHAPE) continue;
    if (voice === 1) {
      heads.moveTo(x, y);
      heads.lineTo(x + head * 1.5, middle);
      heads.lineTo(x, y + height);
      heads.closePath();
    } else {
      heads.moveTo(x + head * 2, middle);
      heads.arc(x + head, middle, head, 0, 2 * Math.PI);
      const inset = Math.min(1.2, thick / 3);
      cores.rect(
        x + head * 1.6,
        middle - thick / 2 + inset,
        Math.max(width - head * 1.6 - inset, 0),
        thick - 2 * inset,
      );
    }
  }
  context.fillStyle = palette.ink;
  context.fill(bars);
  context.fill(heads);
  if (voice === 2) {
    context.fillStyle = palette.paper;
    context.fill(cores);
  }
}

// Draws many hits at once: boxes, and for how many pixels each sounds.
function drawHits(context, palette, boxes) {
  const path = new Path2D();
  for (const [x, y, width, height, length] of boxes) {
    const reach = Math.min(Math.max(width / 2, height * 0.35), height * 0.6);
    const middle = y + height / 2;
    path.moveTo(x, middle);
    path.lineTo(x + reach, y);
    path.lineTo(x + 2 * reach, middle);
    path.lineTo(x + reach, y + height);
    path.closePath();
    path.rect(x + reach, middle - 1, Math.max(length - reach, 0), 2);
  }
  context.fillStyle = palette.ink;
  context.fill(path);
}

// The legend is drawn by the same hand as the roll.
function drawSwatches(palette) {
  for (const canvas of document.querySelectorAll("canvas.swatch")) {
    const [width, height] = [44, 18];
    const context = sharpContext(canvas, width, height);
    context.clearRect(0, 0, width, height);
    const box = [[1.5, 3.5, 40, 11]];
    const { outcome, voice } = canvas.dataset;
    if (outcome !== undefined) drawNotes(context, palette, outcome, box);
    else if (voice === "0") drawHits(context, palette, [[16, 3, 10, 12, 22]]);
    else drawTones(context, palette, Number(voice), box);
  }
}

// Sizes a canvas for the screen's pixels and returns its context, scaled to CSS pixels.
function sharpContext(canvas, width, height, ratio = window.devicePixelRatio || 1) {
  const [across, down] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== across || canvas.height !== down) {
    canvas.width = across;
    canvas.height = down;
    canvas.style.width = `${width}px`;
    canvas.style.height = `${height}px`;
  }
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  return context;
}
