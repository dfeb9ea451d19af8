// The whole song as four strips: how much of tune, bass, harmony and drums is heard in each bar.
//
// What isn't heard hangs from the top of a strip; what is heard fills it from below. Above stand the
// places of the first bars to mend.

const LINES = ["tune", "bass", "harmony", "drums"];
const STRIP = 22;
const STRIP_GAP = 6;
const RANKS = 16;
const RANKS_SHOWN = 9;

class Overview {
  constructor(canvas, view) {
    this.canvas = canvas;
    this.view = view;
    this.palette = readPalette();
    // For paper: how wide it is there, in pixels.
    this.fixedWidth = null;
    this.still = { shows: [], picture: null };
    this.request = inNextFrame(() => this.draw());
    canvas.addEventListener("click", (event) => this.click(event));
    canvas.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => changed("view")).observe(canvas.parentElement);
    onchange("view place selection", () => this.request());
    onchange("colours", () => {
      this.palette = readPalette();
      this.request();
    });
    onchange("data", () => this.adopt());
    onchange("data selection", () => this.say());
  }

  get account() {
    return state.account;
  }

  // Index of the bar that was chosen last.
  get bar() {
    return state.bars?.from ?? 0;
  }

  get width() {
    return this.fixedWidth ?? Math.max(this.canvas.parentElement.clientWidth, 100);
  }

  get height() {
    return RANKS + this.shown.length * (STRIP + STRIP_GAP);
  }

  // The accounts that are drawn: the one that is shown, or both that are compared.
  get sides() {
    return state.pair ?? [this.account];
  }

  // Only the lines that the song has get a strip.
  adopt() {
    const { sides } = this;
    this.shown = LINES.flatMap((_, line) =>
      sides.some(({ heardWhole }) => heardWhole[line] !== null) ? [line] : [],
    );
    const names = this.shown.map((line) => {
      const name = element("li", `${LINES[line]} `);
      const shares = sides.map(({ heardWhole }) => shareText(heardWhole[line]));
      name.append(element("b", shares.map((share, at) => sideName(at, sides) + share).join(" ")));
      return name;
    });
    document.getElementById("lines").replaceChildren(...names);
    this.canvas.height = this.height;
    this.request();
  }

  top(place) {
    return RANKS + place * (STRIP + STRIP_GAP);
  }

  draw() {
    const { width, height } = this;
    const context = sharpContext(this.canvas, width, height);
    context.clearRect(0, 0, width, height);
    context.drawImage(this.stillPicture(), 0, 0, width, height);
    this.drawWindow(context);
  }

  // What stays as it is while the roll is scrolled.
  stillPicture() {
    const { width, height, palette, sides } = this;
    const shows = [width, height, palette, sides.length, ...sides];
    if (shows.every((each, at) => each === this.still.shows[at])) return this.still.picture;
    const picture = document.createElement("canvas");
    this.drawStill(sharpContext(picture, width, height));
    this.still = { shows, picture };
    return picture;
  }

  drawStill(context) {
    const { width, sides } = this;
    const tall = (STRIP - (sides.length - 1) * 2) / sides.length;
    this.shown.forEach((line, place) => {
      sides.forEach((account, side) => {
        const columns = columnsOf(account, line, width);
        this.drawStrip(context, columns, this.top(place) + side * (tall + 2), tall);
      });
    });
    this.drawRanks(context);
  }

  drawStrip(context, columns, top, tall) {
    const { palette, width } = this;
    context.fillStyle = palette.shade;
    context.fillRect(0, top, width, tall);
    for (const [left, right, share] of columns) {
      if (share === null) continue;
      const lost = share === 100 ? 0 : Math.max(3, (tall * (100 - share)) / 100);
      context.fillStyle = palette.fill.kept;
      context.fillRect(left, top + lost, right - left, tall - lost);
      context.fillStyle = palette.loss;
      context.fillRect(left, top, right - left, lost);
    }
  }

  // Numbers of the first problems over their bars, where there is room.
  drawRanks(context) {
    const { account, width, palette } = this;
    const taken = [];
    context.fillStyle = palette.ink;
    context.font = "bold 11px system-ui, sans-serif";
    context.textAlign = "center";
    account.problems.slice(0, RANKS_SHOWN).forEach(([places], rank) => {
      for (const place of places) {
        const { first, steps } = account.bars[place];
        const x = Math.min(Math.max(((first + steps / 2) / account.steps) * width, 5), width - 5);
        if (taken.some((other) => Math.abs(other - x) < 12)) continue;
        taken.push(x);
        context.fillText(String(rank + 1), x, RANKS - 4);
      }
    });
  }

  drawWindow(context) {
    const { view, palette, account, width, height } = this;
    const perStep = width / account.steps;
    const left = Math.max(view.leftStep, 0) * perStep;
    const right = Math.min(view.rightStep, account.steps) * perStep;
    context.strokeStyle = palette.quiet;
    context.lineWidth = 1;
    context.strokeRect(left + 0.5, RANKS - 2.5, Math.max(right - left - 1, 3), height - RANKS + 1);
    const chosen = chosenSteps();
    if (chosen !== null) {
      context.strokeStyle = palette.ink;
      context.lineWidth = 2;
      const wide = Math.max((chosen.end - chosen.first) * perStep, 3);
      context.strokeRect(chosen.first * perStep, RANKS - 1, wide, height - RANKS - 1);
    }
    context.fillStyle = palette.accent;
    context.fillRect(state.step * perStep - 1, RANKS - 2, 2, height - RANKS + 2);
  }

  click(event) {
    const share = (event.clientX - this.canvas.getBoundingClientRect().left) / this.width;
    this.go(barOfStep(this.account, share * this.account.steps).index);
  }

  key(event) {
    const { bars } = this.account;
    const to = {
      ArrowRight: this.bar + 1,
      ArrowUp: this.bar + 1,
      ArrowLeft: this.bar - 1,
      ArrowDown: this.bar - 1,
      PageDown: this.bar - 8,
      PageUp: this.bar + 8,
      Home: 0,
      End: bars.length - 1,
    }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    this.go(Math.min(Math.max(to, 0), bars.length - 1));
  }

  go(index) {
    select({ bar: index });
  }

  say() {
    const { bars } = this.account;
    const bar = bars[this.bar];
    this.canvas.setAttribute("aria-valuemin", String(bars[0].number));
    this.canvas.setAttribute("aria-valuemax", String(bars[bars.length - 1].number));
    this.canvas.setAttribute("aria-valuenow", String(bar.number));
    const told = barTold(this.account, bar);
    this.canvas.setAttribute("aria-valuetext", told);
    setText("bar-told", state.bars === null ? "Choose a bar to see what of it is heard." : told);
  }
}

