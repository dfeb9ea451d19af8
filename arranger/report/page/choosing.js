// Choosing in the roll: by pointer, a note or bars; by keyboard, from note to note.

class Choosing {
  constructor(roll) {
    this.roll = roll;
    this.view = roll.view;
    const { canvas } = roll;
    canvas.addEventListener("pointermove", (event) => this.hover(event));
    canvas.addEventListener("pointerleave", () => this.point(NO_NOTE));
    canvas.addEventListener("click", (event) => this.click(event));
    canvas.addEventListener("dblclick", (event) => this.chosenTwice(event));
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  noteUnder(event) {
    const bounds = this.roll.canvas.getBoundingClientRect();
    return this.roll.noteAt(event.clientX - bounds.left, event.clientY - bounds.top);
  }

  hover(event) {
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

  // A click beside all notes lets go of the note; bars stay.
  click(event) {
    select({ note: this.noteUnder(event) }, { reveal: false });
  }

  // A double click chooses the bar, where the music then is.
  chosenTwice(event) {
    const { account } = this.view;
    const step = Math.min(Math.max(this.view.stepAt(event.offsetX), 0), account.steps - 1);
    select({ bar: barOfStep(account, step).index });
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
