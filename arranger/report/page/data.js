// The page's data as columns, with the look-ups that the other files need.

const NO_NOTE = -1;
const SHARP_NAMES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];

function readAccount(data) {
  const bars = data.bars.map(
    ([number, first, steps, beats, unit, notes, dropped, songNumber], index) => ({
      index,
      number,
      name: songNumber === null ? `bar ${number}` : `bar ${number} (the song's ${songNumber})`,
      first,
      steps,
      beats,
      unit,
      notes,
      dropped,
    }),
  );
  const parts = data.parts.map(([name, role, drum, program], index) => ({
    index,
    number: index + 1,
    name,
    role,
    drum: drum === 1,
    program,
  }));
  const notes = { ...data.notes };
  for (const name of ["at", "steps", "beat"])
    notes[name] = Float64Array.from(notes[name], (value) => value / 100);
  const account = { ...data, bars, parts, notes };
  account.drawn = drawnNotes(notes);
  account.latestEnd = latestEnds(notes, account.drawn);
  account.tones = data.sheet.voices.map((row, voice) => tonesOf(row, data.sheet.sources[voice]));
  account.drumKeys = Object.keys(data.drumNames).map(Number);
  account.hitKeys = hitKeys(account);
  return Object.freeze(account);
}

// For each step with a drum of the sheet, the keys that it says: a joint sound says several, a gap none,
// and what the hand put in those of others with its sound.
function hitKeys({ sheet, notes, drumKeys, parts }) {
  const found = new Map();
  const add = (step, key) => found.set(step, (found.get(step) ?? new Set()).add(key));
  notes.spans.forEach((spans, id) => {
    for (const [voice, step] of spans) if (voice === 0) add(step, notes.pitch[id]);
  });
  sheet.drums.forEach((sound, step) => {
    const source = sheet.sources[2][step];
    if (sound < 0 || found.has(step) || (source >= 0 && !parts[notes.part[source]].drum)) return;
    const alike = source >= 0 ? source : notes.sound.indexOf(sound);
    add(step, alike >= 0 ? notes.pitch[alike] : drumKeys[0]);
  });
  return found;
}

// Ids of the notes in the passage, in order of where they start.
function drawnNotes(notes) {
  const ids = [];
  for (let id = 0; id < notes.at.length; id += 1) {
    if (notes.at[id] >= 0) ids.push(id);
  }
  return ids.sort((a, b) => notes.at[a] - notes.at[b] || notes.pitch[a] - notes.pitch[b]);
}

// For each drawn note, the latest end among it and those before: rising, so that it can be searched.
function latestEnds(notes, drawn) {
  const ends = new Float64Array(drawn.length);
  let latest = 0;
  drawn.forEach((id, index) => {
    latest = Math.max(latest, notes.at[id] + notes.steps[id]);
    ends[index] = latest;
  });
  return ends;
}

// The tones of a voice: a number starts one, -1 holds it, -2 is silent.
function tonesOf(row, sources) {
  const tones = [];
  let last = null;
  row.forEach((cell, step) => {
    if (cell >= 0) {
      last = { step, steps: 1, pitch: cell, source: sources[step] };
      tones.push(last);
    } else if (cell === -1 && last !== null) {
      last.steps += 1;
    } else {
      last = null;
    }
  });
  return tones;
}

// The stretches in which a tone is heard: its drums part them.
function heardStretches(account, { step: first, steps }) {
  const found = [];
  let from = first;
  for (let step = first; step < first + steps; step += 1) {
    const drum = account.sheet.drums[step];
    if (drum < 0) continue;
    if (step > from) found.push({ step: from, steps: step - from });
    from = step + account.engine.silentShares[drum];
  }
  if (first + steps > from) found.push({ step: from, steps: first + steps - from });
  return found;
}

// The first index for which a test holds, of a list on which it fails first and holds from there on.
function firstWhere(length, test) {
  let low = 0;
  let high = length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (test(middle)) high = middle;
    else low = middle + 1;
  }
  return low;
}

// Calls visit(id) for each drawn note that touches the steps from left to right.
function eachNoteBetween(account, left, right, visit) {
  const { drawn, latestEnd, notes } = account;
  let index = firstWhere(drawn.length, (at) => latestEnd[at] > left);
  for (; index < drawn.length; index += 1) {
    const id = drawn[index];
    if (notes.at[id] >= right) return;
    if (notes.at[id] + notes.steps[id] > left) visit(id);
  }
}

// At most how many notes touch the steps from left to right.
function notesBetween(account, left, right) {
  const { drawn, latestEnd, notes } = account;
  const first = firstWhere(drawn.length, (index) => latestEnd[index] > left);
  return firstWhere(drawn.length, (index) => notes.at[drawn[index]] >= right) - first;
}

function barOfStep(account, step) {
  const { bars } = account;
  const after = firstWhere(bars.length, (index) => bars[index].first > step);
  return bars[Math.max(after - 1, 0)];
}

function pitchName(pitch) {
  return `${SHARP_NAMES[pitch % 12]}${Math.floor(pitch / 12) - 1}`;
}

function isDrum(account, id) {
  return account.parts[account.notes.part[id]].drum;
}

// A drum is called by its name, any other note by its pitch.
function noteName(account, id) {
  const pitch = account.notes.pitch[id];
  return isDrum(account, id) ? account.drumNames[pitch] : pitchName(pitch);
}

function outcomeOf(account, id) {
  return account.outcomes[account.notes.outcome[id]];
}

function reasonsOf(account, id) {
  return account.notes.reasons[id].map((index) => account.reasons[index][0]);
}

// Its reasons as people say them.
function reasonWords(account, id) {
  return account.notes.reasons[id].map((index) => account.reasons[index][1]).join(", ");
}

function beatText(beat) {
  return String(Math.round(beat * 100) / 100);
}
