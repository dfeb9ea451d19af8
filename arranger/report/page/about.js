// Tells what became of one note, and what took its place: of the note under the pointer, else the chosen.

class About {
  constructor(place) {
    this.place = place;
    onchange("data selection pointed", () => this.show());
  }

  show() {
    tellAbout(this.place, state.account, state.pointed === NO_NOTE ? state.note : state.pointed);
  }
}

function tellAbout(place, account, id) {
  if (id === NO_NOTE) {
    const hint = element(
      "p",
      "Point at a note, tap it, or go to it with the arrow keys: what became of it is told here.",
    );
    hint.className = "hint";
    place.replaceChildren(hint);
    return;
  }
  const sentence = element("p", account.notes.told[id]);
  sentence.className = `sentence ${outcomeOf(account, id)}`;
  place.replaceChildren(sentence, ...placeTakers(account, id), particulars(account, id));
}

function placeTakers(account, id) {
  const others = account.notes.by[id];
  if (others.length === 0) return [];
  const line = element("p", "See ");
  others.slice(0, 6).forEach((other) => {
    const { name, role } = account.parts[account.notes.part[other]];
    const button = element(
      "button",
      `${noteName(account, other)} of ${name || "a part"} (${role})`,
    );
    button.type = "button";
    button.className = "go";
    button.dataset.note = other;
    line.append(button, " ");
  });
  return [line];
}

function particulars(account, id) {
  const { notes, parts } = account;
  const part = parts[notes.part[id]];
  const heard = notes.spans[id].map(([voice, step, steps]) =>
    spanText(account, id, voice, step, steps),
  );
  const facts = [
    `part ${part.number}, ${part.role}`,
    `bar ${notes.bar[id]}, beat ${beatText(notes.beat[id])}`,
    `loudness ${notes.loud[id]} of 100`,
    ...heard,
  ];
  const line = element("p", facts.join(" · "));
  line.className = "hint";
  return line;
}

function spanText(account, id, voice, step, steps) {
  const { notes, engine } = account;
  const bar = barOfStep(account, step);
  const where = `from step ${step - bar.first + 1} of ${bar.name}`;
  if (voice === 0) return `drum ${engine.drums[notes.sound[id]] ?? ""} ${where}`;
  return `${pitchName(notes.out[id])} in voice ${voice} ${where}, ${steps} ${steps === 1 ? "step" : "steps"}`;
}
