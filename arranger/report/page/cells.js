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

  // Draws the rows from a height of the canvas on, each so many pixels high, less a gap above and below
  // it; with the tiles of what cells are marked with.
  draw(context, tiles, top, rowPx, [above, below]) {
    const width = this.columns * this.cellWidth;
    const picture = new ImageData(width, Math.max(Math.ceil(this.rows * rowPx), 1));
    const pixels = new Uint32Array(picture.data.buffer);
    for (let row = 0; row < this.rows; row += 1) {
      const last = Math.floor((row + 1) * rowPx - below);
      for (let y = Math.floor(row * rowPx + above); y < last; y += 1)
        this.drawLine(pixels.subarray(y * width, (y + 1) * width), row, y, tiles);
    }
    const sheet = document.createElement("canvas");
    sheet.width = width;
    sheet.height = picture.height;
    sheet.getContext("2d").putImageData(picture, 0, 0);
    context.drawImage(sheet, 0, top);
  }

  drawLine(line, row, y, tiles) {
    const { columns, cellWidth } = this;
    const start = row * columns;
    for (let column = 0; column < columns; column += 1) {
      const worst = this.worst[start + column];
      if (worst === 0) continue;
      const tile = tiles[worst - 1];
      const from = column * cellWidth;
      for (let x = from; x < from + cellWidth; x += 1)
        line[x] = tile[(y % TILE) * TILE + (x % TILE)];
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
