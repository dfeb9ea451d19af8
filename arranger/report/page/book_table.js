// The table of songs: only the rows that are in sight, and some around them, are in the page.

const ROWS_AROUND = 8;

class BookTable {
  // `book` says where a song's name leads, which song is chosen, and what a click on Play does.
  constructor(songs, book) {
    this.songs = songs;
    this.book = book;
    this.table = document.getElementById("songs");
    this.place = document.getElementById("rows");
    this.mostPrinted = Number(this.table.dataset.mostPrinted);
    this.list = [];
    this.drawn = new Map();
    this.tall = 1;
    const request = inNextFrame(() => this.draw());
    addEventListener("scroll", request, { passive: true });
    addEventListener("resize", () => this.measure());
    addEventListener("beforeprint", () => this.drawAll());
    addEventListener("afterprint", () => this.measure());
    this.place.addEventListener("click", (event) => this.click(event));
  }

  // Shows songs, by index, in this order.
  show(list) {
    this.list = list;
    this.table.setAttribute("aria-rowcount", String(list.length + 1));
    document.getElementById("no-song").hidden = list.length > 0;
    this.measure();
  }

  // Draws everything anew; rows are as high as the style sheet has the first.
  measure() {
    this.place.classList.remove("whole");
    this.place.replaceChildren();
    this.drawn.clear();
    if (this.list.length === 0) {
      this.place.style.height = "0";
      return;
    }
    this.put(0);
    this.tall = this.drawn.get(0).offsetHeight;
    this.place.style.height = `${this.list.length * this.tall}px`;
    this.drawn.get(0).style.top = "0";
    this.draw();
  }

  draw() {
    if (this.place.classList.contains("whole")) return;
    const top = -this.place.getBoundingClientRect().top;
    const first = Math.max(Math.floor(top / this.tall) - ROWS_AROUND, 0);
    const end = Math.min(Math.ceil((top + innerHeight) / this.tall) + ROWS_AROUND, this.list.length);
    for (const [at, row] of this.drawn) {
      // A row with the keyboard's focus stays, so that the focus isn't lost.
      if ((at >= first && at < end) || row.contains(document.activeElement)) continue;
      row.remove();
      this.drawn.delete(at);
    }
    for (let at = first; at < end; at += 1) if (!this.drawn.has(at)) this.put(at);
  }

  // For paper all rows are there, one after the other.
  drawAll() {
    const count = Math.min(this.list.length, this.mostPrinted);
    this.place.classList.add("whole");
    this.place.replaceChildren();
    this.drawn.clear();
    for (let at = 0; at < count; at += 1) this.put(at);
    document.getElementById("not-printed").hidden = count === this.list.length;
  }

  put(at) {
    const row = this.row(this.list[at], at);
    row.style.top = `${at * this.tall}px`;
    this.drawn.set(at, row);
    // In order, so that the tab key goes from row to row.
    const before = [...this.place.children].find((other) => Number(other.dataset.at) > at);
    this.place.insertBefore(row, before ?? null);
  }

  row(song, at) {
    const row = element("div");
    row.setAttribute("role", "row");
    row.setAttribute("aria-rowindex", String(at + 2));
    row.className = this.songs.states[song] === "f" ? "entry failed" : "entry";
    row.dataset.at = at;
    row.dataset.song = song;
    for (const [name, { number }] of this.songs.kinds) {
      const cell = name === "song" ? this.head(song, at) : this.cell(song, name);
      cell.classList.add(`of-${name}`, ...(number ? ["number"] : []));
      row.append(cell);
      if (name === "drums") row.append(this.strips(song));
    }
    if (song === this.book.chosen) row.setAttribute("aria-current", "true");
    return row;
  }

  head(song, at) {
    const cell = element("div");
    cell.setAttribute("role", "rowheader");
    const title = this.songs.cells.song[song];
    const link = this.book.address(song, at);
    const play = element("button", "▶");
    play.type = "button";
    play.className = "play";
    play.setAttribute("aria-label", `Play ${title}`);
    play.disabled = link === "";
    const name = element(link === "" ? "span" : "a", title);
    if (link !== "") name.href = link;
    name.className = "name";
    name.title = title;
    const file = this.songs.files[song];
    const told = this.songs.states[song] === "f" ? this.songs.told[song].join(" ") : "";
    const under = element("small", told === "" ? file : `${file}: ${told}`);
    under.className = "under";
    under.title = under.textContent;
    cell.append(play, name, under);
    return cell;
  }

  cell(song, name) {
    const text = this.songs.cells[name][song];
    const cell = element("div", text);
    cell.setAttribute("role", "cell");
    if (name === "bytes" && text.endsWith("!")) cell.classList.add("warn");
    if (name === "doubts" && text !== "") cell.title = this.songs.told[song].join("\n");
    else if (text.length > 12) cell.title = text;
    return cell;
  }

  strips(song) {
    const cell = element("div");
    cell.setAttribute("role", "cell");
    cell.className = "of-strips";
    cell.append(stripsOf(this.songs.strips, song, [0, 1, 2, 3]));
    return cell;
  }

  click(event) {
    const row = event.target.closest(".entry");
    if (row === null || event.target.closest("a") !== null) return;
    const song = Number(row.dataset.song);
    if (event.target.closest(".play") !== null) this.book.play(song);
    else this.book.choose(song);
  }

  // Marks the chosen song, and brings it into sight.
  mark(reveal) {
    for (const row of this.place.children) {
      if (Number(row.dataset.song) === this.book.chosen) row.setAttribute("aria-current", "true");
      else row.removeAttribute("aria-current");
    }
    const at = this.list.indexOf(this.book.chosen);
    if (!reveal || at < 0) return;
    const { top } = this.place.getBoundingClientRect();
    const above = document.querySelector("#songs .heads").offsetHeight;
    const below = document.getElementById("chosen").offsetHeight;
    const from = top + at * this.tall;
    const to = from + this.tall;
    if (from < above) scrollBy(0, from - above);
    else if (to > innerHeight - below) scrollBy(0, to - innerHeight + below);
    this.draw();
  }
}
