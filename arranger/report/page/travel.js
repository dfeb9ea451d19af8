// Scrolling, zooming, pointing and going from note to note by keyboard.

const TALLEST_ROW = 24;
const LEAST_ROW = 4;
const STEPS_AT_FIRST = 64;
const LEAST_STEP_AT_FIRST = 10;

class Travel {
  constructor(roll, focusNote) {
    this.roll = roll;
    this.view = roll.view;
    this.account = roll.account;
    this.focusNote = focusNote;
    this.scroller = document.getElementById("scroller");
    this.extent = document.getElementById("extent");
    this.moved = () => {};
    this.following = true;
    this.listen();
    this.resize();
    this.zoomTo(Math.min(Math.max(this.view.room / STEPS_AT_FIRST, LEAST_STEP_AT_FIRST), 28), 0);
  }

  listen() {
    const { scroller, roll } = this;
    scroller.addEventListener("scroll", () => this.scrolled(), { passive: true });
    scroller.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    roll.canvas.addEventListener("pointermove", (event) => this.hover(event));
    roll.canvas.addEventListener("click", (event) => this.point(event, true));
    roll.canvas.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => this.resize()).observe(scroller);
    const onClick = (id, act) => document.getElementById(id).addEventListener("click", act);
    onClick("wider", () => this.zoomBy(1.5));
    onClick("narrower", () => this.zoomBy(1 / 1.5));
    onClick("taller", () => this.rowsTo(this.view.rowPx + 2));
    onClick("lower", () => this.rowsTo(this.view.rowPx - 2));
    onClick("fit", () => this.zoomTo(this.view.room / this.account.steps, 0));
  }

  // Fits the canvas to the room there is; the roll is as high as its rows, up to the style's limit.
  resize() {
    const { view, scroller, extent } = this;
    view.width = Math.max(scroller.clientWidth, 160);
    extent.style.width = `${Math.max(view.contentWidth, view.width)}px`;
    extent.style.height = `${view.contentHeight}px`;
    view.height = Math.max(Math.min(scroller.clientHeight, view.contentHeight), 120);
    this.scrolled();
  }

  scrolled() {
    this.view.scrollX = this.scroller.scrollLeft;
    this.view.scrollY = this.scroller.scrollTop;
    this.roll.request(true);
    this.moved();
  }

  wheel(event) {
    if (!event.ctrlKey && !event.metaKey) return;
    event.preventDefault();
    const x = event.clientX - this.scroller.getBoundingClientRect().left;
    this.zoomTo(this.view.stepPx * Math.exp(-event.deltaY / 300), x);
  }

  zoomBy(factor) {
    this.zoomTo(this.view.stepPx * factor, this.view.width / 2);
  }

  // Zooms so that the step under a place of the canvas, in pixels from the left, stays there.
  zoomTo(stepPx, anchor) {
    const { view, scroller } = this;
    const step = view.stepAt(Math.max(anchor, view.gutter));
    view.stepPx = Math.min(Math.max(stepPx, NARROWEST_STEP), WIDEST_STEP);
    this.resize();
    scroller.scrollLeft = step * view.stepPx - Math.max(anchor - view.gutter, 0);
    this.scrolled();
    this.say();
  }

  rowsTo(rowPx) {
    const { view, scroller } = this;
    const middle = (view.scrollY + view.floor / 2) / view.rowPx;
    view.rowPx = Math.min(Math.max(rowPx, LEAST_ROW), TALLEST_ROW);
    this.resize();
    scroller.scrollTop = middle * view.rowPx - view.floor / 2;
    this.scrolled();
  }

  // Says when the picture stands for more notes than it can show.
  say() {
    requestAnimationFrame(() => {
      const note = document.getElementById("zoom-note");
      const text = this.roll.aggregated
        ? "Too many notes to show each: a cell shows the worst that became of its notes. Zoom in to see every note."
        : "";
      if (note.textContent !== text) note.textContent = text;
    });
  }

  hover(event) {
    if (event.pointerType === "mouse" && event.buttons === 0) this.point(event, false);
  }

  point(event, chosen) {
    const bounds = this.roll.canvas.getBoundingClientRect();
    const id = this.roll.noteAt(event.clientX - bounds.left, event.clientY - bounds.top);
    this.roll.canvas.style.cursor = id === NO_NOTE ? "default" : "pointer";
    if (id !== NO_NOTE || chosen) this.focusNote(id, { pinned: chosen, reveal: false });
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const act = {
      ArrowRight: () => this.step(1),
      ArrowLeft: () => this.step(-1),
      ArrowUp: () => this.across(1),
      ArrowDown: () => this.across(-1),
      PageDown: () => this.byBar(1),
      PageUp: () => this.byBar(-1),
      Home: () => this.toDrawn(0, 1),
      End: () => this.toDrawn(this.account.drawn.length - 1, -1),
      Escape: () => this.focusNote(NO_NOTE, { pinned: false, reveal: false }),
      "+": () => this.zoomBy(1.5),
      "-": () => this.zoomBy(1 / 1.5),
    }[event.key];
    if (act === undefined) return;
    event.preventDefault();
    act();
  }

  // Goes to the first note from a place in the order of time on, in a direction, that the filter lets through.
  toDrawn(start, direction) {
    const { drawn } = this.account;
    for (let index = start; index >= 0 && index < drawn.length; index += direction) {
      if (this.roll.passes(drawn[index])) {
        this.focusNote(drawn[index], { pinned: true, reveal: true });
        return;
      }
    }
  }

  step(direction) {
    const { drawn } = this.account;
    const { focus } = this.roll;
    if (focus === NO_NOTE) {
      const index = firstWhere(
        drawn.length,
        (i) => this.account.notes.at[drawn[i]] >= this.view.leftStep,
      );
      this.toDrawn(Math.min(index, drawn.length - 1), 1);
    } else {
      this.toDrawn(drawn.indexOf(focus) + direction, direction);
    }
  }

  // Goes to the nearest note above or below that sounds at the same time; drums lie below all pitches.
  across(direction) {
    const { account, roll } = this;
    if (roll.focus === NO_NOTE) return this.step(1);
    const height = (id) =>
      isDrum(account, id)
        ? -1 - account.drumKeys.indexOf(account.notes.pitch[id])
        : account.notes.pitch[id];
    const here = height(roll.focus);
    const at = account.notes.at[roll.focus];
    let best = NO_NOTE;
    eachNoteBetween(account, at - 0.01, at + 0.51, (id) => {
      const away = (height(id) - here) * direction;
      if (away <= 0 || !this.roll.passes(id)) return;
      if (best === NO_NOTE || away < (height(best) - here) * direction) best = id;
    });
    if (best !== NO_NOTE) this.focusNote(best, { pinned: true, reveal: true });
    return undefined;
  }

  byBar(direction) {
    const { account, roll, view } = this;
    const step = roll.focus === NO_NOTE ? view.leftStep : account.notes.at[roll.focus];
    const bar = account.bars[barOfStep(account, step).index + direction];
    if (bar === undefined) return;
    const index = firstWhere(
      account.drawn.length,
      (i) => account.notes.at[account.drawn[i]] >= bar.first,
    );
    this.toDrawn(Math.min(index, account.drawn.length - 1), 1);
  }

  // Scrolls a note into view, where it isn't.
  reveal(id) {
    const { view, scroller, account } = this;
    if (account.notes.at[id] < 0) return;
    const [x, y, width] = view.noteBox(id);
    if (x < view.gutter + 8 || x + Math.min(width, 60) > view.width - 8) {
      this.goToStep(account.notes.at[id] - (view.room / view.stepPx) * 0.3);
    }
    if (!isDrum(account, id) && (y < RULER + 4 || y > view.floor - view.rowPx - 4)) {
      scroller.scrollTop += y - (RULER + view.floor) / 2;
    }
    this.scrolled();
  }

  goToStep(step) {
    this.scroller.scrollLeft = Math.max(step, 0) * this.view.stepPx;
    this.scrolled();
  }

  // Keeps a playing cursor in view: turns the page when it reaches the last tenth.
  follow(step) {
    const { view } = this;
    const x = view.x(step);
    if (x < view.gutter || x > view.gutter + view.room * 0.9) {
      this.goToStep(step - (view.room / view.stepPx) * 0.08);
    }
  }
}
