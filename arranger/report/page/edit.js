// Editing the sheet in the page: cells by the keyboard, lost notes, a bar written anew.

const CELL_ROWS = ["voice 1", "voice 2", "drums"];
const TEXTURE_WORDS = [
  ["tune-and-bass", "tune and bass"],
  ["broken-chord", "tune over a broken chord"],
  ["two-highest", "the two highest"],
  ["bass-and-chord", "bass and chord"],
  ["auto", "as the song's settings say"],
];
const LOST_FIRST = ["tune", "bass", "harmony", "drums", "muted"];
const MOST_LOST = 16;
const HELP =
  "Arrows go from cell to cell, typing changes one: a pitch like G4, - holds, . is silence. Enter or Tab writes it, Escape leaves it, Delete silences.";

class Cells {
  constructor(place, live) {
    this.live = live;
    this.at = null;
    this.table = element("table");
    this.table.className = "cells";
    this.table.dataset.typing = "";
    this.table.setAttribute("role", "grid");
    const around = element("div");
    around.className = "scrolled";
    around.append(this.table);
    const help = element("p", HELP);
    help.className = "hint";
    place.append(around, help);
    this.table.addEventListener("keydown", (event) => this.pressed(event));
    this.table.addEventListener("click", (event) => {
      const cell = event.target.closest("td");
      if (cell !== null && !cell.querySelector("input")) this.focus(placeOf(cell));
    });
    this.table.addEventListener("dblclick", (event) => {
      const cell = event.target.closest("td");
      if (cell !== null) this.type(cell, cell.textContent);
    });
  }

  show(bar) {
    const held = this.table.contains(document.activeElement);
    const typed = this.bar?.number === bar.number ? this.table.querySelector("input")?.value : undefined;
    this.bar = bar;
    this.table.setAttribute("aria-label", `cells of ${bar.name}`);
    if (this.at === null || this.at.step >= bar.steps) this.at = { row: 0, step: 0 };
    this.table.replaceChildren(...CELL_ROWS.map((name, row) => this.row(name, row)));
    if (held) this.focus(this.at);
    // A save from elsewhere doesn't take away what is being typed.
    if (held && typed !== undefined) this.type(this.cell(this.at), typed, false);
  }

  row(name, row) {
    const line = element("tr");
    const head = element("th", name);
    head.scope = "row";
    line.append(head);
    for (let step = 0; step < this.bar.steps; step += 1) {
      const cell = element("td", cellText(row, this.bar.first + step));
      cell.dataset.row = row;
      cell.dataset.step = step;
      cell.tabIndex = row === this.at.row && step === this.at.step ? 0 : -1;
      if (step % stepsOfBeat(this.bar) === 0) cell.className = "beat";
      line.append(cell);
    }
    return line;
  }

  cell({ row, step }) {
    return this.table.rows[row].cells[step + 1];
  }

  focus(at) {
    this.cell(this.at).tabIndex = -1;
    this.at = at;
    this.cell(at).tabIndex = 0;
    this.cell(at).focus();
  }

  pressed(event) {
    const cell = event.target.closest("td");
    if (cell === null || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.target.tagName === "INPUT") this.pressedTyping(event, cell);
    else this.pressedOn(event, cell);
  }

  pressedOn(event, cell) {
    const { row, step } = placeOf(cell);
    const ways = {
      ArrowLeft: [row, step - 1],
      ArrowRight: [row, step + 1],
      ArrowUp: [row - 1, step],
      ArrowDown: [row + 1, step],
      Home: [row, 0],
      End: [row, this.bar.steps - 1],
    };
    if (event.key in ways) {
      const [to, at] = ways[event.key];
      if (to >= 0 && to < CELL_ROWS.length && at >= 0 && at < this.bar.steps)
        this.focus({ row: to, step: at });
    } else if (event.key === "Delete" || event.key === "Backspace") this.write(cell, ".");
    else if (event.key === "-" || event.key === ".") this.write(cell, event.key);
    else if (event.key === "Enter") this.type(cell, cell.textContent);
    else if (/^[A-Za-z]$/.test(event.key)) this.type(cell, event.key);
    else return;
    event.preventDefault();
  }

