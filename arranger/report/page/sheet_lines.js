// The sheet's own lines of the chosen bars, as they stand in its file: numbers, what a hand changed, copy.

const MOST_BARS_SHOWN = 8;
const ROWS_BY_HAND = ["metre", "voice 1", "voice 2", "drums"];

class SheetLines {
  constructor(place) {
    this.place = place;
    place.hidden = false;
    place.setAttribute("aria-labelledby", "sheet-title");
    this.title = element("h2", "The sheet");
    this.title.id = "sheet-title";
    this.hint = element("p");
    this.hint.className = "hint";
    this.list = element("ol");
    this.list.className = "sheet-text";
    this.list.tabIndex = 0;
    this.copy = element("button", "Copy these lines");
    this.copy.type = "button";
    this.told = element("span");
    this.told.setAttribute("role", "status");
    this.tools = element("div");
    this.tools.className = "bar";
    this.tools.append(this.copy, this.told);
    const around = element("div");
    around.className = "scrolled";
    around.tabIndex = 0;
    around.setAttribute("role", "region");
    around.setAttribute("aria-label", "Lines of the sheet");
    around.append(this.list);
    place.append(this.title, this.hint, around, this.tools);
    this.copy.addEventListener("click", () => this.copyLines());
    onchange("data selection", inNextFrame(() => this.show()));
  }

  show() {
    const chosen = shownBars();
    const { file, lines, bars } = state.account.sheet;
    this.text = chosen.flatMap((bar) => {
      const [first, last] = bars[bar.index];
      return lines.slice(first - 1, last);
    });
    const by = chosen.filter((bar) => bars[bar.index].length > 2).map((bar) => byHand(bar));
    const first = bars[chosen[0].index][0];
    const last = bars[chosen.at(-1).index][1];
    this.title.textContent = `${file}, lines ${first} to ${last}`;
    const more = chosenBarsLeftOut();
    this.hint.textContent = [
      by.length === 0 ? "As the program wrote it." : `Changed by hand: ${by.join("; ")}.`,
      more > 0 ? `${more} more chosen bars aren't shown.` : "",
    ].join(" ");
    this.list.replaceChildren(...chosen.flatMap((bar) => linesOf(bar)));
    this.told.textContent = "";
  }

  async copyLines() {
    try {
      await navigator.clipboard.writeText(`${this.text.join("\n")}\n`);
      this.told.textContent = "copied";
    } catch {
      getSelection().selectAllChildren(this.list);
      this.told.textContent = "the browser doesn't let me copy: they are marked, copy them yourself";
    }
  }
}

// The chosen bars, or the one of a chosen note that lies elsewhere, else the one where the music is.
function shownBars() {
  const { account, bars, note, step } = state;
  if (bars !== null && (note === NO_NOTE || inChosenBars(note))) {
    return account.bars.slice(bars.from, Math.min(bars.to + 1, bars.from + MOST_BARS_SHOWN));
  }
  const at = note === NO_NOTE ? step : Math.max(account.notes.at[note], 0);
  return [barOfStep(account, at)];
}

function chosenBarsLeftOut() {
  const { bars, note } = state;
  if (bars === null || (note !== NO_NOTE && !inChosenBars(note))) return 0;
  return bars.to - bars.from + 1 - shownBars().length;
}

function byHand(bar) {
  const rows = state.account.sheet.bars[bar.index].slice(2);
  const whole = rows.length === ROWS_BY_HAND.length;
  return `${bar.name}${whole ? "" : ` (${rows.map((row) => ROWS_BY_HAND[row]).join(", ")})`}`;
}

function linesOf(bar) {
  const { lines, bars } = state.account.sheet;
  const [first, last, ...rows] = bars[bar.index];
  return lines.slice(first - 1, last).map((text, at) => {
    const line = element("li");
    line.value = first + at;
    const row = rowOfLine(text);
    if (rows.includes(row)) {
      line.className = "by-hand";
      line.title = "changed by hand";
    }
    line.append(element("code", text === "" ? " " : text));
    return line;
  });
}

// Which row a line of the sheet is: 0 the bar's own, 1 and 2 the voices, 3 the drums; -1: none.
function rowOfLine(text) {
  const [first, second] = text.trim().split(/\s+/);
  if (first === "bar" || first === "bars") return 0;
  if (first === "voice") return Number(second);
  return first === "drums" ? 3 : -1;
}
