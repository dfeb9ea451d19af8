// Puts the parts together: one note has the focus, one filter holds, one place is played.

class Page {
  constructor(account) {
    this.account = account;
    const view = new View(account);
    this.roll = new Roll(document.getElementById("roll"), view);
    this.roll.palette = readPalette();
    const focusNote = (id, how) => this.focusNote(id, how);
    this.travel = new Travel(this.roll, focusNote);
    this.overview = new Overview(document.getElementById("overview"), account, view, (bar) =>
      this.goToBar(bar),
    );
    this.travel.moved = () => this.overview.request();
    this.list = new NoteList(account, focusNote, (matches) => this.filter(matches));
    this.player = new Player(account, () => this.showPlace());
    this.listen();
    this.listenToPlayer();
    watchTheme(() => this.recolour());
    preparePrint(account, this.list);
    this.showPlace();
  }

  focusNote(id, { reveal }) {
    if (id === this.roll.focus && !reveal) return;
    this.roll.focus = id;
    this.list.mark(id);
    tellAbout(this.account, id, (other, how) => this.focusNote(other, how));
    if (reveal && id !== NO_NOTE) this.travel.reveal(id);
    this.roll.request(false);
  }

  filter(matches) {
    this.roll.matches = matches;
    this.roll.request(true);
  }

  goToBar(bar) {
    this.travel.goToStep(bar.first);
    if (!this.player.playing) this.player.step = bar.first;
    this.showPlace();
  }

  playBarOf(step) {
    this.player.play(barOfStep(this.account, step).first);
  }

  listen() {
    for (const button of document.querySelectorAll(".hand .go")) {
      button.addEventListener("click", () => this.overview.go(Number(button.dataset.bar)));
    }
    for (const [id, name] of [
      ["show-song", "showSong"],
      ["show-sheet", "showSheet"],
    ]) {
      document.getElementById(id).addEventListener("change", (event) => {
        this.roll[name] = event.target.checked;
        this.roll.request(true);
      });
    }
  }

  listenToPlayer() {
    const { account, player, roll } = this;
    const on = (id, what, act) => document.getElementById(id).addEventListener(what, act);
    const toggle = () => (player.playing ? player.pause() : player.play(player.step));
    on("play", "click", toggle);
    on("rewind", "click", () => player.goTo(0));
    on("volume", "input", (event) => player.loudness(event.target.value / 100));
    on("loop", "change", (event) =>
      player.loopOver(event.target.checked ? barOfStep(account, player.step) : null),
    );
    for (const choice of document.querySelectorAll("input[name=hear]")) {
      choice.addEventListener("change", () => player.hear(choice.value));
    }
    roll.canvas.addEventListener("dblclick", (event) =>
      this.playBarOf(Math.max(roll.view.stepAt(event.offsetX), 0)),
    );
    roll.canvas.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      if (event.key === " ") toggle();
      else
        this.playBarOf(
          roll.focus === NO_NOTE ? player.step : Math.max(account.notes.at[roll.focus], 0),
        );
    });
  }

  recolour() {
    const palette = readPalette();
    this.roll.palette = palette;
    this.overview.palette = palette;
    drawSwatches(palette);
    this.overview.request();
    this.roll.request(true);
  }

  // Shows where the music is: as text, in the roll and in the overview.
  showPlace() {
    const { account, player, roll, overview } = this;
    const bar = barOfStep(account, player.step);
    const beat = 1 + Math.floor(((player.step - bar.first) * bar.beats) / bar.steps + 1e-6);
    setText("where", `${bar.name}, beat ${Math.min(beat, bar.beats)}`);
    setText("play", player.playing ? "Pause" : "Play");
    if (player.playing) this.travel.follow(player.step);
    roll.cursor = player.step;
    overview.cursor = player.step;
    overview.request();
    roll.request(false);
  }
}

new Page(readAccount());
