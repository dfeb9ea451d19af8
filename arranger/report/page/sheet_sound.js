// The sheet as the hardware plays it: the pin's edges, clock cycle by clock cycle, made audible.
//
// The routine (routine.js) says how long the pin keeps each level. That is averaged over slices of a
// quarter of a sample, low-passed down to the sample rate, and freed of its standing level as a
// loudspeaker does.

const SLICES = 4;
const FILTER_TAPS = 95;
const FILTER_REACH = (FILTER_TAPS - 1) / 2;
const PIN_JUMP = 0.23;
const HIGH_PASS_HERTZ = 10;

class SheetSound {
  constructor(account, rate) {
    this.account = account;
    this.rate = rate;
    this.routine = makeRoutine(account);
    this.slicer = new Slicer(account.engine.clockHz / (rate * SLICES));
    this.filter = lowPass(FILTER_TAPS, 0.45 / SLICES);
    this.blocking = Math.exp((-2 * Math.PI * HIGH_PASS_HERTZ) / rate);
    this.seek(0);
  }

  // Starts the routine afresh at the step that holds a sample, or at the event that step belongs to.
  seek(sample) {
    const { engine } = this.account;
    const step = Math.floor((sample * engine.clockHz) / this.rate / engine.stepCycles);
    this.slicer.start(this.routine.start(step) * engine.stepCycles);
    this.before = { raw: 0, out: 0 };
    this.nextSample = sample;
  }

  // Returns samples from one on; those that follow the last call go on without a seam.
  render(first, count) {
    if (first !== this.nextSample) this.seek(first);
    const { slicer, filter } = this;
    while (slicer.end <= (first + count) * SLICES + FILTER_REACH) this.routine.play(slicer);
    const out = new Float32Array(count);
    for (let at = 0; at < count; at += 1) {
      out[at] = this.blocked(slicer.weighted((first + at) * SLICES - FILTER_REACH, filter));
    }
    slicer.forget((first + count) * SLICES - FILTER_REACH);
    this.nextSample = first + count;
    return out;
  }

  // Takes the standing level away.
  blocked(raw) {
    const { before } = this;
    before.out = raw - before.raw + this.blocking * before.out;
    before.raw = raw;
    return before.out * PIN_JUMP;
  }
}

// Averages a level that changes at given cycles over slices of equal length.
class Slicer {
  constructor(sliceCycles) {
    this.sliceCycles = sliceCycles;
    this.values = new Float32Array(1 << 16);
  }

  // Begins at a cycle: the slice that it lies in is the first one.
  start(cycle) {
    this.first = Math.floor(cycle / this.sliceCycles);
    this.end = this.first;
    this.cycle = cycle;
    this.sum = 0;
    this.boundary = (this.end + 1) * this.sliceCycles;
  }

  // Holds a level until a cycle.
  hold(level, until) {
    while (this.boundary <= until) {
      this.add((this.sum + level * (this.boundary - this.cycle)) / this.sliceCycles);
      this.cycle = this.boundary;
      this.sum = 0;
      this.boundary = (this.end + 1) * this.sliceCycles;
    }
    this.sum += level * (until - this.cycle);
    this.cycle = until;
  }

  add(value) {
    const at = this.end - this.first;
    if (at === this.values.length) {
      const larger = new Float32Array(2 * at);
      larger.set(this.values);
      this.values = larger;
    }
    this.values[at] = value;
    this.end += 1;
  }

  // The sum of weights times slices, from a slice on; before the beginning there is silence.
  weighted(slice, weights) {
    const { values } = this;
    const start = slice - this.first;
    let sum = 0;
    for (let tap = Math.max(-start, 0); tap < weights.length; tap += 1)
      sum += weights[tap] * values[start + tap];
    return sum;
  }

  forget(until) {
    const spent = until - this.first;
    if (spent <= 0) return;
    this.values.copyWithin(0, spent, this.end - this.first);
    this.first += spent;
  }
}

// A windowed-sinc low-pass of unit gain (Blackman window); the corner is a share of the slice rate.
function lowPass(taps, corner) {
  const weights = new Float64Array(taps);
  let total = 0;
  for (let tap = 0; tap < taps; tap += 1) {
    const away = tap - (taps - 1) / 2;
    const sinc = away === 0 ? 2 * corner : Math.sin(2 * Math.PI * corner * away) / (Math.PI * away);
    const turn = (2 * Math.PI * tap) / (taps - 1);
    weights[tap] = sinc * (0.42 - 0.5 * Math.cos(turn) + 0.08 * Math.cos(2 * turn));
    total += weights[tap];
  }
  return weights.map((weight) => weight / total);
}
