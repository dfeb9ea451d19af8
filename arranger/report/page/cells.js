// A raster of cells, each with the worst that became of the notes in it: for more notes than can be told
// apart. Its order of outcomes is that of the account, from best to worst.

const CELL_WIDTH = 4;

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
    const paths = OUTCOMES.map(() => new Path2D());
    for (let row = 0; row < this.rows; row += 1) {
      const start = row * this.columns;
      let from = start;
      for (let cell = start; cell <= start + this.columns; cell += 1) {
        if (cell < start + this.columns && this.worst[cell] === this.worst[from]) continue;
        const outcome = this.worst[from] - 1;
        if (outcome >= 0) {
          const left = (from - start) * CELL_WIDTH;
          paths[outcome].rect(left, top(row), (cell - from) * CELL_WIDTH, height);
        }
        from = cell;
      }
    }
    paths.forEach((path, index) => {
      const name = OUTCOMES[index];
      context.fillStyle =
        name === "dropped" ? palette.outcome.dropped : patternFor(context, palette, name);
      context.fill(path);
    });
  }
}
