// Prints the whole roll as lines of music, and as much of the list as paper can bear.

const PRINT_WIDTH = 1040;
const PRINT_LINES = 60;
const PRINT_STEPS_A_LINE = 128;
const PRINT_ROWS = 200;

function preparePrint(list) {
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    for (const details of opened) details.open = true;
    document.getElementById("printed").replaceChildren(...printedLines(state.account));
    list.showForPrint(PRINT_ROWS);
  });
  addEventListener("afterprint", () => {
    for (const details of opened) details.open = false;
    document.getElementById("printed").replaceChildren();
    list.show();
  });
}

function printedLines(account) {
  const lines = linesOfBars(account.bars);
  const palette = paperPalette();
  const images = lines.slice(0, PRINT_LINES).map((bars) => printedLine(account, palette, bars));
  if (lines.length <= PRINT_LINES) return images;
  const last = lines[PRINT_LINES - 1].at(-1);
  return [...images, element("p", `Bars after ${last.number} are left out of this print.`)];
}

// Groups of bars of about equal length.
function linesOfBars(bars) {
  const lines = [];
  let steps = Infinity;
  for (const bar of bars) {
    if (steps + bar.steps > PRINT_STEPS_A_LINE) {
      lines.push([]);
      steps = 0;
    }
    lines.at(-1).push(bar);
    steps += bar.steps;
  }
  return lines;
}

function printedLine(account, palette, bars) {
  const view = new View();
  view.adopt(account);
  view.width = PRINT_WIDTH;
  view.rowPx = 6;
  view.laneShare = 1;
  view.height = 10_000;
  view.height = view.contentHeight;
  view.stepPx = (PRINT_WIDTH - view.gutter) / PRINT_STEPS_A_LINE;
  view.scrollX = bars[0].first * view.stepPx;
  const last = bars.at(-1);
  view.width = Math.ceil(view.x(last.first + last.steps)) + 1;
  const roll = new Roll(document.createElement("canvas"), view);
  roll.palette = palette;
  roll.drawBase(sharpContext(roll.canvas, view.width, view.height));
  const image = new Image();
  image.src = roll.canvas.toDataURL();
  image.alt = `Bars ${bars[0].number} to ${last.number}`;
  image.style.width = `${(100 * view.width) / PRINT_WIDTH}%`;
  return image;
}

// Paper is light, whatever the screen is.
function paperPalette() {
  const root = document.documentElement;
  const { theme } = root.dataset;
  root.dataset.theme = "paper";
  const palette = readPalette();
  root.dataset.theme = theme;
  return palette;
}
