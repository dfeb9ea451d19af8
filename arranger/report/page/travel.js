// Scrolling and zooming: by hand, to what was chosen, and along with the music.

const TALLEST_ROW = 24;
const LEAST_ROW = 5;
const ROW_AT_FIRST = 9;
const STEPS_AT_FIRST = 64;
const LEAST_STEP_AT_FIRST = 10;

class Travel {
  constructor(roll) {
    this.roll = roll;
    this.view = roll.view;
    this.scroller = document.getElementById("scroller");
    this.extent = document.getElementById("extent");
    // Where the page itself last scrolled to.
    this.own = { left: 0, top: 0 };
    this.following = true;
    this.listen();
  }

  listen() {
    const { scroller, view } = this;
    scroller.addEventListener("scroll", () => this.scrolledTo(), { passive: true });
    document.getElementById("folded").addEventListener("change", (event) =>
      this.relaid(() => {
        view.folded = event.target.checked;
        view.adopt(state.account);
      }),
    );
    scroller.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    new ResizeObserver(() => state.account !== null && this.resize()).observe(scroller);
    const onClick = (id, act) => document.getElementById(id).addEventListener("click", act);
    onClick("wider", () => this.zoomBy(1.5));
    onClick("narrower", () => this.zoomBy(1 / 1.5));
    onClick("taller", () => this.rowsTo(this.view.rowPx + 2));
    onClick("lower", () => this.rowsTo(this.view.rowPx - 2));
    onClick("fit", () => this.zoomTo(this.view.room / state.account.steps, 0));
    onchange("data", () => this.adopt());
    onchange("selection", () => this.revealChosen());
  }

  // Lays a new account out; what stood at the left and in the middle stays there.
  adopt() {
    const { view } = this;
    const before = view.account;
    if (before === undefined) {
      view.adopt(state.account);
      this.openFirst();
      return;
    }
    const step = sameStep(before, state.account, view.leftStep);
    this.relaid(() => view.adopt(state.account));
    this.scrollTo(step * view.stepPx, this.scroller.scrollTop);
  }

  // Lays the rows out anew; the pitch in the middle stays there.
  relaid(act) {
    const { view } = this;
    const middle = view.rowAt((RULER + view.floor) / 2);
    const pitch = view.rows.pitches[Math.min(Math.max(middle, 0), view.rows.pitches.length - 1)];
    act();
    this.resize();
    this.centre(view.rows.of(pitch) + 0.5);
  }

  // Opens at the start, with both voices in the middle, as large as lets both be seen.
  openFirst() {
    const { view } = this;
    this.resize();
    const heard = view.account.tones.flat().map((tone) => view.rows.of(tone.pitch));
    const rows = heard.length > 0 ? heard : [0];
    const [top, bottom] = [Math.min(...rows), Math.max(...rows) + 1];
    const room = view.floor - RULER - 2 * PAD;
    const whole = room / view.rows.pitches.length;
    view.rowPx =
      whole >= ROW_AT_FIRST
        ? Math.min(whole, 16)
        : Math.max(Math.min(room / (bottom - top), ROW_AT_FIRST), LEAST_ROW);
    this.zoomTo(Math.min(Math.max(view.room / STEPS_AT_FIRST, LEAST_STEP_AT_FIRST), 28), 0);
    this.centre((top + bottom) / 2);
  }

  // Scrolls so that a row, counted from 0, stands in the middle.
  centre(row) {
    const { view, scroller } = this;
    const top = PAD + row * view.rowPx - (view.floor - RULER) / 2;
    this.scrollTo(scroller.scrollLeft, top);
  }

  // Fits the canvas to the room there is.
  resize() {
    const { view, scroller, extent } = this;
    view.width = Math.max(scroller.clientWidth, 160);
    view.height = Math.max(scroller.clientHeight, 120);
    extent.style.width = `${Math.max(view.contentWidth, view.width)}px`;
    extent.style.height = `${Math.max(view.contentHeight, view.height)}px`;
    this.scrolled();
  }