  type(cell, text, marked = text.length > 1) {
    this.focus(placeOf(cell));
    const input = element("input");
    input.value = text;
    input.size = 5;
    input.setAttribute("aria-label", `${CELL_ROWS[this.at.row]}, step ${this.at.step + 1}`);
    cell.replaceChildren(input);
    input.focus();
    if (marked) input.select();
    input.addEventListener("blur", () => this.leave(cell));
  }

  pressedTyping(event, cell) {
    if (event.key === "Escape") {
      this.leave(cell);
      this.focus(placeOf(cell));
    } else if (event.key === "Enter" || event.key === "Tab") {
      const words = event.target.value.trim();
      const { row, step } = placeOf(cell);
      this.leave(cell);
      this.focus({ row, step: Math.min(step + (event.shiftKey ? 0 : 1), this.bar.steps - 1) });
      if (words !== "") this.write(cell, words);
    } else return;
    event.preventDefault();
    event.stopPropagation();
  }

  leave(cell) {
    const { row, step } = placeOf(cell);
    cell.textContent = cellText(row, this.bar.first + step);
  }

  write(cell, words) {
    const { row, step } = placeOf(cell);
    this.live.edit({ do: "cells", row, step: this.bar.first + step, words });
  }
}

function placeOf(cell) {
  return { row: Number(cell.dataset.row), step: Number(cell.dataset.step) };
}

function cellText(row, step) {
  const { sheet, engine } = state.account;
  if (row === 2) return sheet.drums[step] < 0 ? "." : engine.drums[sheet.drums[step]];
  const cell = sheet.voices[row][step];
  if (cell === -1) return "-";
  return cell === -2 ? "." : pitchName(cell);
}

function stepsOfBeat(bar) {
  const steps = bar.steps / bar.beats;
  return Number.isInteger(steps) ? steps : bar.steps;
}

// What an edit would do to other notes, in words: what is heard no more, what else is changed for the
// worse, what is heard again.
function effectText({ changed: notes, more, loss }) {
  const gone = notes.filter((each) => each.after === "dropped");
  const worse = notes.filter((each) => each.worse && each.after !== "dropped");
  const back = notes.filter((each) => each.before === "dropped");
  const told = [
    gone.length === 0 ? "displaces nothing" : `displaces ${named(gone)}`,
    worse.length === 0 ? "" : `cuts or covers ${named(worse)}`,
    back.length === 0 ? "" : `lets ${named(back)} be heard`,
    more > 0 ? `${more} more notes change` : "",
    loss < 0 ? "less is lost in all" : loss > 0 ? "more is lost in all" : "",
  ];
  return told.filter((each) => each !== "").join("; ");
}

// Notes by name and part, those of tune and bass marked, a few of many.
function named(notes) {
  const { account } = state;
  const names = notes.slice(0, 4).map(({ note, line }) => {
    const part = account.parts[account.notes.part[note]].name || "a part";
    const known = line === "harmony" || line === "drums" || part.toLowerCase().includes(line);
    return `${noteName(account, note)} of ${part}${known ? "" : ` (${line})`}`;
  });
  return names.join(", ") + (notes.length > 4 ? ` and ${notes.length - 4} more` : "");
}

// A note of the song that isn't heard: the places it could have, each with what it would displace.
class Lost {
  constructor(place, live) {
    this.live = live;
    this.place = element("div");
    this.place.className = "lost";
    this.place.setAttribute("aria-live", "polite");
    place.append(this.place);
    this.asked = 0;
  }

  async show() {
    const { account, note } = state;
    const asked = (this.asked += 1);
    this.preview(null);
    if (note === NO_NOTE || ["kept", "changed"].includes(outcomeOf(account, note))) {
      this.place.replaceChildren(...this.lostHere());
      return;
    }
    const found = await this.live.send("ways", { note });
    if (asked !== this.asked) return;
    const title = element("h3", `${noteName(account, note)} isn't heard by itself. Put it into`);
    if (found.refused !== undefined) {
      this.place.replaceChildren(element("p", `It has no place: ${found.refused}.`));
      return;
    }
    const list = element("ul");
    list.append(...found.ways.map((way) => this.way(note, way)));
    this.place.replaceChildren(title, list);
  }

