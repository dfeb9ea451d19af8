// A song's page that another page has in a frame, to play the song: nothing is drawn, and what to do comes
// in messages from that page: {play: share of the song}, {pause}, {hear, volume}.

const TELL_MS = 100;
const SILENT_TICKS = 15;

function isEmbedded() {
  return parent !== window && location.hash === "#player";
}

function playForAnother(account) {
  const player = new Player();
  takeAccount(account);
  const tell = (what) => parent.postMessage({ arranger: "song", ...what }, "*");
  addEventListener("message", ({ source, data }) => {
    if (source !== parent || data?.arranger !== "book") return;
    const { play, pause, hear, volume } = data;
    if (volume !== undefined) player.setVolume(volume);
    if (hear !== undefined) player.hear(hear);
    if (pause) player.pause();
    if (play !== undefined) player.play(Math.floor(play * account.steps));
  });
  let told = "";
  let silent = 0;
  setInterval(() => {
    // A frame that isn't seen is asked for no frames.
    if (player.playing) player.look();
    // Where the browser lets no sound begin here, the clock of sound stands still.
    silent = player.playing && player.context.state !== "running" ? silent + 1 : 0;
    const blocked = silent > SILENT_TICKS;
    const now = { share: state.step / account.steps, playing: player.playing, blocked };
    if (JSON.stringify(now) !== told) tell(now);
    told = JSON.stringify(now);
  }, TELL_MS);
  parent.postMessage({ arranger: "ready" }, "*");
}
