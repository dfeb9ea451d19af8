// The songs of the book as columns: what their cells show, in which order, and which of them.

// What the filter "only" may ask; else it asks for a word among the doubts.
const ONLY = {
  "": () => true,
  failed: (songs, song) => songs.states[song] === "f",
  misfits: (songs, song) => songs.cells.bytes[song].endsWith("!"),
  doubts: (songs, song) => songs.cells.doubts[song] !== "",
  edited: (songs, song) => songs.cells.edited[song] !== "",
  changed: (songs, song) => !["", "as before"].includes(songs.cells.change[song]),
};

class Songs {
  constructor(data) {
    Object.assign(this, data);
    this.count = data.files.length;
    this.kinds = new Map(data.columns.map(([name, rising, number]) => [name, { rising, number }]));
    this.rank = new Int32Array(this.count);
    data.order.forEach((song, rank) => (this.rank[song] = rank));
    this.collator = new Intl.Collator(undefined, { numeric: true });
  }

  get names() {
    return [...this.kinds.keys()];
  }

  // Index of the song of a file; -1: there is none.
  named(file) {
    return this.files.indexOf(file);
  }

  // All songs in an order: by need, or by a column.
  ordered({ sort, down }) {
    if (!this.kinds.has(sort)) return [...this.order];
    const values = this.values(sort);
    const way = down ? -1 : 1;
    return [...this.order].sort((a, b) => {
      const [one, other] = [values[a], values[b]];
      // What isn't known stands last, whichever way.
      if (one === null || other === null) return (one === null) - (other === null);
      const found = typeof one === "string" ? this.collator.compare(one, other) : one - other;
      return way * found || this.rank[a] - this.rank[b];
    });
  }

  values(name) {
    const { number } = this.kinds.get(name);
    return this.cells[name].map((text) => {
      if (text === "") return null;
      return number ? numberIn(text) : text;
    });
  }

  // Whether a song is one of those asked for.
  passes(song, { find, only }) {
    const asked = ONLY[only] ?? ((_, each) => this.cells.doubts[each].split(" ").includes(only));
    if (!asked(this, song)) return false;
    const wanted = find.toLowerCase();
    return (
      wanted === "" ||
      this.files[song].toLowerCase().includes(wanted) ||
      this.cells.song[song].toLowerCase().includes(wanted)
    );
  }

  shown(settings) {
    return this.ordered(settings).filter((song) => this.passes(song, settings));
  }

  // The next song, or with -1 the one before, that is shown and has a page; -1: there is none.
  beside(song, way, settings) {
    const all = this.ordered(settings);
    for (let at = all.indexOf(song) + way; at >= 0 && at < all.length; at += way)
      if (this.links[all[at]] !== "" && this.passes(all[at], settings)) return all[at];
    return -1;
  }
}

// The number at a text's beginning; minutes and seconds are one.
function numberIn(text) {
  return text.split(":").reduce((sum, part) => 60 * sum + Number.parseFloat(part), 0);
}
