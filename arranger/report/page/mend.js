// The bars to mend, the worst first; the keys n and p lead through them.

const PROBLEMS_SHOWN = 8;
const BARS_SHOWN = 8;

class Mend {
  constructor(list) {
    this.list = list;
    this.more = document.getElementById("more-problems");
    this.whole = false;
    this.more.addEventListener("click", () => {
      this.whole = !this.whole;
      this.adopt();
    });
    bindKey("n", "next bar to mend", () => this.go(1));
    bindKey("p", "bar to mend before", () => this.go(-1));
    for (const [id, way] of [
      ["problem-on", 1],
      ["problem-back", -1],
    ]) {
      document.getElementById(id).addEventListener("click", () => this.go(way));
    }
    onchange("data", () => this.adopt());
    onchange("selection", () => this.mark());
  }

  get problems() {
    return state.account.problems;
  }

  // Place in the list of what was chosen; -1: none of it.
  get current() {
    if (state.bars === null) return -1;
    return this.problems.findIndex(([places]) => places.includes(state.bars.from));
  }

  adopt() {
    const count = this.problems.length;
    const shown = this.whole ? count : Math.min(count, PROBLEMS_SHOWN);
    this.list.replaceChildren(...this.problems.slice(0, shown).map((each) => this.line(each)));
    this.more.hidden = count <= PROBLEMS_SHOWN;
    this.more.textContent = this.whole ? `Only the first ${PROBLEMS_SHOWN}` : `All ${count}`;
    document.getElementById("no-problem").hidden = count > 0;
    document.getElementById("problem-keys").hidden = count === 0;
    this.mark();
  }

  line([places, sentence]) {
    const line = element("li");
    for (const place of places.slice(0, BARS_SHOWN)) {
      const { number, name } = state.account.bars[place];
      const button = element("button", `bar ${number}`);
      button.type = "button";
      button.className = "go";
      button.dataset.bar = place;
      button.title = name;
      line.append(button, " ");
    }
    const left = places.length - BARS_SHOWN;
    if (left > 0) line.append(`and ${left} more `);
    line.append(sentence);
    return line;
  }

  mark() {
    const { current } = this;
    [...this.list.children].forEach((line, place) => {
      if (place === current) line.setAttribute("aria-current", "true");
      else line.removeAttribute("aria-current");
    });
  }

  go(way) {
    const count = this.problems.length;
    if (count === 0) return;
    const from = this.current;
    const to = from < 0 ? (way > 0 ? 0 : count - 1) : (from + way + count) % count;
    if (to >= PROBLEMS_SHOWN && !this.whole) {
      this.whole = true;
      this.adopt();
    }
    select({ bar: this.problems[to][0][0] });
    this.list.children[to].scrollIntoView({ block: "nearest" });
  }
}
