// The chosen song: what there is to know of it, its strips, and playing it.

class ChosenSong {
  constructor(songs, book) {
    this.songs = songs;
    this.book = book;
    this.place = document.getElementById("chosen");
    this.strips = document.getElementById("chosen-strips");
    this.button = document.getElementById("play");
    this.share = 0;
    this.shown = NO_SONG;
    this.player = new BookPlayer((told) => this.follow(told));
    this.button.addEventListener("click", () => this.toggle());
    document.getElementById("let-go").addEventListener("click", () => book.choose(NO_SONG));
    this.strips.addEventListener("click", (event) => this.click(event));
    this.strips.addEventListener("keydown", (event) => this.key(event));
    document.getElementById("volume").addEventListener("input", () => this.setSound());
    for (const choice of document.querySelectorAll("input[name=hear]"))
      choice.addEventListener("change", () => this.setSound());
    this.setSound();
  }

  get song() {
    return this.book.chosen;
  }

  // Shows the song that is chosen now; one that plays goes silent when another is chosen.
  show() {
    this.shown = this.song;
    this.place.hidden = this.song === NO_SONG;
    if (this.player.playing) this.player.pause();
    if (this.song === NO_SONG) return;
    const { songs, song } = this;
    const title = document.getElementById("chosen-title");
    const link = this.book.address(song);
    const name = element(link === "" ? "span" : "a", songs.cells.song[song]);
    if (link !== "") name.href = link;
    title.replaceChildren(name);
    this.button.disabled = link === "";
    const change = songs.cells.change[song];
    const sentences = [...songs.told[song], ...(change === "" ? [] : [`Since the last run: ${change}`])];
    document
      .getElementById("told")
      .replaceChildren(...sentences.map((sentence) => element("li", sentence)));
    this.showStrips();
    this.at(0);
  }

  showStrips() {
    const { songs, song } = this;
    const lines = BOOK_LINES.flatMap((_, line) => (songs.strips[line][song] === "" ? [] : [line]));
    const names = lines.map((line) => {
      const share = songs.cells[BOOK_LINES[line]][song];
      return element("li", `${BOOK_LINES[line]} ${share === "100" ? "whole" : `${share} %`}`);
    });
    document.getElementById("chosen-lines").replaceChildren(...names);
    this.head = element("span");
    this.head.className = "playhead";
    this.strips.hidden = lines.length === 0;
    this.strips.style.height = `${lines.length * 1.5}rem`;
    this.strips.replaceChildren(stripsOf(songs.strips, song, lines), this.head);
  }

  toggle() {
    if (this.song === NO_SONG || this.button.disabled) return;
    if (this.player.playing) this.player.pause();
    else this.play(this.share);
    this.say();
  }

  play(share) {
    if (this.songs.links[this.song] === "") return;
    this.player.play(this.songs.links[this.song], share);
    this.at(share);
    this.say("loading");
  }

  // Takes what the song's page says of its playing.
  follow({ share, playing, blocked }) {
    if (blocked) {
      this.player.pause();
      this.say("it can't be played here: open its page");
      return;
    }
    this.at(share);
    this.say(playing ? "" : undefined);
  }

  say(told = "") {
    this.button.textContent = this.player.playing ? "Pause" : "Play";
    const length = this.songs.cells.length[this.song];
    const now = minutesText(this.share * numberIn(length || "0"));
    setText("place", told || (length === "" ? "" : `${now} of ${length}`));
  }

  at(share) {
    this.share = share;
    this.head.style.left = `${100 * share}%`;
    this.strips.setAttribute("aria-valuenow", String(Math.round(100 * share)));
    this.say();
  }

  click(event) {
    const { left, width } = this.strips.getBoundingClientRect();
    this.go((event.clientX - left) / width);
  }

  key(event) {
    const to = {
      ArrowRight: this.share + 0.02,
      ArrowUp: this.share + 0.02,
      ArrowLeft: this.share - 0.02,
      ArrowDown: this.share - 0.02,
      Home: 0,
      End: 1,
    }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    this.go(to);
  }

  go(share) {
    const within = Math.min(Math.max(share, 0), 0.999);
    if (this.player.playing) this.play(within);
    else this.at(within);
  }

  switchSource() {
    const choices = [...document.querySelectorAll("input[name=hear]")];
    choices.find(({ checked }) => !checked).click();
  }

  setSound() {
    const hear = document.querySelector("input[name=hear]:checked").value;
    this.player.set({ hear, volume: document.getElementById("volume").value / 100 });
  }
}

function minutesText(seconds) {
  const whole = Math.floor(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
