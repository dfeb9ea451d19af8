// Plays sheet and song side by side, so that one can switch between them at the same place.
//
// Both are computed half a second at a time, a little ahead of what is heard, as the two channels of
// one buffer; a gain each decides which is heard. Nothing is stored: an hour of music costs no more
// memory than a second.

const CHUNK_SECONDS = 0.5;
const AHEAD_SECONDS = 1.2;
const SWITCH_SECONDS = 0.012;

class Player {
  constructor() {
    this.context = null;
    this.loop = null;
    this.source = "sheet";
    this.tempo = 1;
    this.planned = [];
    this.setVolume(document.getElementById("volume").value / 100);
    onchange("data sound", () => this.adopt());
  }

  get playing() {
    return state.playing;
  }

  get account() {
    return state.account;
  }

  // Plays on from where it is, what there is to hear now.
  adopt() {
    if (this.context === null) return;
    this.makeSounds();
    if (this.playing) this.play(state.step);
  }

  // Plays so many times as fast as the sheet says; pitches and drums stay as they are.
  setTempo(tempo) {
    this.tempo = tempo;
    this.adopt();
  }

  makeSounds() {
    const rate = this.context.sampleRate;
    this.heard = accountHeard(this.account, this.tempo);
    this.makers = [new SheetSound(this.heard, rate), new SongSound(this.heard, rate)];
  }

  // Sound may only start from a click or a key, so everything is set up here.
  open() {
    if (this.context !== null) return;
    this.context = new AudioContext();
    this.makeSounds();
    this.splitter = this.context.createChannelSplitter(2);
    this.master = this.context.createGain();
    this.master.gain.value = this.volume;
    this.master.connect(this.context.destination);
    this.gains = ["sheet", "song"].map((name, channel) => {
      const gain = this.context.createGain();
      gain.gain.value = name === this.source ? 1 : 0;
      this.splitter.connect(gain, channel);
      gain.connect(this.master);
      return gain;
    });
  }

  // Plays from a step on; a loop, if there is one, is entered at its start when the step lies outside.
  play(step) {
    this.open();
    this.stopSounds();
    this.context.resume();
    const { loop } = this;
    const inLoop = loop === null || (step >= loop.first && step < loop.end);
    state.step = inLoop ? step : loop.first;
    if (state.step >= this.account.steps) state.step = 0;
    this.next = { at: this.context.currentTime + 0.05, sample: this.sampleOf(state.step) };
    state.playing = true;
    this.pump();
    this.timer = setInterval(() => this.pump(), 150);
    this.tick();
  }

  // Goes to a step without starting or stopping.
  goTo(step) {
    state.step = step;
    if (this.playing) this.play(step);
    else changed("place");
  }

  pause() {
    if (!this.playing) return;
    state.step = this.heardStep();
    state.playing = false;
    this.stopSounds();
    changed("place");
  }

  stopSounds() {
    clearInterval(this.timer);
    cancelAnimationFrame(this.frame);
    for (const { node } of this.planned) {
      node.onended = null;
      node.stop();
      node.disconnect();
    }
    this.planned = [];
  }

  sampleOf(step) {
    return Math.round(step * this.heard.stepSeconds * this.context.sampleRate);
  }

  // Computes and plans what will be heard in the next second.
  pump() {
    const { context } = this;
    while (this.next.at < context.currentTime + AHEAD_SECONDS) {
      const end = this.sampleOf(this.loop === null ? this.account.steps : this.loop.end);
      const count = Math.min(
        Math.round(CHUNK_SECONDS * context.sampleRate),
        end - this.next.sample,
      );
      if (count <= 0) {
        if (this.loop === null) return;
        this.next.sample = this.sampleOf(this.loop.first);
        continue;
      }
      this.plan(count);
    }
    this.planned = this.planned.filter(
      ({ at, count }) => at + count / context.sampleRate > context.currentTime - 0.5,
    );
  }

  plan(count) {
    const { context, next } = this;
    const buffer = context.createBuffer(2, count, context.sampleRate);
    this.makers.forEach((maker, channel) =>
      buffer.copyToChannel(maker.render(next.sample, count), channel),
    );
    const node = context.createBufferSource();
    node.buffer = buffer;
    node.connect(this.splitter);
    const at = Math.max(next.at, context.currentTime);
    node.start(at);
    this.planned.push({ node, at, count, sample: next.sample });
    this.next = { at: at + count / context.sampleRate, sample: next.sample + count };
  }

  // The step that is heard now, as a fraction.
  heardStep() {
    const { context } = this;
    const now = context.currentTime - (context.outputLatency || 0);
    const chunk = this.planned.findLast(({ at }) => at <= now);
    if (chunk === undefined) return state.step;
    const sample = chunk.sample + Math.min((now - chunk.at) * context.sampleRate, chunk.count);
    return Math.min(sample / (this.heard.stepSeconds * context.sampleRate), this.account.steps);
  }

  tick() {
    if (!this.playing) return;
    this.look();
    this.frame = requestAnimationFrame(() => this.tick());
  }

  // Notes where the music is; at its end it stops.
  look() {
    state.step = this.heardStep();
    if (state.step >= this.account.steps - 0.001) {
      this.pause();
      state.step = 0;
    }
    changed("place");
  }

  hear(source) {
    this.source = source;
    if (this.context === null) return;
    this.gains.forEach((gain, channel) => {
      const wanted = ["sheet", "song"][channel] === source ? 1 : 0;
      gain.gain.setTargetAtTime(wanted, this.context.currentTime, SWITCH_SECONDS);
    });
  }

  setVolume(share) {
    // Hearing is nearer to logarithmic: the square makes the slider's middle sound like the middle.
    this.volume = share * share;
    if (this.context !== null)
      this.master.gain.setTargetAtTime(this.volume, this.context.currentTime, 0.02);
  }

  // Loops over steps, {first, end}, or with null no longer.
  loopOver(steps) {
    if (this.loop?.first === steps?.first && this.loop?.end === steps?.end) return;
    this.loop = steps;
    if (this.playing) this.play(this.heardStep());
  }
}
