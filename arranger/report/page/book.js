// The songbook's page: which song needs a hand first, and what is asked for stands in the address:
// #find=, #only=, #sort=, #down=, #song=. From a song's page one comes back here with #next= or #before= and the
// song's file, and is led on to its neighbour in the list.

const NO_SONG = -1;
const SETTLED_MS = 150;
const BY_NEED = { sort: "", down: false };

class Book {
  constructor(songs) {
    this.songs = songs;
    this.settings = { find: "", only: "", ...BY_NEED };
    this.chosen = NO_SONG;
    this.list = [];
    history.scrollRestoration = "manual";
    this.read();
    if (this.leadOn()) return;
    this.table = new BookTable(songs, this);
    this.panel = new ChosenSong(songs, this);
    this.listen();
    this.restore();
    addEventListener("popstate", () => {
      this.read();
      this.restore();
    });
    document.documentElement.dataset.ready = "";
  }

  listen() {
    const on = (id, what, act) => document.getElementById(id).addEventListener(what, act);
    on("find", "input", (event) => this.ask({ find: event.target.value }));
    on("only", "change", (event) => this.ask({ only: event.target.value }));
    on("order", "change", (event) => this.sortBy(event.target.value));
    on("turn", "click", () => this.ask({ down: !this.settings.down }));
    for (const button of document.querySelectorAll("[data-sort]"))
      button.addEventListener("click", () => this.sortBy(button.dataset.sort));
    addEventListener("scroll", () => this.rememberSoon(), { passive: true });
    addEventListener("pagehide", () => this.remember());
    watchTheme(() => {});
    listenToKeys();
    for (const key of ["n", "ArrowDown"]) bindKey(key, "next song", () => this.go(1), { n: "n", ArrowDown: "↓" }[key]);
    for (const key of ["p", "ArrowUp"]) bindKey(key, "song before", () => this.go(-1), { p: "p", ArrowUp: "↑" }[key]);
    bindKey("Enter", "open the chosen song's page", () => this.open());
    bindKey(" ", "play or pause the chosen song", () => this.panel.toggle(), "Space");
    bindKey("s", "hear the song in place of the sheet, and back", () => this.panel.switchSource());
    bindKey("/", "find", () => document.getElementById("find").focus());
    bindKey("w", "worst first", () => this.ask(BY_NEED));
    bindKey("Escape", "let go of the song", () => this.choose(NO_SONG));
  }

  // Takes what the address asks for.
  read() {
    const said = new URLSearchParams(location.hash.slice(1));
    this.settings = {
      find: said.get("find") ?? "",
      only: said.get("only") ?? "",
      sort: said.get("sort") ?? "",
      down: said.has("down"),
    };
    this.chosen = this.songs.named(said.get("song") ?? "");
  }

  // Goes on to the song beside the one whose page led here; false: nothing of the kind is asked, or none is left.
  leadOn() {
    const said = new URLSearchParams(location.hash.slice(1));
    for (const [name, way] of [
      ["next", 1],
      ["before", -1],
    ]) {
      const from = this.songs.named(said.get(name) ?? "");
      if (from === NO_SONG) continue;
      this.list = this.songs.shown(this.settings);
      const song = this.songs.beside(from, way, this.settings);
      this.chosen = from;
      if (song !== NO_SONG) {
        location.replace(this.address(song));
        return true;
      }
      this.notice = way > 0 ? "That was the last song of the list." : "That was the first song of the list.";
    }
    return false;
  }

  restore() {
    const { find, only } = this.settings;
    document.getElementById("find").value = find;
    document.getElementById("only").value = only;
    this.show();
    this.choose(this.chosen, { reveal: history.state?.scroll === undefined });
    if (history.state?.scroll !== undefined) scrollTo(0, history.state.scroll);
    this.table.draw();
  }

  ask(changes) {
    Object.assign(this.settings, changes);
    this.notice = undefined;
    this.show();
    this.write();
    this.table.mark(true);
  }

  // Sorts by a column; by the same once more the other way round.
  sortBy(name) {
    if (name === "") return this.ask(BY_NEED);
    const { sort, down } = this.settings;
    return this.ask({ sort: name, down: sort === name ? !down : !this.songs.kinds.get(name).rising });
  }

  show() {
    this.list = this.songs.shown(this.settings);
    this.table.show(this.list);
    const { count } = this.songs;
    const shown = this.list.length === count ? `${count} songs` : `${this.list.length} of ${count} songs`;
    setText("found", this.notice ?? shown);
    const { sort, down } = this.settings;
    showSort(sort, down);
    document.getElementById("order").value = sort;
    document.getElementById("turn").disabled = sort === "";
  }

  choose(song, { reveal = true } = {}) {
    this.chosen = song;
    if (this.panel.shown !== song) this.panel.show();
    this.table.mark(reveal);
    this.write();
  }

  // Chooses the next song of the list, or with -1 the one before.
  go(way) {
    const { list } = this;
    if (list.length === 0) return;
    const at = list.indexOf(this.chosen);
    const to = at < 0 ? (way > 0 ? 0 : list.length - 1) : at + way;
    if (to >= 0 && to < list.length) this.choose(list[to]);
  }

  play(song) {
    const same = song === this.chosen;
    this.choose(song, { reveal: false });
    if (same) this.panel.toggle();
    else this.panel.play(0);
  }

  open() {
    const link = this.chosen === NO_SONG ? "" : this.address(this.chosen);
    if (link !== "") location.assign(link);
  }

  // Where a song's page is, with what it needs to lead back and on: this list, and the song's place in it.
  address(song, at = this.list.indexOf(song)) {
    const link = this.songs.links[song];
    if (link === "") return "";
    const said = this.said();
    if (at >= 0) said.set("at", `${at + 1}/${this.list.length}`);
    return `${link}#${new URLSearchParams({ book: said.toString() })}`;
  }

  said() {
    const said = new URLSearchParams();
    const { find, only, sort, down } = this.settings;
    for (const [name, value] of Object.entries({ find, only, sort }))
      if (value !== "") said.set(name, value);
    if (down) said.set("down", "");
    return said;
  }

  write() {
    const said = this.said();
    if (this.chosen !== NO_SONG) said.set("song", this.songs.files[this.chosen]);
    const hash = said.toString();
    history.replaceState(history.state, "", hash === "" ? location.pathname + location.search : `#${hash}`);
    this.rememberSoon();
  }

  rememberSoon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.remember(), SETTLED_MS);
  }

  remember() {
    clearTimeout(this.timer);
    history.replaceState({ scroll: scrollY }, "");
  }
}

async function beginBook() {
  new Book(new Songs(await globalThis.unpacked("data").json()));
}

beginBook();
