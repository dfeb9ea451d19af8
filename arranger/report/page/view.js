// Where things stand in the roll: from steps and pitches to pixels and back.

const RULER = 22;
const LANE_GAP = 8;
const LANE_ROW = 14;
const LANE_MOST = 250;
const NARROWEST_STEP = 0.004;
const WIDEST_STEP = 72;

class View {
  constructor(account) {
    this.account = account;
    const [lowest, highest] = pitchSpan(account);
    this.lowest = lowest;
    this.highest = highest;
    this.stepPx = 16;
    this.rowPx = 9;
    this.scrollX = 0;
    this.scrollY = 0;
    this.width = 800;
    this.height = 400;
  }

  get gutter() {
    return this.width > 640 && this.account.drumKeys.length > 0 ? 112 : 44;
  }

  // The width that is left for music, in pixels.
  get room() {
    return this.width - this.gutter;
  }

  get laneHeight() {
    const rows = this.account.drumKeys.length;
    return rows === 0 ? 0 : rows * this.laneRow + 2 * LANE_GAP;
  }

  // How high a row of drums is; many drums share the room that there is.
  get laneRow() {
    return Math.min(LANE_ROW, LANE_MOST / this.account.drumKeys.length);
  }

  get rowsHeight() {
    return (this.highest - this.lowest + 1) * this.rowPx;
  }

  get contentWidth() {
    return this.gutter + this.account.steps * this.stepPx;
  }

  get contentHeight() {
    return RULER + this.rowsHeight + this.laneHeight;
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

  y(pitch) {
    return RULER + (this.highest - pitch) * this.rowPx - this.scrollY;
  }

  drumY(key) {
    return this.floor + LANE_GAP + this.account.drumKeys.indexOf(key) * this.laneRow;
  }

  stepAt(x) {
    return (x - this.gutter + this.scrollX) / this.stepPx;
  }

  pitchAt(y) {
    return this.highest - Math.floor((y - RULER + this.scrollY) / this.rowPx);
  }

  drumAt(y) {
    return this.account.drumKeys[Math.floor((y - this.floor - LANE_GAP) / this.laneRow)];
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

// The lowest and highest pitch of song and sheet, with a row to spare.
function pitchSpan(account) {
  let lowest = 127;
  let highest = 0;
  for (const id of account.drawn) {
    if (isDrum(account, id)) continue;
    lowest = Math.min(lowest, account.notes.pitch[id]);
    highest = Math.max(highest, account.notes.pitch[id]);
  }
  for (const tone of account.tones.flat()) {
    lowest = Math.min(lowest, tone.pitch);
    highest = Math.max(highest, tone.pitch);
  }
  return lowest > highest ? [57, 69] : [Math.max(lowest - 1, 0), Math.min(highest + 1, 127)];
}
