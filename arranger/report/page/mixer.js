// What of sheet and song is heard: each voice, the drums and each part can be silenced or heard alone.

class Mixer {
  constructor() {
    this.place = document.getElementById("mixer");
    this.place.addEventListener("change", (event) => this.take(event.target));
    onchange("data", () => this.show());
  }

  show() {
    const sheet = ["voice 1", "voice 2", "drums"].map((name, index) => [`sheet ${index}`, name]);
    const song = state.account.parts.map((part) => [
      `song ${part.index}`,
      `${part.number} ${part.name}`,
    ]);
    this.place.replaceChildren(
      mixerGroup("Of the sheet", sheet),
      mixerGroup("Of the song", song),
    );
  }

  take(box) {
    const set = box.dataset.what === "heard" ? state.silenced : state.alone;
    if (box.checked === (box.dataset.what === "heard")) set.delete(box.value);
    else set.add(box.value);
    changed("sound");
  }
}

function mixerGroup(title, lines) {
  const group = element("fieldset");
  group.append(element("legend", title));
  for (const [id, name] of lines) {
    const line = element("div");
    line.className = "line";
    line.append(
      element("span", name),
      tick(id, "heard", "heard", !state.silenced.has(id), name),
      tick(id, "alone", "alone", state.alone.has(id), name),
    );
    group.append(line);
  }
  return group;
}

function tick(value, what, text, on, name) {
  const box = element("input");
  box.type = "checkbox";
  box.value = value;
  box.dataset.what = what;
  box.checked = on;
  box.setAttribute("aria-label", `${name}: ${text}`);
  const label = element("label");
  label.append(box, ` ${text}`);
  return label;
}

// Whether "sheet 0" to "sheet 2" or a part of the song, "song 0"..., is heard.
function isHeard(id) {
  if (state.silenced.has(id)) return false;
  const group = id.split(" ")[0];
  const alone = [...state.alone].filter((other) => other.startsWith(group));
  return alone.length === 0 || alone.includes(id);
}

// The account as it is to be heard: silenced rows are empty, steps as long as the tempo has them.
function accountHeard(account, tempo) {
  const { sheet } = account;
  const silent = (row, index) => (isHeard(`sheet ${index}`) ? row : row.map(() => -2));
  const drums = isHeard("sheet 2") ? sheet.drums : sheet.drums.map(() => -1);
  const voices = sheet.voices.map(silent);
  return atTempo({ ...account, sheet: { ...sheet, voices, drums } }, tempo);
}

// At another tempo steps are other whole passes of the routine; drums stay as they are, cut to a step.
function atTempo(account, tempo) {
  const { engine } = account;
  if (tempo === 1) return account;
  const passes = Math.round(engine.stepCycles / engine.passCycles / tempo);
  const stepCycles = passes * engine.passCycles;
  const room = Math.floor((stepCycles - engine.overheadCycles) / engine.passCycles) - 2;
  const bursts = mapValues(engine.bursts, (burst) => cutBurst(burst, room * engine.passCycles));
  const divisors = mapValues(engine.divisors, (ticks) => ticks.slice(0, passes));
  const stepSeconds = (account.stepSeconds * stepCycles) / engine.stepCycles;
  return { ...account, stepSeconds, engine: { ...engine, stepCycles, bursts, divisors } };
}

function cutBurst({ cycles, levels, length }, most) {
  const within = cycles.filter((cycle) => cycle < most);
  return { cycles: within, levels: levels.slice(0, within.length), length: Math.min(length, most) };
}

function mapValues(table, change) {
  const changedOnes = Object.entries(table ?? {}).map(([key, value]) => [key, change(value)]);
  return Object.fromEntries(changedOnes);
}
