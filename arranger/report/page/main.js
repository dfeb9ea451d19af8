// Puts the parts together: each is made once, and reads the account anew when it changes.

function makePage() {
  const view = new View();
  const roll = new Roll(document.getElementById("roll"), view);
  const travel = new Travel(roll);
  new Choosing(roll);
  const overview = new Overview(document.getElementById("overview"), view);
  new About(document.getElementById("about"));
  new Mend(document.getElementById("problems"));
  new SheetLines(document.getElementById("sheet-lines"));
  const list = new NoteList();
  new Mixer();
  const listening = new Listening(new Player(), travel);
  listenToKeys();
  bindKey(" ", "play or pause", () => listening.toggle(), "Space");
  bindKey("Enter", "play from the chosen note or bars", () => listening.playChosen());
  bindKey("l", "loop the chosen bars, or no longer", () => listening.switchLoop());
  bindKey("f", "follow the music, or no longer", () => listening.setFollowing(!travel.following));
  bindKey("s", "hear the song in place of the sheet, and back", () => listening.switchSource());
  bindKey("+", "zoom in", () => travel.zoomBy(1.5));
  bindKey("-", "zoom out", () => travel.zoomBy(1 / 1.5));
  bindKey("Escape", "let go of the note, then of the bars", () => letGo());
  roll.listen();
  for (const name of ["show-song", "show-sheet"]) showOrHide(name, roll);
  preparePrint(list, overview);
  followLinks();
  listenToCopying();
  onchange("data", showHead);
  onchange("data colours", () => drawSwatches(readPalette()));
  watchTheme(() => changed("colours"));
  return new Address(list, travel, new BookLinks());
}

function showOrHide(name, roll) {
  document.getElementById(name).addEventListener("change", (event) => {
    roll[name === "show-song" ? "showSong" : "showSheet"] = event.target.checked;
    roll.request(true);
  });
}

function letGo() {
  const bars = state.note === NO_NOTE ? null : state.bars;
  select(bars === null ? {} : { note: NO_NOTE }, { reveal: false });
}

// Any button that names a bar (by index) or a note leads there.
function followLinks() {
  document.addEventListener("click", (event) => {
    const { bar, note } = event.target.closest?.("button.go")?.dataset ?? {};
    if (bar !== undefined) select({ bar: Number(bar) });
    else if (note !== undefined) select({ note: Number(note) });
  });
}

// Shows data in the page, again and again: what is chosen, in sight and heard stays as far as it can.
function show(data) {
  takeAccount(readAccount(data));
}

async function begin() {
  if (isEmbedded()) {
    playForAnother(readAccount(await globalThis.unpacked("data").json()));
    return;
  }
  const address = makePage();
  const data = await globalThis.unpacked("data").json();
  if (document.getElementById("other") === null) show(data);
  else showPair(data, await globalThis.unpacked("other").json());
  address.begin();
  document.documentElement.dataset.ready = "";
}

begin();
