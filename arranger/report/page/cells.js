// A raster of cells, for more notes than can be told apart: each has the worst that became of the notes
// in it, or of the sheet just that something sounds. It is written pixel by pixel: as shapes, so many
// would take a second to draw.

const CELL_WIDTH = 4;

class CellGrid {
  constructor(width, rows, cellWidth) {
    this.cellWidth = cellWidth;
    this.columns = Math.ceil(width / cellWidth);
    const { columns } = this;
    this.rows = rows;
    this.worst = new Uint8Array(columns * rows);
  }

  // Marks the cells of a row from left to right, in pixels; 0 stays for nothing.
  mark(row, left, right, outcome) {
    const from = row * this.columns + Math.max(Math.floor(left / this.cellWidth), 0);
    const to = row * this.columns + Math.min(Math.ceil(right / this.cellWidth), this.columns);
    for (let cell = from; cell < to; cell += 1) {
      if (this.worst[cell] <= outcome) this.worst[cell] = outcome + 1;
    }
  }

  // Returns what is seen from a pixel on, so many wide; rows are so many pixels high, less a gap above
  // and below; with the tiles of what cells are marked with.
  picture(tiles, left, width, rowPx, [above, below]) {
    const sheet = document.createElement("canvas");
    sheet.width = width;
    sheet.height = Math.max(Math.ceil(this.rows * rowPx), 1);
    const context = sheet.getContext("2d");
    const image = context.createImageData(sheet.width, sheet.height);
    const pixels = new Uint32Array(image.data.buffer);
    for (let row = 0; row < this.rows; row += 1) {
      const last = Math.floor((row + 1) * rowPx - below);
      for (let y = Math.floor(row * rowPx + above); y < last; y += 1)
        this.drawLine(pixels.subarray(y * width, (y + 1) * width), left, row, y, tiles);
    }
    context.putImageData(image, 0, 0);
    return sheet;
  }

  drawLine(line, left, row, y, tiles) {
    const { columns, cellWidth, worst } = this;
    const start = row * columns;
    const first = Math.floor(left / cellWidth);
    const last = Math.min(Math.ceil((left + line.length) / cellWidth), columns);
    for (let column = first; column < last; column += 1) {
      const found = worst[start + column];
      if (found === 0) continue;
      const tile = tiles[found - 1];
      const to = Math.min((column + 1) * cellWidth, left + line.length);
      for (let x = Math.max(column * cellWidth, left); x < to; x += 1)
        line[x - left] = tile[(y % TILE) * TILE + (x % TILE)];
    }
  }
}

const readTiles = new Map();

// The pixels of the outcomes' fillings; of the dropped, which have none, of their colour.
function outcomeTiles(palette) {
  return OUTCOMES.map((name) => {
    const colour = palette.outcome[name];
    if (name === "dropped") return plainPixels(colour);
    return tilePixels(`${name} ${colour} ${palette.fill[name]}`, (context) =>
      context.drawImage(tileOf(palette, name), 0, 0),
    );
  });
}

function plainPixels(colour) {
  return tilePixels(colour, (context) => {
    context.fillStyle = colour;
    context.fillRect(0, 0, TILE, TILE);
  });
}

// Reading pixels back takes long, so it is done once for each look.
function tilePixels(look, draw) {
  if (!readTiles.has(look)) {
    const canvas = document.createElement("canvas");
    const context = canvas.getContext("2d", { willReadFrequently: true });
    draw(context);
    const { data } = context.getImageData(0, 0, TILE, TILE);
    readTiles.set(look, new Uint32Array(data.buffer));
  }
  return readTiles.get(look);
}
