// The way from a song's page to its songbook and to the songs beside it there. The book's page led here with
// #book=, the list that it showed: it is taken back to it, and knows which song is next.

class BookLinks {
  constructor() {
    this.place = document.getElementById("book");
    if (this.place === null) return;
    this.said = new URLSearchParams(location.hash.slice(1)).get("book");
    const list = new URLSearchParams(this.said ?? "");
    const at = list.get("at");
    list.delete("at");
    for (const link of this.place.querySelectorAll("a[data-asks]")) {
      const [page] = link.getAttribute("href").split("#");
      const asked = new URLSearchParams(list);
      asked.set(link.dataset.asks, this.place.dataset.song);
      link.href = `${page}#${asked}`;
    }
    if (at !== null) setText("book-at", `song ${at.replace("/", " of ")} of the list`);
    for (const [key, asks, words] of [
      ["N", "next", "next song of the songbook"],
      ["P", "before", "song before it in the songbook"],
      ["b", "song", "back to the songbook"],
    ])
      bindKey(key, words, () => this.place.querySelector(`a[data-asks=${asks}]`).click());
  }
}
