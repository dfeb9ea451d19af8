// The song itself, plainly synthesised: every note as it was written, at the tempo of the sheet.
//
// Each sample depends on the notes alone, so playing can begin anywhere. A melodic note is a few
// harmonics with an envelope; a drum is a falling tone, noise, or both. Nothing stands for any
// particular instrument: it is there to compare with, not to please.

const TABLE_SIZE = 2048;
const SONG_LEVEL = 0.17;
const RELEASE_SECONDS = 0.06;
const LONGEST_RING_SECONDS = 1.1;
const PLUCKED = [0.55, 0.3, 0.18, 0.1, 0.06, 0.04];
const HELD = [0.6, 0.22, 0.26, 0.08, 0.1, 0.03];

class SongSound {
  constructor(account, rate) {
    this.account = account;
    this.rate = rate;
    this.tables = new Map();
    this.heardParts = account.parts.map((part) => isHeard(`song ${part.index}`));
  }

  // Returns samples from one on, whole samples counted from step 0.
  render(first, count) {
    const { account, rate } = this;
    const out = new Float32Array(count);
    const perStep = account.stepSeconds * rate;
    // Drums and releases ring on after the end of their note.
    const tail = (LONGEST_RING_SECONDS * rate) / perStep;
    eachNoteBetween(account, first / perStep - tail, (first + count) / perStep, (id) =>
      this.add(out, first, id),
    );
    for (let at = 0; at < count; at += 1) out[at] = Math.tanh(out[at]);
    return out;
  }

  add(out, first, id) {
    const { notes, parts, stepSeconds } = this.account;
    const start = notes.at[id] * stepSeconds * this.rate;
    const gain = (notes.loud[id] / 100) * SONG_LEVEL;
    const part = parts[notes.part[id]];
    if (!this.heardParts[part.index]) return;
    if (part.drum) this.addDrum(out, first, start, notes.pitch[id], gain * 2, id);
    else
      this.addTone(
        out,
        first,
        start,
        notes.steps[id] * stepSeconds,
        notes.pitch[id],
        gain,
        part.program,
      );
  }

  addTone(out, first, start, seconds, pitch, gain, program) {
    const { rate } = this;
    const hertz = 440 * 2 ** ((pitch - 69) / 12);
    const plucked = dies(program);
    const table = this.table(hertz, plucked);
    const held = Math.max(seconds, 0.05) * rate;
    const release = RELEASE_SECONDS * rate;
    const attack = (plucked ? 0.004 : 0.02) * rate;
    const fade = plucked ? Math.exp(-1 / (rate * Math.min(2.2, 200 / hertz + 0.25))) : 1;
    const from = Math.max(Math.ceil(start - first), 0);
    const to = Math.min(Math.floor(start + held + release - first), out.length);
    let level = gain * fade ** (from + first - start);
    const pace = (hertz * TABLE_SIZE) / rate;
    for (let at = from; at < to; at += 1) {
      const age = at + first - start;
      const edge = Math.min(age / attack, 1, (held + release - age) / release);
      out[at] += table[Math.floor(age * pace) % TABLE_SIZE] * level * edge;
      level *= fade;
    }
  }

  // One period with as many harmonics as fit below half the sample rate.
  table(hertz, plucked) {
    const shares = plucked ? PLUCKED : HELD;
    const harmonics = Math.max(Math.min(Math.floor(this.rate / 2 / hertz), shares.length), 1);
    const key = `${plucked} ${harmonics}`;
    if (!this.tables.has(key)) {
      const table = new Float32Array(TABLE_SIZE);
      for (let at = 0; at < TABLE_SIZE; at += 1) {
        for (let n = 1; n <= harmonics; n += 1) {
          table[at] += shares[n - 1] * Math.sin((2 * Math.PI * n * at) / TABLE_SIZE);
        }
      }
      this.tables.set(key, table);
    }
    return this.tables.get(key);
  }

  addDrum(out, first, start, key, gain, seed) {
    const { rate } = this;
    const [seconds, noise, high, low] = drumRecipe(key);
    const from = Math.max(Math.ceil(start - first), 0);
    const to = Math.min(Math.floor(start + seconds * 3 * rate - first), out.length);
    for (let at = from; at < to; at += 1) {
      const age = (at + first - start) / rate;
      // A tone that falls from high to low with a time constant of 30 ms: phase is its integral.
      const phase = low * age + (high - low) * 0.03 * (1 - Math.exp(-age / 0.03));
      const tone = (1 - noise) * Math.sin(2 * Math.PI * phase);
      const hiss = noise * hash(seed * 65537 + at + first);
      out[at] += (tone + hiss) * gain * Math.exp(-age / seconds) * Math.min(age * 2000, 1);
    }
  }
}

// Whether a General MIDI program dies away by itself: pianos, mallets, guitars, basses, plucked strings.
function dies(program) {
  return (
    program < 16 ||
    (program >= 24 && program < 40) ||
    (program >= 45 && program < 48) ||
    program >= 104
  );
}

// Time constant in seconds, share of noise, and the tone's first and last frequency in Hz.
function drumRecipe(key) {
  if (key === 35 || key === 36) return [0.09, 0.05, 160, 45];
  if (key === 38 || key === 40) return [0.07, 0.75, 240, 180];
  if (key === 42 || key === 44) return [0.02, 1, 0, 0];
  if (key === 46) return [0.12, 1, 0, 0];
  if ([49, 52, 55, 57].includes(key)) return [0.35, 1, 0, 0];
  if ([51, 53, 59].includes(key)) return [0.15, 0.85, 520, 520];
  if (key >= 41 && key <= 50) return [0.09, 0.1, 90 + (key - 41) * 18, 60 + (key - 41) * 14];
  return [0.04, 0.6, 900, 700];
}

// A number in -1..1 that depends on an integer alone.
function hash(value) {
  let mixed = Math.imul(value ^ (value >>> 15), 0x2c1b3c6d);
  mixed = Math.imul(mixed ^ (mixed >>> 12), 0x297a2d39);
  return ((mixed ^ (mixed >>> 15)) | 0) / 2147483648;
}