  scrollTo(left, top) {
    const { scroller } = this;
    scroller.scrollLeft = left;
    scroller.scrollTop = top;
    this.scrolled();
  }

  // Where the page itself didn't scroll, the user did: from then on the music isn't followed.
  scrolledTo() {
    const { left, top } = this.own;
    if (this.scroller.scrollLeft === left && this.scroller.scrollTop === top) return;
    if (this.scroller.scrollLeft !== left) this.following = false;
    this.scrolled();
  }

  scrolled() {
    const { view, scroller } = this;
    view.scrollX = scroller.scrollLeft;
    view.scrollY = scroller.scrollTop;
    this.own = { left: view.scrollX, top: view.scrollY };
    changed("view");
  }

  // What has to be known to come back to this sight.
  get place() {
    const { stepPx, rowPx, leftStep, scrollY, folded } = this.view;
    const down = document.scrollingElement.scrollTop;
    return { stepPx, rowPx, leftStep, scrollY, folded, down };
  }

  restore({ stepPx, rowPx, leftStep, scrollY, folded, down }) {
    const { view } = this;
    Object.assign(view, { stepPx, rowPx, folded });
    document.getElementById("folded").checked = folded;
    view.adopt(state.account);
    this.resize();
    this.scrollTo(leftStep * stepPx, scrollY);
    this.say();
    document.scrollingElement.scrollTop = down;
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
    this.scrollTo(step * view.stepPx - Math.max(anchor - view.gutter, 0), scroller.scrollTop);
    this.say();
  }

  rowsTo(rowPx) {
    this.relaid(() => {
      this.view.rowPx = Math.min(Math.max(rowPx, LEAST_ROW), TALLEST_ROW);
    });
  }

  // Says when the picture stands for more notes than it can show.
  say() {
    requestAnimationFrame(() =>
      setText(
        "zoom-note",
        this.roll.aggregated
          ? "Too many notes to show each: a cell shows the worst that became of its notes. Zoom in to see every note."
          : "",
      ),
    );
  }

  // Brings what was chosen into sight: the note if there is one, else the bars.
  revealChosen() {
    if (!state.how.reveal) return;
    if (state.note !== NO_NOTE && state.account.notes.at[state.note] >= 0) this.reveal(state.note);
    else if (state.bars !== null) this.revealBars();
    else return;
    bringIntoSight(document.querySelector(".sight"));
  }

  reveal(id) {
    const { view, scroller } = this;
    const [x, y, width] = view.noteBox(id);
    if (x < view.gutter + 8 || x + Math.min(width, 60) > view.width - 8)
      this.goToStep(view.account.notes.at[id] - (view.room / view.stepPx) * 0.3);
    if (!isDrum(view.account, id) && (y < RULER + 4 || y > view.floor - view.rowPx - 4))
      this.scrollTo(scroller.scrollLeft, scroller.scrollTop + y - (RULER + view.floor) / 2);
  }

  // Bars that lie in sight stay where they are.
  revealBars() {
    const { view } = this;
    const { first, end } = chosenSteps();
    const [left, right] = [view.x(first), view.x(end)];
    const inside = left >= view.gutter - 1 && right <= view.width;
    if (!inside) this.goToStep(first - Math.max(view.rightStep - view.leftStep - (end - first), 0) / 4);
  }

  goToStep(step) {
    this.scrollTo(Math.max(step, 0) * this.view.stepPx, this.scroller.scrollTop);
  }

  // Keeps the playing cursor in view, turning the page in the last tenth, until the user scrolls away.
  follow(step) {
    const { view } = this;
    const x = view.x(step);
    if (!this.following) return;
    if (x < view.gutter || x > view.gutter + view.room * 0.9)
      this.goToStep(step - (view.room / view.stepPx) * 0.08);
  }
}

// Scrolls the page as little as shows an element.
function bringIntoSight(place) {
  const { top, bottom } = place.getBoundingClientRect();
  if (top >= 0 && bottom <= innerHeight) return;
  const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  place.scrollIntoView({ block: "nearest", behavior: calm ? "auto" : "smooth" });
}
