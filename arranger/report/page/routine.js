// The playing routine: what it counts, and in which clock cycle it writes the pin.
//
// This does pass by pass what arranger.sound.schedule and arranger.sound.signal say in closed form
// (for a timer that alternates: arranger.sound.alternate); their figures come with the page. A test
// compares the two, sample by sample.

function makeRoutine(account) {
  if (account.engine.method === "alternate") return new TimerRoutine(account);
  return account.engine.own === null ? new ForeignRoutine(account) : new OwnRoutine(account);
}

// What is written on each step: settings of the voices (0: silent) and the drum's index, or -1.
function writtenSteps(account) {
  const { engine, sheet } = account;
  const rows = sheet.voices.map((row) => pitchesOf(row));
  return sheet.drums.map((drum, step) => {
    const settings = rows.map((row) => (row[step] < 0 ? 0 : engine.settings[row[step]]));
    return { settings, drum };
  });
}

// The pitch that each step of a voice sounds, or -1.
function pitchesOf(row) {
  let held = -1;
  return row.map((cell) => {
    if (cell !== -1) held = cell >= 0 ? cell : -1;
    return held;
  });
}

// A loop that gives the pin to voice 1 and then to voice 2 in each pass.
class LoopRoutine {
  constructor(account) {
    this.account = account;
    this.engine = account.engine;
    this.half = 2 ** (this.engine.bits - 1);
    this.silent = this.engine.own?.silentPeriod ?? 1;
  }

  rest() {
    this.pin = 0;
    this.voices = [0, 1].map(() => ({ phase: 0, left: 1, level: 0 }));
  }

  // Runs the loop for some passes from a cycle on, each voice with one setting. In the first pass each
  // counts those more by which it is behind.
  stretch(slicer, start, passes, settings, behind = 0) {
    const { passCycles, offset } = this.engine;
    for (let pass = 0; pass < behind; pass += 1) {
      this.count(0, settings[0]);
      this.count(1, settings[1]);
    }
    const end = start + passes * passCycles;
    for (let cycle = start; cycle < end; cycle += passCycles) {
      this.count(0, settings[0]);
      this.show(slicer, 0, cycle);
      this.count(1, settings[1]);
      this.show(slicer, 1, cycle + offset);
    }
    slicer.hold(this.pin, end);
  }

  count(voice, setting) {
    if (this.engine.method === "counter") countDown(this.voices[voice], setting, this.silent);
    else addPhase(this.voices[voice], setting, this.half);
  }

  // Gives the pin a voice's level at a cycle.
  show(slicer, voice, cycle) {
    slicer.hold(this.pin, cycle);
    this.pin = this.voices[voice].level;
  }

  // Lets a drum write the pin from a cycle on.
  burst(slicer, start, drum) {
    const { cycles, levels } = this.engine.bursts[drum];
    cycles.forEach((cycle, index) => {
      slicer.hold(this.pin, start + cycle);
      this.pin = levels[index];
    });
  }
}

function addPhase(voice, setting, half) {
  if (setting <= 0) return;
  voice.phase += setting;
  if (voice.phase < half) return;
  voice.phase -= half;
  voice.level = 1 - voice.level;
}

// A silent voice goes on counting, so that a tone after silence starts soon.
function countDown(voice, setting, silent) {
  voice.left -= 1;
  if (voice.left > 0) return;
  if (setting !== 0) voice.level = 1 - voice.level;
  voice.left = setting || silent;
}

// This project's own player: the voices don't count while an event is read, and make up for it.
class OwnRoutine extends LoopRoutine {
  constructor(account) {
    super(account);
    this.events = eventsOf(account);
  }

  // Starts at the event that holds a step; returns the step at which that event begins.
  start(step) {
    this.rest();
    this.at = Math.max(
      firstWhere(this.events.length, (index) => this.events[index].step > step) - 1,
      0,
    );
    this.step = this.events[this.at]?.step ?? 0;
    return this.step;
  }

  play(slicer) {
    const event = this.events[this.at];
    const start = this.step * this.engine.stepCycles;
    if (event === undefined) {
      this.end(slicer, start);
      return;
    }
    const { passCycles, own } = this.engine;
    const passes = (event.steps * this.engine.stepCycles) / passCycles;
    const drummed = event.drum >= 0;
    this.shown(slicer, start, drummed ? own.shownBeforeDrum : own.shownCycles.length);
    const begun = drummed ? this.drum(slicer, start, event.drum) : own.readPasses;
    const begin = start + begun * passCycles;
    slicer.hold(this.pin, begin);
    this.stretch(slicer, begin, passes - begun, event.settings, drummed ? 0 : begun);
    this.step += event.steps;
    this.at += 1;
  }

  // While an event is read the pin shows the voices' levels in turn.
  shown(slicer, start, count) {
    this.engine.own.shownCycles
      .slice(0, count)
      .forEach((cycle, index) => this.show(slicer, index % 2, start + cycle));
  }