// Left, right and share heard of each column of a line; a column takes the worst of its bars.
function columnsOf({ bars, steps, heard }, line, width) {
  const columns = [];
  let open = null;
  bars.forEach((bar, index) => {
    const left = (bar.first / steps) * width;
    const right = ((bar.first + bar.steps) / steps) * width;
    const share = heard[line][index];
    if (open !== null && right - open[0] < 2) {
      open[1] = right;
      if (share !== null) open[2] = Math.min(open[2] ?? 100, share);
      return;
    }
    open = [left, right, share];
    columns.push(open);
  });
  return columns.map(([left, right, share]) => [
    left,
    Math.max(right - (right - left > 4 ? 1 : 0), left + 1),
    share,
  ]);
}

function shareText(share) {
  if (share === null) return "–";
  return share === 100 ? "whole" : `${share} %`;
}

function sideName(at, sides) {
  return sides.length === 1 ? "" : `${"AB"[at]} `;
}

// What of a bar is heard, and what it lacks.
function barTold(account, bar) {
  const shares = LINES.flatMap((line, index) => {
    const share = account.heard[index][bar.index];
    if (share === null) return [];
    return [`${line} ${shareText(share)}`];
  });
  const problem = account.problems.find(([places]) => places.includes(bar.index));
  const lacks = problem === undefined ? "" : `; ${problem[1]}`;
  return `${bar.name}: ${shares.join(", ") || "nothing to hear"}${lacks}`;
}
