// Choosing in the roll: by pointer, a note or bars; by keyboard, from note to note.

const LEAST_DRAG = 6;
// Half of the 44 pixels that a finger needs.
const FINGER = 22;

class Choosing {
  constructor(roll) {
    this.roll = roll;
    this.view = roll.view;
    const { canvas } = roll;
    canvas.addEventListener("pointermove", (event) => this.hover(event));
    canvas.addEventListener("pointerleave", () => this.point(NO_NOTE));
    canvas.addEventListener("pointerdown", (event) => this.press(event));
    canvas.addEventListener("pointerup", () => this.release());
    canvas.addEventListener("pointercancel", () => this.release());
    canvas.addEventListener("click", (event) => this.click(event));
    canvas.addEventListener("dblclick", (event) => this.chosenTwice(event));
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  // The note under the pointer; a finger is also meant for the nearest one around it.
  noteUnder(event) {
    const bounds = this.roll.canvas.getBoundingClientRect();
    const place = [event.clientX - bounds.left, event.clientY - bounds.top];
    const id = this.roll.noteAt(...place);
    if (id !== NO_NOTE || event.pointerType === "mouse") return id;
    return this.roll.noteNear(...place, FINGER);
  }

  barUnder(event) {
    const { account } = this.view;
    const step = this.view.stepAt(event.clientX - this.roll.canvas.getBoundingClientRect().left);
    return barOfStep(account, Math.min(Math.max(step, 0), account.steps - 1)).index;
  }

  // With the mouse a drag chooses bars; a finger scrolls, and taps bars in the ruler.
  press(event) {
    this.drag = null;
    this.dragged = false;
    if (event.pointerType !== "mouse" || event.button !== 0) return;
    this.drag = { x: event.clientX, bar: this.barUnder(event) };
    this.roll.canvas.setPointerCapture(event.pointerId);
  }

  dragTo(event) {
    if (!this.dragged && Math.abs(event.clientX - this.drag.x) < LEAST_DRAG) return;
    this.dragged = true;
    const bars = [this.drag.bar, this.barUnder(event)];
    if (state.bars?.from === Math.min(...bars) && state.bars.to === Math.max(...bars)) return;
    select({ bars }, { reveal: false, record: false, place: false });
  }

  release() {
    if (this.dragged) select({ bars: [state.bars.from, state.bars.to] }, { reveal: false });
    this.drag = null;
  }

  hover(event) {
    if (this.drag) {
      this.dragTo(event);
      return;
    }
    if (event.pointerType !== "mouse" || event.buttons !== 0) return;
    const id = this.noteUnder(event);
    this.roll.canvas.style.cursor = id === NO_NOTE ? "default" : "pointer";
    this.point(id);
  }

  point(id) {
    if (id === state.pointed) return;
    state.pointed = id;
    changed("pointed");
  }

  // In the ruler a click chooses a bar, with shift all up to it. Beside all notes it lets go of the note.
  click(event) {
    if (this.dragged) return;
    const top = event.clientY - this.roll.canvas.getBoundingClientRect().top;
    const bar = this.barUnder(event);
    if (event.shiftKey && state.bars !== null) {
      const { from, to } = state.bars;
      select({ bars: [Math.min(from, bar), Math.max(to, bar)] }, { reveal: false });
      return;
    }
    if (top < RULER) {
      select({ bar }, { reveal: false });
      return;
    }
    select({ note: this.noteUnder(event) }, { reveal: false });
  }

  // A double click chooses the bar, where the music then is.
  chosenTwice(event) {
    select({ bar: this.barUnder(event) }, { reveal: false });
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const { drawn } = this.view.account;
    const act = {
      ArrowRight: () => this.step(1),
      ArrowLeft: () => this.step(-1),
      ArrowUp: () => this.across(1),
      ArrowDown: () => this.across(-1),
      PageDown: () => this.byBar(1),
      PageUp: () => this.byBar(-1),
      Home: () => this.toDrawn(0, 1),
      End: () => this.toDrawn(drawn.length - 1, -1),
    }[event.key];
    if (act === undefined) return;
    event.preventDefault();
    act();
  }

  // Goes to the first note, from a place in the order of time on, that the filter lets through.
  toDrawn(start, direction) {
    const { drawn } = this.view.account;
    for (let index = start; index >= 0 && index < drawn.length; index += direction) {
      if (!passes(drawn[index])) continue;
      select({ note: drawn[index] }, { record: false });
      return;
    }
  }

  firstFrom(step) {
    const { drawn, notes } = this.view.account;
    const index = firstWhere(drawn.length, (at) => notes.at[drawn[at]] >= step);
    return Math.min(index, drawn.length - 1);
  }

  step(direction) {
    const { drawn } = this.view.account;
    if (state.note === NO_NOTE) this.toDrawn(this.firstFrom(this.view.leftStep), 1);
    else this.toDrawn(drawn.indexOf(state.note) + direction, direction);
  }

  // Goes to the nearest note above or below that sounds at the same time; drums lie below all pitches.
  across(direction) {
    const { account } = this.view;
    if (state.note === NO_NOTE) {
      this.step(1);
      return;
    }
    const height = (id) =>
      isDrum(account, id)
        ? -1 - account.drumKeys.indexOf(account.notes.pitch[id])
        : account.notes.pitch[id];
    const here = height(state.note);
    const at = account.notes.at[state.note];
    let best = NO_NOTE;
    eachNoteBetween(account, at - 0.01, at + 0.51, (id) => {
      const away = (height(id) - here) * direction;
      if (away <= 0 || !passes(id)) return;
      if (best === NO_NOTE || away < (height(best) - here) * direction) best = id;
    });
    if (best !== NO_NOTE) select({ note: best }, { record: false });
  }

  byBar(direction) {
    const { account } = this.view;
    const step = state.note === NO_NOTE ? this.view.leftStep : account.notes.at[state.note];
    const bar = account.bars[barOfStep(account, step).index + direction];
    if (bar !== undefined) this.toDrawn(this.firstFrom(bar.first), 1);
  }
}
