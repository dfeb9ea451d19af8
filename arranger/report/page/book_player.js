// Plays a song in the book: the song's own page does it, in a frame that isn't shown, and tells where it is.
// Pages from disk may not look into each other, so they send each other messages.

const SILENT_MS = 1500;

class BookPlayer {
  // Calls told() with {share, playing} or {blocked} of the song that is loaded.
  constructor(told) {
    this.told = told;
    this.frame = null;
    this.link = "";
    this.ready = false;
    this.waiting = null;
    this.playing = false;
    addEventListener("message", (event) => this.take(event));
  }

  // Plays a song from a share of its length on.
  play(link, share = 0) {
    this.waiting = { play: share };
    if (link === this.link && this.ready) this.tell(this.waiting);
    else this.load(link);
    this.playing = true;
  }

  pause() {
    this.waiting = null;
    this.playing = false;
    if (this.ready) this.tell({ pause: true });
  }

  // How it is heard: {hear: "sheet" or "song", volume: 0 to 1}.
  set(how) {
    this.how = how;
    if (this.ready) this.tell(how);
  }

  load(link) {
    this.frame?.remove();
    this.link = link;
    this.ready = false;
    this.frame = element("iframe");
    this.frame.title = "The page that plays the song";
    this.frame.allow = "autoplay *";
    this.frame.className = "player";
    this.frame.tabIndex = -1;
    this.frame.src = `${link}#player`;
    document.body.append(this.frame);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => !this.ready && this.told({ blocked: true }), 10 * SILENT_MS);
  }

  take({ source, data }) {
    if (this.frame === null || source !== this.frame.contentWindow || data?.arranger === undefined) return;
    if (data.arranger === "ready") {
      this.ready = true;
      this.tell(this.how);
      if (this.waiting !== null) this.tell(this.waiting);
    } else {
      this.playing = data.playing;
      this.told(data);
    }
  }

  tell(what) {
    this.frame.contentWindow.postMessage({ arranger: "book", ...what }, "*");
  }
}
