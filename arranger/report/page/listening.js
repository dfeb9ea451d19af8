// The buttons of listening, and what is said of the place where the music is.

class Listening {
  constructor(player, travel) {
    this.player = player;
    this.travel = travel;
    const on = (id, what, act) => document.getElementById(id).addEventListener(what, act);
    on("play", "click", () => this.toggle());
    on("rewind", "click", () => this.rewind());
    on("volume", "input", (event) => player.setVolume(event.target.value / 100));
    on("tempo", "input", (event) => this.setTempo(event.target.value));
    on("follow", "change", (event) => this.setFollowing(event.target.checked));
    on("loop", "change", (event) => this.setLoop(event.target.checked));
    for (const choice of document.querySelectorAll("input[name=hear]"))
      choice.addEventListener("change", () => player.hear(choice.value));
    onchange("data place", () => this.showPlace());
    onchange("view place", () => {
      document.getElementById("follow").checked = travel.following;
    });
    onchange("selection", () => this.chosen());
    onchange("data selection", () => this.showBars());
    for (const id of ["chosen-from", "chosen-to"])
      on(id, "change", (event) => this.takeBars(event.target));
  }

  toggle() {
    const { player } = this;
    if (player.playing) {
      player.pause();
      return;
    }
    this.travel.following = true;
    player.play(state.step);
  }

  setTempo(percent) {
    setText("tempo-now", `${percent} %`);
    this.player.setTempo(percent / 100);
  }

  setFollowing(on) {
    this.travel.following = on;
    if (on) this.travel.follow(state.step);
    changed("view");
  }

  showBars() {
    const { account, bars } = state;
    const numbers = bars === null ? [] : [bars.from, bars.to].map((at) => account.bars[at].number);
    document.getElementById("chosen-from").value = numbers[0] ?? "";
    document.getElementById("chosen-to").value = numbers[1] ?? "";
  }

  // Takes a typed bar; the other end comes along where it is needed.
  takeBars(field) {
    if (field.value === "") {
      select({});
      return;
    }
    const { account } = state;
    const typed = Math.min(barNumbered(account, Number(field.value)), account.bars.length - 1);
    const { from = typed, to = typed } = state.bars ?? {};
    if (field.id === "chosen-from") select({ bars: [typed, Math.max(to, typed)] });
    else select({ bars: [Math.min(from, typed), typed] });
  }

  playChosen() {
    const { notes } = state.account;
    this.travel.following = true;
    if (state.note !== NO_NOTE) this.player.play(Math.max(notes.at[state.note], 0));
    else this.player.play(chosenSteps()?.first ?? state.step);
  }

  rewind() {
    this.travel.following = true;
    this.player.goTo(0);
    this.travel.goToStep(0);
  }

  switchLoop() {
    const box = document.getElementById("loop");
    box.checked = !box.checked;
    this.setLoop(box.checked);
  }

  switchSource() {
    const other = document.querySelector("input[name=hear]:not(:checked)");
    other.checked = true;
    this.player.hear(other.value);
  }

  setLoop(on) {
    this.looping = on;
    const bar = barOfStep(state.account, state.step).index;
    if (on && state.bars === null) select({ bar }, { reveal: false, place: false });
    this.player.loopOver(on ? chosenSteps() : null);
  }

  // The music goes to bars that were chosen, also while it plays; a loop goes with them.
  chosen() {
    const { player } = this;
    if (this.looping) player.loopOver(chosenSteps());
    if (!state.how.place) return;
    this.travel.following = true;
    player.goTo(chosenSteps().first);
  }

  showPlace() {
    const { account, step, playing } = state;
    const bar = barOfStep(account, step);
    const beat = 1 + Math.floor(((step - bar.first) * bar.beats) / bar.steps + 1e-6);
    const now = timeText(step * account.stepSeconds);
    setText("where", `${bar.name}, beat ${Math.min(beat, bar.beats)}`);
    setText("time", `${now} of ${timeText(Math.round(account.steps * account.stepSeconds))}`);
    setText("play", playing ? "Pause" : "Play");
    if (playing) this.travel.follow(step);
  }
}

// Seconds as m:ss.
function timeText(seconds) {
  const whole = Math.floor(seconds + 1e-6);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
