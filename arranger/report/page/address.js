// What is chosen and filtered stands in the address, so that it can be linked to and the back button
// brings it back: #bar=7, #bars=7-9, #note=132, and the list's filter. Scrolling and zoom go with each
// entry of the browser's history.

const SETTLED_MS = 200;

class Address {
  constructor(list, travel, book) {
    this.list = list;
    this.book = book;
    this.travel = travel;
    this.begun = false;
    history.scrollRestoration = "manual";
    addEventListener("popstate", () => this.restore());
    addEventListener("scroll", () => this.rememberSoon(), { passive: true });
    onchange("leaving", () => this.begun && this.remember());
    onchange("selection", () => this.write(state.how.record));
    onchange("filter list", () => this.write(false));
    onchange("view", () => this.rememberSoon());
  }

  // Takes up what the address says; from now on it follows the page.
  begin() {
    this.begun = true;
    this.restore();
  }

  restore() {
    const { hash } = location;
    if (hash !== "" && !hash.includes("=")) return;
    const said = new URLSearchParams(hash.slice(1));
    clearTimeout(this.timer);
    const { begun } = this;
    this.begun = false;
    this.list.set(Object.fromEntries(said));
    const bars = barsSaid(said);
    const note = noteSaid(said);
    const view = history.state?.view;
    const how = { reveal: view === undefined, record: false };
    Object.assign(state, { bars: null, note: NO_NOTE });
    select({ ...(bars && { bars }), ...(note !== NO_NOTE && { note }) }, how);
    if (view !== undefined) this.travel.restore(view);
    this.begun = begun;
  }

  // Writes the address, as a new entry of the history or over the last.
  write(entry) {
    if (!this.begun) return;
    const hash = `#${this.text()}`;
    if (hash === (location.hash || "#")) return;
    const said = hash === "#" ? location.pathname + location.search : hash;
    if (entry) history.pushState(null, "", said);
    else history.replaceState(history.state, "", said);
    this.rememberSoon();
  }

  text() {
    const said = new URLSearchParams();
    if (state.bars !== null) {
      const { bars } = state.account;
      const [from, to] = [bars[state.bars.from].number, bars[state.bars.to].number];
      if (from === to) said.set("bar", from);
      else said.set("bars", `${from}-${to}`);
    }
    if (state.note !== NO_NOTE) said.set("note", state.note);
    for (const [name, value] of Object.entries(this.list.settings)) said.set(name, value);
    if (this.book.said) said.set("book", this.book.said);
    return said.toString();
  }

  rememberSoon() {
    if (!this.begun) return;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.remember(), SETTLED_MS);
  }

  remember() {
    clearTimeout(this.timer);
    history.replaceState({ view: this.travel.place }, "");
  }
}

// Indexes of the first and last bar that an address names, or null.
function barsSaid(said) {
  const found = /^(-?\d+)(?:-(-?\d+))?$/.exec(said.get("bars") ?? said.get("bar") ?? "");
  if (found === null) return null;
  const { account } = state;
  return [found[1], found[2] ?? found[1]].map((number) =>
    Math.min(barNumbered(account, Number(number)), account.bars.length - 1),
  );
}

function noteSaid(said) {
  const text = said.get("note") ?? "";
  return /^\d+$/.test(text) && Number(text) < state.account.notes.at.length
    ? Number(text)
    : NO_NOTE;
}
