// The strip of the whole song: a column a bar, as tall and dark as the share that was lost there.

class Overview {
  constructor(canvas, view) {
    this.canvas = canvas;
    this.view = view;
    this.palette = readPalette();
    this.request = inNextFrame(() => this.draw());
    canvas.addEventListener("click", (event) => this.click(event));
    canvas.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => changed("view")).observe(canvas.parentElement);
    onchange("view place", () => this.request());
    onchange("colours", () => {
      this.palette = readPalette();
      this.request();
    });
    onchange("data selection", () => this.say());
  }

  get account() {
    return state.account;
  }

  // Index of the bar that was chosen last.
  get bar() {
    return state.bars?.from ?? 0;
  }

  get width() {
    return Math.max(this.canvas.parentElement.clientWidth, 100);
  }

  draw() {
    const { width, palette, account } = this;
    const height = 64;
    const context = sharpContext(this.canvas, width, height);
    const perStep = width / account.steps;
    context.fillStyle = palette.shade;
    context.fillRect(0, 0, width, height);
    for (const [left, right, share] of this.columns(width)) {
      const tall = share === 0 ? 2 : 4 + share * (height - 8);
      context.fillStyle = share === 0 ? palette.fill.kept : palette.loss;
      context.globalAlpha = share === 0 ? 1 : 0.45 + 0.55 * share;
      context.fillRect(left, height - tall, right - left, tall);
    }
    context.globalAlpha = 1;
    this.drawWindow(context, perStep, height);
  }

  // Left, right and share lost of each column; a column takes the worst of its bars.
  columns(width) {
    const { bars, steps } = this.account;
    const columns = [];
    let open = null;
    for (const bar of bars) {
      const left = (bar.first / steps) * width;
      const right = ((bar.first + bar.steps) / steps) * width;
      const { share } = bar;
      if (open !== null && right - open[0] < 2) {
        open[1] = right;
        open[2] = Math.max(open[2], share);
        continue;
      }
      open = [left, right, share];
      columns.push(open);
    }
    return columns.map(([left, right, share]) => [
      left,
      Math.max(right - (right - left > 4 ? 1 : 0), left + 1),
      share,
    ]);
  }

  drawWindow(context, perStep, height) {
    const { view, palette, account } = this;
    const left = Math.max(view.leftStep, 0) * perStep;
    const right = Math.min(view.rightStep, account.steps) * perStep;
    context.strokeStyle = palette.ink;
    context.lineWidth = 2;
    context.strokeRect(left + 1, 1, Math.max(right - left - 2, 3), height - 2);
    context.fillStyle = palette.accent;
    context.fillRect(state.step * perStep - 1, 0, 2, height);
  }

  click(event) {
    const share = (event.clientX - this.canvas.getBoundingClientRect().left) / this.width;
    this.go(barOfStep(this.account, share * this.account.steps).index);
  }

  key(event) {
    const { bars } = this.account;
    const to = {
      ArrowRight: this.bar + 1,
      ArrowUp: this.bar + 1,
      ArrowLeft: this.bar - 1,
      ArrowDown: this.bar - 1,
      PageDown: this.bar - 8,
      PageUp: this.bar + 8,
      Home: 0,
      End: bars.length - 1,
    }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    this.go(Math.min(Math.max(to, 0), bars.length - 1));
  }

  go(index) {
    select({ bar: index });
  }

  say() {
    const { bars } = this.account;
    const bar = bars[this.bar];
    this.canvas.setAttribute("aria-valuemin", String(bars[0].number));
    this.canvas.setAttribute("aria-valuemax", String(bars[bars.length - 1].number));
    this.canvas.setAttribute("aria-valuenow", String(bar.number));
    this.canvas.setAttribute(
      "aria-valuetext",
      `${bar.name}: ${bar.dropped} of ${bar.notes} notes not heard`,
    );
  }
}
