// The four strips of a song, small: how much of each line is heard from start to end. What isn't heard
// hangs from the top of a strip, as in the song's own page.

const BOOK_LINES = ["tune", "bass", "harmony", "drums"];
const ALL_HEARD = 9;
const STRIP_TALL = 9;
const STRIP_EVERY = 11;
const SVG = "http://www.w3.org/2000/svg";

// Draws the lines of a song that are named by their index.
function stripsOf(strips, song, lines) {
  const picture = document.createElementNS(SVG, "svg");
  const columns = Math.max(...strips.map((line) => line[song].length), 1);
  picture.setAttribute("viewBox", `0 0 ${columns} ${lines.length * STRIP_EVERY}`);
  picture.setAttribute("preserveAspectRatio", "none");
  picture.setAttribute("class", "book-strips");
  picture.setAttribute("aria-hidden", "true");
  const [ground, heard, lost] = [[], [], []];
  lines.forEach((line, place) => {
    const top = place * STRIP_EVERY;
    const text = strips[line][song];
    if (text !== "") ground.push(`M0 ${top}h${columns}v${STRIP_TALL}h${-columns}z`);
    [...text].forEach((level, at) => {
      if (level === "-") return;
      const tall = (Number(level) / ALL_HEARD) * STRIP_TALL;
      if (tall > 0) heard.push(`M${at} ${top + STRIP_TALL}v${-tall}h.94v${tall}z`);
      if (tall < STRIP_TALL) lost.push(`M${at} ${top}v${STRIP_TALL - tall}h.94v${tall - STRIP_TALL}z`);
    });
  });
  for (const [name, shapes] of Object.entries({ ground, heard, lost })) {
    const path = document.createElementNS(SVG, "path");
    path.setAttribute("class", name);
    path.setAttribute("d", shapes.join(""));
    picture.append(path);
  }
  return picture;
}
