// Where things stand in the roll: from steps and pitches to pixels and back.

const RULER = 24;
const PAD = 5;
const LANE_GAP = 6;
const LANE_ROW = 15;
const LANE_MOST = 180;
const NARROWEST_STEP = 0.004;
const WIDEST_STEP = 72;

const NAMES_FONT = "11px system-ui, sans-serif";

class View {
  constructor() {
    this.stepPx = 16;
    this.rowPx = 9;
    this.scrollX = 0;
    this.scrollY = 0;
    this.width = 800;
    this.height = 400;
    this.folded = true;
    // At most this share of the height is for drums.
    this.laneShare = 0.36;
    this.laneRowMost = LANE_ROW;
  }

  // Lays an account out.
  adopt(account) {
    this.account = account;
    this.rows = new Rows(account, this.folded);
    this.namesWidth = widest(this.rows.drums.map((key) => account.drumNames[key]));
  }

  // Wide enough for the names of the rows.
  get gutter() {
    return Math.round(Math.max(44, Math.min(this.namesWidth + 12, this.width * 0.34)));
  }

  // The width that is left for music, in pixels.
  get room() {
    return this.width - this.gutter;
  }

  get laneHeight() {
    const rows = this.rows.drums.length;
    return rows === 0 ? 0 : rows * this.laneRow + 2 * LANE_GAP;
  }

  // How high a row of drums is; many drums share the room that there is.
  get laneRow() {
    const most = Math.min(LANE_MOST, this.height * this.laneShare);
    return Math.min(this.laneRowMost, most / this.rows.drums.length);
  }

  get contentWidth() {
    return this.gutter + this.account.steps * this.stepPx;
  }

  get contentHeight() {
    return RULER + this.rows.pitches.length * this.rowPx + 2 * PAD + this.laneHeight;
  }

  // The bottom of the pitch rows on the canvas; the drums stand below it.
  get floor() {
    return this.height - this.laneHeight;
  }

  get leftStep() {
    return this.scrollX / this.stepPx;
  }

  get rightStep() {
    return (this.scrollX + this.room) / this.stepPx;
  }

  x(step) {
    return this.gutter + step * this.stepPx - this.scrollX;
  }

  // The top of a row of pitches, counted from 0.
  rowY(row) {
    return RULER + PAD + row * this.rowPx - this.scrollY;
  }

  y(pitch) {
    return this.rowY(this.rows.of(pitch));
  }

  drumY(key) {
    return this.floor + LANE_GAP + (this.rows.drumPlace.get(key) ?? 0) * this.laneRow;
  }

  stepAt(x) {
    return (x - this.gutter + this.scrollX) / this.stepPx;
  }

  rowAt(y) {
    return Math.floor((y - RULER - PAD + this.scrollY) / this.rowPx);
  }

  pitchAt(y) {
    return this.rows.pitches[this.rowAt(y)];
  }

  drumAt(y) {
    return this.rows.drums[Math.floor((y - this.floor - LANE_GAP) / this.laneRow)];
  }

  // The box of a note as the song has it.
  noteBox(id) {
    const { notes } = this.account;
    const x = this.x(notes.at[id]);
    if (isDrum(this.account, id)) {
      return [
        x,
        this.drumY(notes.pitch[id]) + 1,
        Math.max(Math.min(this.stepPx * 0.8, 16), 2),
        this.laneRow * 0.8,
      ];
    }
    const width = Math.max(notes.steps[id] * this.stepPx - 1, 2);
    return [x, this.y(notes.pitch[id]) + 0.5, width, this.rowPx - 1];
  }

  // The box of a stretch of the sheet.
  toneBox(step, steps, pitch) {
    return [
      this.x(step),
      this.y(pitch) + 0.5,
      Math.max(steps * this.stepPx - 1, 2),
      this.rowPx - 1,
    ];
  }

  hitBox(step, key) {
    const width = Math.max(Math.min(this.stepPx * 0.8, 12), 2);
    return [this.x(step), this.drumY(key) + this.laneRow * 0.12, width, this.laneRow * 0.66];
  }
}

function widest(names) {
  const context = document.createElement("canvas").getContext("2d");
  context.font = NAMES_FONT;
  return Math.max(0, ...names.map((name) => context.measureText(name).width));
}