  // Buttons for the notes of the shown bars that aren't heard, those of tune and bass first.
  lostHere() {
    const { account } = state;
    const dropped = account.outcomes.indexOf("dropped");
    const found = [];
    for (const bar of shownBars()) {
      eachNoteBetween(account, bar.first, bar.first + bar.steps, (id) => {
        const starts = account.notes.at[id] >= bar.first;
        if (starts && account.notes.outcome[id] === dropped) found.push(id);
      });
    }
    if (found.length === 0) return [];
    const role = (id) => account.parts[account.notes.part[id]].role;
    found.sort((a, b) => LOST_FIRST.indexOf(role(a)) - LOST_FIRST.indexOf(role(b)) || a - b);
    const line = element("p", "Not heard here: ");
    for (const id of found.slice(0, MOST_LOST)) {
      const { name } = account.parts[account.notes.part[id]];
      const button = element("button", `${noteName(account, id)} of ${name || "a part"}`);
      button.type = "button";
      button.className = "go";
      button.dataset.note = id;
      line.append(button, " ");
    }
    if (found.length > MOST_LOST) line.append(`and ${found.length - MOST_LOST} more`);
    return [line];
  }

  way(note, way) {
    const line = element("li");
    const button = element("button", way.row === 2 ? `the drums, as ${way.sound}` : CELL_ROWS[way.row]);
    button.type = "button";
    button.className = "take";
    const lost = way.changed.filter((each) => each.worse).map((each) => each.note);
    const preview = {
      tones:
        way.row === 2
          ? []
          : [{ voice: way.row + 1, step: way.step, steps: way.steps, pitch: way.pitch }],
      drums: way.row === 2 ? [{ step: way.step, key: state.account.notes.pitch[note] }] : [],
      lost,
    };
    for (const what of ["focus", "pointerenter"])
      button.addEventListener(what, () => this.preview(preview));
    for (const what of ["blur", "pointerleave"])
      button.addEventListener(what, () => this.preview(null));
    button.addEventListener("click", () => {
      this.preview(null);
      this.live.edit({ do: "take", note, row: way.row, sound: way.sound });
    });
    line.append(button, ` ${effectText(way)}`);
    return line;
  }

  preview(what) {
    if (state.preview === what) return;
    state.preview = what;
    changed("preview");
  }
}

// One bar written anew by the program under another texture: told beforehand, written when asked.
class Anew {
  constructor(place, live) {
    this.live = live;
    this.choice = element("select");
    for (const [name, words] of TEXTURE_WORDS) {
      const option = element("option", words);
      option.value = name;
      this.choice.append(option);
    }
    this.label = element("label");
    this.button = element("button", "Write it");
    this.button.type = "button";
    this.told = element("span");
    this.told.setAttribute("role", "status");
    const line = element("div");
    line.className = "bar";
    line.append(this.label, this.button, this.told);
    place.append(line);
    this.choice.addEventListener("change", () => this.tryOut());
    this.button.addEventListener("click", () => this.live.edit(this.ask()));
  }

  show(bar) {
    this.bar = bar;
    this.label.replaceChildren(`${capital(bar.name)} anew as `, this.choice);
    this.told.textContent = "";
  }

  ask() {
    return { do: "texture", bar: this.bar.index, texture: this.choice.value };
  }

  async tryOut() {
    const { bar } = this;
    const found = await this.live.send("try", this.ask());
    if (bar !== this.bar) return;
    this.told.textContent =
      found.refused === undefined ? effectText(found) : `not possible: ${found.refused}`;
  }
}

// Cells, lost notes and textures of what is chosen, beside the sheet's lines.
class Editing {
  constructor(place, live) {
    this.place = element("div");
    this.place.className = "editing";
    place.append(this.place);
    const hear = element("button", "Hear it");
    hear.type = "button";
    hear.addEventListener("click", () => boundKeys.find(({ key }) => key === "Enter").act());
    live.buttons.prepend(hear);
    this.lost = new Lost(this.place, live);
    this.cells = new Cells(this.place, live);
    this.anew = new Anew(this.place, live);
    const draw = () => this.show();
    onchange("data selection", draw);
    if (state.account !== null) draw();
  }

  show() {
    const [bar] = shownBars();
    this.cells.show(bar);
    this.anew.show(bar);
    this.lost.show();
  }
}

new Editing(
  document.getElementById("sheet-lines"),
  new Live(JSON.parse(document.getElementById("live").textContent)),
);
