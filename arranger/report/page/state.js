// What the page holds and what is chosen in it: one object, and those who listen to its changes.
//
// No other part keeps notes of its own about these. Kinds of change: data (a new account), selection
// (note, bars; leaving: it is going to be another one, worth coming back from), pointed, place (step, playing), filter (matches), sound (what of it is heard), preview,
// colours, view (scrolling and zoom).

const state = {
  account: null,
  // Where two conversions are compared, the accounts of both.
  pair: null,
  // Chosen note, which stays until another is chosen, and the one under the pointer.
  note: NO_NOTE,
  pointed: NO_NOTE,
  // Chosen bars: null, or {from, to}, indexes of the first and the last.
  bars: null,
  step: 0,
  playing: false,
  // Ids that the list's filter lets through; null: all.
  matches: null,
  // What is silenced and what is heard alone; see mixer.js.
  silenced: new Set(),
  alone: new Set(),
  // How the last choice was made: {reveal, record, place}; see select().
  how: { reveal: false, record: false, place: false },
  // What an edit would put and what it would displace: null, or {tones, drums, lost}.
  preview: null,
};

const listeners = [];

// Has a function called after changes of some kinds (words in one text), with the set of kinds.
function onchange(kinds, listener) {
  listeners.push({ kinds: kinds.split(" "), listener });
}

// Tells of changes; before there is an account there is nothing to tell.
function changed(...kinds) {
  if (state.account === null) return;
  const all = new Set(kinds);
  for (const each of listeners) {
    if (each.kinds.some((kind) => all.has(kind))) each.listener(all);
  }
}

// Chooses a note, bars (by index), or both; with {} nothing. Bars let go of a note outside them, a note
// leaves the bars. `reveal` brings what was chosen into sight, `place` the music to the bars, `record`
// makes it a step that the browser's back button takes back.
function select(what, { reveal = true, record = true, place = true } = {}) {
  if (record) changed("leaving");
  const { note, bar } = what;
  const bars = bar === undefined ? what.bars : [bar, bar];
  if (bars !== undefined) state.bars = { from: Math.min(...bars), to: Math.max(...bars) };
  if (note !== undefined) state.note = note;
  else if (bars === undefined || !inChosenBars(state.note)) state.note = NO_NOTE;
  if (note === undefined && bars === undefined) state.bars = null;
  state.how = { reveal, record, place: place && bars !== undefined };
  changed("selection");
}

function inChosenBars(id) {
  const { first, end } = chosenSteps();
  return id !== NO_NOTE && state.account.notes.at[id] >= first && state.account.notes.at[id] < end;
}

// First step of the chosen bars and the step after their last.
function chosenSteps() {
  if (state.bars === null) return null;
  const { bars } = state.account;
  const last = bars[state.bars.to];
  return { first: bars[state.bars.from].first, end: last.first + last.steps };
}

// Takes a new account; what was chosen and where the music is stay, as far as they are still there.
function takeAccount(account) {
  const before = state.account;
  state.account = account;
  if (before !== null) {
    state.step = sameStep(before, account, state.step);
    if (state.note >= account.notes.at.length) state.note = NO_NOTE;
    if (state.bars !== null) {
      const found = [state.bars.from, state.bars.to].map((index) =>
        Math.min(barNumbered(account, before.bars[index].number), account.bars.length - 1),
      );
      state.bars = { from: found[0], to: Math.max(...found) };
    }
    state.pointed = NO_NOTE;
    state.preview = null;
  }
  state.how = { reveal: false, record: false, place: false };
  changed("data", "selection", "pointed", "preview", "place");
}

// The step of one account that stands where a step of another does: same bar, same share of it.
function sameStep(before, account, step) {
  const bar = barOfStep(before, step);
  const now = account.bars[barNumbered(account, bar.number)];
  if (now === undefined) return account.steps;
  return now.first + ((step - bar.first) * now.steps) / bar.steps;
}

// Index of the first bar of a number or above.
function barNumbered(account, number) {
  const index = account.bars.findIndex((bar) => bar.number === number);
  if (index >= 0) return index;
  return firstWhere(account.bars.length, (at) => account.bars[at].number > number);
}
