// On paper: strips, bars to mend, the whole roll as lines of music, and of the list what was filtered.

const PRINT_WIDTH = 1040;
const PRINT_STRIP_WIDTH = 560;
const PRINT_LINES = 30;
const PRINT_STEPS_A_LINE = 128;
const PRINT_ROWS = 100;
const PRINT_ROW = 5;
const PRINT_DRUM_ROW = 11;
const PRINT_SHARPNESS = 2.5;

function preparePrint(list, overview) {
  const printed = document.getElementById("printed");
  const recolour = (palette, width) => {
    overview.palette = palette;
    overview.fixedWidth = width;
    overview.draw();
    drawSwatches(palette);
  };
  addEventListener("beforeprint", () => {
    printed.append(printedLegend(), ...printedLines(state.account));
    recolour(paperPalette(), PRINT_STRIP_WIDTH);
    document.getElementById("notes").classList.toggle("filtered", state.matches !== null);
    list.showForPrint(PRINT_ROWS);
  });
  addEventListener("afterprint", () => {
    printed.replaceChildren();
    recolour(readPalette(), null);
    list.show();
  });
}

function printedLegend() {
  return document.querySelector("#shapes .legend").cloneNode(true);
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
  view.rowPx = PRINT_ROW;
  view.laneShare = 1;
  view.laneRowMost = PRINT_DRUM_ROW;
  view.height = 10_000;
  view.height = view.contentHeight;
  view.stepPx = (PRINT_WIDTH - view.gutter) / PRINT_STEPS_A_LINE;
  view.scrollX = bars[0].first * view.stepPx;
  const last = bars.at(-1);
  view.width = Math.ceil(view.x(last.first + last.steps)) + 1;
  const roll = new Roll(document.createElement("canvas"), view);
  roll.palette = palette;
  roll.drawBase(sharpContext(roll.canvas, view.width, view.height, PRINT_SHARPNESS));
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