  // A drum goes before the tones of its event; returns the pass from which those sound.
  drum(slicer, start, drum) {
    const { passCycles, bursts } = this.engine;
    this.burst(slicer, start, drum);
    return bursts[drum].length / passCycles;
  }

  end(slicer, start) {
    if (this.step === this.account.steps) {
      const { own } = this.engine;
      this.shown(slicer, start, own.shownBeforeEnd);
      slicer.hold(this.pin, start + own.endWriteCycles);
      this.pin = 0;
    }
    this.step += 1;
    slicer.hold(this.pin, start + this.engine.stepCycles);
  }
}

// Steps in a row that sound alike but for a drum at first are one event, up to the bar and to what the
// player can count. Under a drum that fills its step the voices have what is written there.
function eventsOf(account) {
  const events = [];
  const borders = new Set(account.bars.map((bar) => bar.first).concat(account.loopStep ?? 0));
  writtenSteps(account).forEach(({ settings, drum }, step) => {
    const last = events.at(-1);
    const alike = last !== undefined && drum < 0 && String(last.settings) === String(settings);
    if (alike && !borders.has(step) && last.steps < account.engine.own.longestEvent)
      last.steps += 1;
    else events.push({ step, steps: 1, settings, drum });
  });
  return events;
}

// A routine that is only described: each step is passes of the loop, then the pin stands still.
class ForeignRoutine extends LoopRoutine {
  constructor(account) {
    super(account);
    this.steps = writtenSteps(account);
  }

  start(step) {
    this.rest();
    this.step = step;
    return step;
  }

  play(slicer) {
    const { engine } = this;
    const start = this.step * engine.stepCycles;
    const passes = Math.floor((engine.stepCycles - engine.overheadCycles) / engine.passCycles);
    const { settings, drum } = this.steps[this.step] ?? { settings: [0, 0], drum: -1 };
    let begun = 0;
    if (this.step >= this.steps.length) {
      this.pin = 0;
      begun = passes;
    } else if (drum >= 0) {
      this.burst(slicer, start, drum);
      begun =
        engine.silentShares[drum] === 1
          ? passes
          : Math.ceil(engine.bursts[drum].length / engine.passCycles);
    }
    if (begun < passes) {
      slicer.hold(this.pin, start + begun * engine.passCycles);
      this.stretch(slicer, start + begun * engine.passCycles, passes - begun, settings);
    }
    this.step += 1;
    slicer.hold(this.pin, this.step * engine.stepCycles);
  }
}

// One channel of a timer in square-wave mode, which the voices have in turn. A new count is taken
// up with the next half cycle; silence only keeps the timer from the speaker.
class TimerRoutine {
  constructor(account) {
    this.account = account;
    this.engine = account.engine;
    this.steps = writtenSteps(account);
  }

  start(step) {
    this.step = step;
    this.level = 1;
    this.count = this.firstCount(step);
    this.flip = step * this.engine.stepCycles + Math.ceil(this.count / 2);
    this.cycle = step * this.engine.stepCycles;
    return step;
  }

  firstCount(step) {
    for (const { settings, drum } of this.steps.slice(step)) {
      const hit = drum >= 0 ? this.engine.divisors[drum] : [];
      const divisor = [...hit, ...this.heard(settings, drum)].find((each) => each > 0);
      if (divisor !== undefined) return divisor;
    }
    return 2;
  }

  play(slicer) {
    const { engine } = this;
    const ticks = engine.stepCycles / engine.passCycles;
    const { settings, drum } = this.steps[this.step] ?? { settings: [0, 0], drum: -1 };
    const divisors = drum >= 0 ? engine.divisors[drum] : [];
    const [first, second] = this.heard(settings, drum);
    for (let tick = 0; tick < ticks; tick += 1) {
      const turn = Math.floor((tick - divisors.length) / engine.turn) % 2;
      const tone = first && second ? settings[turn] : first || second;
      this.run(slicer, tick < divisors.length ? divisors[tick] : tone);
    }
    this.step += 1;
  }

  // What is heard of the voices after a drum (-1: none).
  heard(settings, drum) {
    return this.engine.silentShares[drum] === 1 ? [0, 0] : settings;
  }

  // One tick with one divisor; 0 is silent. A pulse that has begun when the piece ends sounds out.
  run(slicer, divisor) {
    const end = this.cycle + this.engine.passCycles;
    this.count = divisor || this.count;
    if (this.step < this.steps.length) this.speaks = divisor > 0;
    else this.speaks &&= this.level === 1;
    while (this.flip <= end) {
      slicer.hold(this.speaks ? this.level : 0, this.flip);
      this.level = 1 - this.level;
      if (this.step >= this.steps.length) this.speaks = false;
      this.flip += this.level ? Math.ceil(this.count / 2) : Math.floor(this.count / 2);
    }
    slicer.hold(this.speaks ? this.level : 0, end);
    this.cycle = end;
  }
}
