// The rows of the roll: pitches from high to low, drums below. Folded, only those in use have one.

class Rows {
  constructor(account, folded) {
    const used = usedPitches(account);
    this.pitches = folded ? used : allBetween(used[0], used[used.length - 1]);
    this.place = placesOf(this.pitches);
    this.drums = usedDrums(account);
    this.drumPlace = new Map(this.drums.map((key, index) => [key, index]));
    this.drumRows = Int16Array.from({ length: 128 }, (_, key) => this.drumPlace.get(key) ?? 0);
  }

  // Row of a pitch, counted from the top; of one that has no row, the border between its neighbours.
  of(pitch) {
    return this.place[pitch];
  }

  // Whether a row is the lowest of its octave among those shown.
  endsOctave(row) {
    const [pitch, below] = [this.pitches[row], this.pitches[row + 1]];
    return below !== undefined && Math.floor(pitch / 12) !== Math.floor(below / 12);
  }

  // Whether pitches between a row and the next one are folded away.
  skipsAfter(row) {
    return this.pitches[row] - (this.pitches[row + 1] ?? this.pitches[row] - 1) > 1;
  }
}

// Pitches of song and sheet, from high to low; a song of drums alone is given one row.
function usedPitches(account) {
  const used = new Set(account.tones.flat().map((tone) => tone.pitch));
  for (const id of account.drawn) if (!isDrum(account, id)) used.add(account.notes.pitch[id]);
  return used.size === 0 ? [60] : [...used].sort((a, b) => b - a);
}

function allBetween(highest, lowest) {
  return Array.from({ length: highest - lowest + 1 }, (_, index) => highest - index);
}

function placesOf(pitches) {
  const place = new Float64Array(128);
  let row = 0;
  for (let pitch = 127; pitch >= 0; pitch -= 1) {
    const found = pitches[row] === pitch;
    place[pitch] = found ? row : row - 0.5;
    if (found) row += 1;
  }
  return place;
}

// Keys of the drums that song or sheet hits in the passage.
function usedDrums(account) {
  const used = new Set();
  for (const id of account.drawn) if (isDrum(account, id)) used.add(account.notes.pitch[id]);
  for (const keys of account.hitKeys.values()) for (const key of keys) used.add(key);
  return account.drumKeys.filter((key) => used.has(key));
}
