// The list of notes that are not kept: filter, sort, pages, copy. The roll follows the filter.

const PAGE = 100;

class NoteList {
  constructor() {
    this.sort = { key: "at", down: false };
    this.page = 0;
    this.form = document.getElementById("filters");
    this.body = document.querySelector("#list tbody");
    this.listen();
    onchange("data", () => this.adopt());
    onchange("selection", () => this.mark());
  }

  get account() {
    return state.account;
  }

  adopt() {
    const { account } = this;
    this.all = [...account.notes.outcome.keys()].filter((id) => outcomeOf(account, id) !== "kept");
    this.fillChoices();
    this.refresh();
  }

  fillChoices() {
    const { account } = this;
    const counted = (value) => {
      const counts = new Map();
      for (const id of this.all) counts.set(value(id), (counts.get(value(id)) ?? 0) + 1);
      return counts;
    };
    const outcomes = counted((id) => outcomeOf(account, id));
    const reasons = counted((id) => reasonsOf(account, id)[0]);
    const parts = counted((id) => account.notes.part[id]);
    const chosen = this.filter;
    const choices = ["outcome", "reason", "part"];
    for (const name of choices) document.getElementById(`by-${name}`).length = 1;
    const add = (id, value, text) => document.getElementById(id).append(new Option(text, value));
    for (const [name, count] of outcomes) add("by-outcome", name, `${name} (${count})`);
    for (const [name, label] of account.reasons) {
      if (reasons.has(name)) add("by-reason", name, `${label} (${reasons.get(name)})`);
    }
    for (const part of account.parts) {
      if (parts.has(part.index))
        add("by-part", part.index, `${part.number} ${part.name} (${parts.get(part.index)})`);
    }
    for (const name of choices) choose(document.getElementById(`by-${name}`), chosen[name]);
  }

  listen() {
    this.form.addEventListener("input", () => this.restart());
    this.form.addEventListener("reset", () => setTimeout(() => this.restart()));
    this.form.addEventListener("submit", (event) => event.preventDefault());
    document.getElementById("copy").addEventListener("click", () => this.copy());
    listenToPages((pages) => this.turn(pages));
    for (const button of document.querySelectorAll("[data-sort]")) {
      button.addEventListener("click", () => this.sortBy(button.dataset.sort));
    }
    this.body.addEventListener("click", (event) => {
      const row = event.target.closest("tr");
      if (row !== null && event.target.closest(".go") === null) select({ note: Number(row.dataset.note) });
    });
  }

  restart() {
    this.page = 0;
    this.refresh();
  }

  turn(pages) {
    this.page += pages;
    this.show();
    changed("list");
  }

  // Bars are given as people count them; an empty field sets no limit.
  get filter() {
    const value = (id) => document.getElementById(id).value;
    const number = (id, otherwise) => (value(id) === "" ? otherwise : Number(value(id)));
    return {
      outcome: value("by-outcome"),
      reason: value("by-reason"),
      part: value("by-part"),
      from: number("from-bar", -Infinity),
      to: number("to-bar", Infinity),
    };
  }

  // What of it isn't as at first, by name.
  get settings() {
    const { key, down } = this.sort;
    const said = Object.entries(this.filter).filter(([, value]) => !["", Infinity, -Infinity].includes(value));
    if (key !== "at" || down) said.push(["sort", `${key}${down ? "-down" : ""}`]);
    if (this.page > 0) said.push(["page", this.page + 1]);
    return Object.fromEntries(said);
  }

  // Sets all of it; what isn't given is as at first.
  set({ outcome = "", reason = "", part = "", from = "", to = "", sort = "at", page = "1" }) {
    choose(document.getElementById("by-outcome"), outcome);
    choose(document.getElementById("by-reason"), reason);
    choose(document.getElementById("by-part"), part);
    document.getElementById("from-bar").value = from;
    document.getElementById("to-bar").value = to;
    const [key, down] = sort.split("-");
    if (document.querySelector(`[data-sort="${CSS.escape(key)}"]`) !== null)
      this.sort = { key, down: down !== undefined };
    showSort(this.sort.key, this.sort.down);
    this.page = Math.max(Math.trunc(Number(page)) || 1, 1) - 1;
    this.refresh();
  }

  refresh() {
    const { account } = this;
    const { notes } = account;
    const wanted = this.filter;
    this.shown = this.all.filter(
      (id) =>
        (wanted.outcome === "" || outcomeOf(account, id) === wanted.outcome) &&
        (wanted.reason === "" || reasonsOf(account, id).includes(wanted.reason)) &&
        (wanted.part === "" || notes.part[id] === Number(wanted.part)) &&
        notes.bar[id] >= wanted.from &&
        notes.bar[id] <= wanted.to,
    );
    this.order();
    this.show();
    const open = this.shown.length === this.all.length;
    state.matches = open ? null : new Set(this.shown);
    changed("filter");
  }

