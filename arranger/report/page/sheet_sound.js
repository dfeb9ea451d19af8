// The sheet as the hardware plays it: the pin's edges, clock cycle by clock cycle, made audible.
//
// The routine's arithmetic is done as the routine does it: phases or counters once a pass, the pin
// shared between the voices within a pass, drums in place of tones. The pin's level is then averaged
// over slices of a quarter of a sample and low-passed down to the sample rate.

const SLICES = 4;
const FILTER_TAPS = 95;
const FILTER_REACH = (FILTER_TAPS - 1) / 2;
const SHEET_LEVEL = 0.25;
const BLOCK_HERTZ = 12;

class SheetSound {
  constructor(account, rate) {
    this.account = account;
    this.rate = rate;
    this.routine = new Routine(account);
    this.slicer = new Slicer(account.engine.clockHz / (rate * SLICES));
    this.filter = lowPass(FILTER_TAPS, 0.45 / SLICES);
    this.blocking = Math.exp((-2 * Math.PI * BLOCK_HERTZ) / rate);
    this.seek(0);
  }

  // Starts the routine afresh at the beginning of the step that holds a sample.
  seek(sample) {
    const { engine } = this.account;
    const step = Math.floor((sample * engine.clockHz) / this.rate / engine.stepCycles);
    this.routine.start(step);
    this.slicer.start(step * engine.stepCycles);
    this.before = { raw: 0, out: 0 };
    this.nextSample = sample;
  }

  // Returns samples from one on; those that follow the last call go on without a seam.
  render(first, count) {
    if (first !== this.nextSample) this.seek(first);
    const { slicer, filter } = this;
    while (slicer.end <= (first + count) * SLICES + FILTER_REACH) this.routine.playStep(slicer);
    const out = new Float32Array(count);
    for (let at = 0; at < count; at += 1) {
      out[at] = this.blocked(slicer.weighted((first + at) * SLICES - FILTER_REACH, filter));
    }
    slicer.forget((first + count) * SLICES - FILTER_REACH);
    this.nextSample = first + count;
    return out;
  }

  // Takes the standing level away, as the capacitor before a loudspeaker does.
  blocked(raw) {
    const { before } = this;
    before.out = raw - before.raw + this.blocking * before.out;
    before.raw = raw;
    return before.out * 2 * SHEET_LEVEL;
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
    for (let tap = Math.max(-start, 0); tap < weights.length; tap += 1) sum += weights[tap] * values[start + tap];
    return sum;
  }

  forget(until) {
    const spent = until - this.first;
    if (spent <= 0) return;
    this.values.copyWithin(0, spent, this.end - this.first);
    this.first += spent;
  }
}

// The playing routine: what it counts and when it writes the pin.
class Routine {
  constructor(account) {
    this.account = account;
    this.engine = account.engine;
    this.rows = account.sheet.voices.map((row) => pitchesOf(row));
    this.play = { phase: playPhases, counter: playCounters, frequencies: playPhases, alternate: playAlternate }[this.engine.method];
  }

  start(step) {
    this.step = step;
    this.pin = 0;
    this.voices = [0, 1].map(() => ({ phase: 0, setting: 0, level: 0, left: 0 }));
  }

  playStep(slicer) {
    const { engine, account, step } = this;
    const begin = step * engine.stepCycles;
    const end = begin + engine.stepCycles;
    const drum = account.sheet.drums[step] ?? -1;
    const silenced = drum >= 0 && engine.drumTakesStep;
    this.voices.forEach((voice, index) => {
      const pitch = silenced ? undefined : this.rows[index][step];
      setVoice(voice, pitch === undefined || pitch < 0 ? 0 : engine.settings[pitch]);
    });
    if (drum >= 0) this.playDrum(slicer, engine.drums[drum], begin, end);
    else this.play(this, slicer, begin, end - engine.overheadCycles);
    slicer.hold(this.pin, end);
    this.step += 1;
  }

  playDrum(slicer, [, kind, settings, cycles], begin, end) {
    const stop = cycles === 0 ? end : Math.min(begin + cycles, end);
    let cycle = begin;
    let length = settings[0];
    let register = 1;
    while (cycle < stop) {
      this.pin = kind === "kick" ? 1 - this.pin : register & 1;
      cycle = Math.min(cycle + length, stop);
      slicer.hold(this.pin, cycle);
      if (kind === "kick") length += settings[1];
      else register = shifted(register);
    }
    this.pin = 0;
  }
}

function setVoice(voice, setting) {
  if (setting === voice.setting) return;
  voice.setting = setting;
  voice.left = setting;
  if (setting === 0) voice.level = 0;
}

function playPhases(routine, slicer, begin, end) {
  const { engine, voices } = routine;
  const size = 2 ** engine.bits;
  playPasses(routine, slicer, begin, end, () => {
    for (const voice of voices) {
      voice.phase = (voice.phase + voice.setting) % size;
      voice.level = voice.setting !== 0 && voice.phase >= size / 2 ? 1 : 0;
    }
  });
}

function playCounters(routine, slicer, begin, end) {
  playPasses(routine, slicer, begin, end, () => {
    for (const voice of routine.voices) {
      if (voice.setting === 0) continue;
      voice.left -= 1;
      if (voice.left === 0) {
        voice.level = 1 - voice.level;
        voice.left = voice.setting;
      }
    }
  });
}

function playPasses(routine, slicer, begin, end, count) {
  const { passCycles, writes } = routine.engine;
  for (let pass = begin; pass + passCycles <= end; pass += passCycles) {
    count();
    routine.voices.forEach((voice, index) => {
      slicer.hold(routine.pin, pass + writes[index]);
      routine.pin = voice.level;
    });
  }
}

// One square wave, handed from voice to voice; a voice alone keeps it.
function playAlternate(routine, slicer, begin, end) {
  const { passCycles } = routine.engine;
  for (let turn = 0, cycle = begin; cycle < end; turn += 1, cycle += passCycles) {
    const [own, other] = turn % 2 === 0 ? routine.voices : [routine.voices[1], routine.voices[0]];
    const divisor = own.setting || other.setting;
    const stop = Math.min(cycle + passCycles, end);
    if (divisor === 0) slicer.hold(0, stop);
    for (let edge = cycle; divisor !== 0 && edge < stop; ) {
      const half = Math.min(edge + divisor / 2, stop);
      slicer.hold(1, half);
      edge = Math.min(half + divisor / 2, stop);
      slicer.hold(0, edge);
    }
  }
  routine.pin = 0;
}

// A 16-bit shift register with feedback.
function shifted(register) {
  return (register >> 1) ^ (register & 1 ? 0xb400 : 0);
}

// The pitch that each step of a voice sounds, or -1.
function pitchesOf(row) {
  let held = -1;
  return row.map((cell) => {
    if (cell !== -1) held = cell >= 0 ? cell : -1;
    return held;
  });
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
