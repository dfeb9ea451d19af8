// The songbook: all songs on one table, sorted and filtered; each leads to its own page.

const BOOK_PAGE = 200;
const OUTCOME_NAMES = ["kept", "changed", "merged", "dropped"];

class Book {
  constructor(songs) {
    this.songs = songs;
    this.sort = { key: "kept", down: true };
    this.page = 0;
    this.body = document.querySelector("#songs tbody");
    document.getElementById("search").addEventListener("input", () => this.restart());
    for (const button of document.querySelectorAll("[data-sort]")) {
      button.addEventListener("click", () => this.sortBy(button.dataset.sort));
    }
    listenToPages((pages) => {
      this.page += pages;
      this.show();
    });
    addEventListener("beforeprint", () => this.show(Infinity));
    addEventListener("afterprint", () => this.show());
    this.restart();
  }

  restart() {
    const wanted = document.getElementById("search").value.toLowerCase();
    this.shown = this.songs.filter((song) =>
      `${song.title} ${song.file}`.toLowerCase().includes(wanted),
    );
    this.page = 0;
    this.order();
    this.show();
  }

  // Names begin at the front of the alphabet, figures with the largest.
  sortBy(key) {
    const first = key !== "title";
    this.sort = { key, down: this.sort.key === key ? !this.sort.down : first };
    this.page = 0;
    this.order();
    this.show();
  }

  order() {
    const { key, down } = this.sort;
    const values = {
      title: (song) => song.title,
      kept: (song) => song.counts[0] / song.notes,
      heard: (song) => 1 - song.counts[3] / song.notes,
      notes: (song) => song.notes,
      tempo: (song) => song.tempo,
    };
    const value = values[key];
    const compared = (a, b) =>
      key === "title" ? value(a).localeCompare(value(b)) : value(a) - value(b);
    this.shown.sort((a, b) => (down ? -1 : 1) * compared(a, b) || a.file.localeCompare(b.file));
    showSort(key, down);
  }

  show(rows = BOOK_PAGE) {
    const pages = Math.max(Math.ceil(this.shown.length / rows), 1);
    this.page = Math.min(Math.max(this.page, 0), pages - 1);
    const first = this.page === 0 ? 0 : this.page * rows;
    this.body.replaceChildren(
      ...this.shown.slice(first, first + rows).map((song) => songRow(song)),
    );
    setText(
      "found",
      this.shown.length === this.songs.length
        ? `${this.songs.length} songs`
        : `${this.shown.length} of ${this.songs.length} songs`,
    );
    showPages(this.page, pages);
  }
}

function songRow(song) {
  const row = element("tr");
  const head = element("th");
  head.scope = "row";
  const name = song.link === "" ? element("span", song.title) : element("a", song.title);
  if (song.link !== "") name.href = song.link;
  head.append(name, noteUnder(song.remark === "" ? song.file : `${song.file}, ${song.remark}`));
  const shares = element("td");
  shares.append(shareBar(song));
  const strip = element("td");
  strip.append(stripOf(song));
  const heard = 1 - song.counts[3] / song.notes;
  row.append(
    head,
    numberCell(percent(song.counts[0] / song.notes)),
    numberCell(percent(heard)),
    shares,
    strip,
    numberCell(String(song.notes)),
    numberCell(String(Math.round(song.tempo))),
    element("td", `${song.tune || "none"} / ${song.bass || "none"}`),
  );
  return row;
}

function noteUnder(text) {
  const small = element("small", text);
  small.className = "under";
  return small;
}

function numberCell(text) {
  const cell = element("td", text);
  cell.className = "number";
  return cell;
}

function percent(share) {
  return `${Math.round(share * 100)} %`;
}

// The four outcomes as shares of one bar, told apart by pattern as well as colour.
function shareBar(song) {
  const bar = element("span");
  bar.className = "shares";
  bar.setAttribute("role", "img");
  bar.setAttribute(
    "aria-label",
    OUTCOME_NAMES.map((name, index) => `${song.counts[index]} ${name}`).join(", "),
  );
  bar.title = bar.getAttribute("aria-label");
  song.counts.forEach((count, index) => {
    if (count === 0) return;
    const part = element("span");
    part.className = `part ${OUTCOME_NAMES[index]}`;
    part.style.flexGrow = String(count);
    bar.append(part);
  });
  return bar;
}

// How much was not heard, from start to end of the song.
function stripOf(song) {
  const space = "http://www.w3.org/2000/svg";
  const picture = document.createElementNS(space, "svg");
  const count = Math.max(song.strip.length, 1);
  picture.setAttribute("viewBox", `0 0 ${count} 10`);
  picture.setAttribute("preserveAspectRatio", "none");
  picture.setAttribute("class", "strip");
  picture.setAttribute("role", "img");
  const worst = Math.max(...song.strip, 0);
  picture.setAttribute("aria-label", `at worst ${percent(worst)} of the notes not heard`);
  const path = document.createElementNS(space, "path");
  path.setAttribute(
    "d",
    song.strip
      .map(
        (share, at) => `M${at} 10v${-Math.max(share * 10, 0.4)}h.9v${Math.max(share * 10, 0.4)}z`,
      )
      .join(""),
  );
  picture.append(path);
  return picture;
}

function watchBookTheme() {
  const choice = document.getElementById("theme");
  choice.addEventListener("change", () => {
    document.documentElement.dataset.theme = choice.value;
  });
}

watchBookTheme();
new Book(JSON.parse(document.getElementById("data").textContent));