  order() {
    const { account } = this;
    const { notes } = account;
    const keys = {
      at: (id) => id,
      pitch: (id) => notes.pitch[id],
      part: (id) => notes.part[id],
      outcome: (id) => notes.outcome[id],
      reason: (id) => notes.reasons[id][0],
    };
    const key = keys[this.sort.key];
    const sign = this.sort.down ? -1 : 1;
    this.shown.sort((a, b) => sign * (key(a) - key(b)) || a - b);
  }

  sortBy(key) {
    this.sort = { key, down: this.sort.key === key && !this.sort.down };
    showSort(key, this.sort.down);
    this.page = 0;
    this.order();
    this.show();
    changed("list");
  }

  // Shows one page of the list.
  show() {
    const pages = Math.max(Math.ceil(this.shown.length / PAGE), 1);
    this.page = Math.min(Math.max(this.page, 0), pages - 1);
    const first = this.page * PAGE;
    const ids = this.shown.slice(first, first + PAGE);
    this.body.replaceChildren(...ids.map((id) => this.row(id)));
    this.mark();
    setText("found", this.counted());
    showPages(this.page, pages);
  }

  // Marks the row of the note that has the focus, if it is on this page.
  mark() {
    for (const row of this.body.rows)
      row.classList.toggle("marked", Number(row.dataset.note) === state.note);
  }

  counted() {
    const [shown, all] = [this.shown.length, this.all.length];
    return shown === all ? `${all} notes` : `${shown} of ${all} notes`;
  }

  // Shows the first rows of what the filter lets through, and says how many are left out.
  showForPrint(rows) {
    this.body.replaceChildren(...this.shown.slice(0, rows).map((id) => this.row(id)));
    const left = this.shown.length - rows;
    if (left > 0)
      setText(
        "found",
        `${this.counted()}; ${left} are left out of this print and stand in the ledger`,
      );
  }

  row(id) {
    const { account } = this;
    const { notes } = account;
    const row = element("tr");
    row.dataset.note = id;
    const place = element("button", `${notes.bar[id]}, ${beatText(notes.beat[id])}`);
    place.type = "button";
    place.className = "go";
    place.dataset.note = id;
    place.title = "show in the roll";
    const head = element("th");
    head.scope = "row";
    head.append(place);
    const outcome = element("td");
    const label = element("span", outcomeOf(account, id));
    label.className = `mark ${outcomeOf(account, id)}`;
    outcome.append(label);
    row.append(
      head,
      element("td", noteName(account, id)),
      element("td", account.parts[notes.part[id]].name),
      outcome,
      element("td", reasonWords(account, id)),
      element("td", becauseOf(account, id)),
    );
    return row;
  }

  csv() {
    const { account } = this;
    const { notes } = account;
    const quote = (value) => {
      const text = String(value);
      // A text that a spreadsheet would take for a formula is marked as text.
      const safe = typeof value === "string" && /^[=+\-@\t]/.test(text) ? `'${text}` : text;
      return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
    };
    const rows = this.shown.map((id) => [
      id,
      notes.bar[id],
      notes.beat[id],
      noteName(account, id),
      notes.part[id] + 1,
      account.parts[notes.part[id]].name,
      outcomeOf(account, id),
      reasonsOf(account, id).join(" "),
      notes.told[id],
    ]);
    const head = [
      "id",
      "bar",
      "beat",
      "note",
      "part",
      "part_name",
      "outcome",
      "reasons",
      "explanation",
    ];
    return [head, ...rows].map((row) => row.map(quote).join(",")).join("\r\n");
  }

  async copy() {
    const said = document.getElementById("copied");
    const done = await copyText(this.csv());
    said.textContent = done
      ? `${this.shown.length} rows copied`
      : "The browser didn't allow copying";
  }
}

// Sets a choice, where there is such a one; else the first.
function choose(field, value) {
  field.value = value;
  if (field.selectedIndex < 0) field.selectedIndex = 0;
}

// The sentence without what the columns say already.
function becauseOf(account, id) {
  const told = account.notes.told[id];
  const head = `': ${outcomeOf(account, id)}, `;
  const at = told.indexOf(head);
  return at < 0 ? told : told.slice(at + head.length);
}

async function copyText(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return copyBySelection(text);
  }
}

// For pages opened from disk in browsers that keep the clipboard from them.
function copyBySelection(text) {
  const field = element("textarea");
  field.value = text;
  document.body.append(field);
  field.select();
  const done = document.execCommand("copy");
  field.remove();
  return done;
}
