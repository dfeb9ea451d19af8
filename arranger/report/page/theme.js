// Colours come from the style sheet, so that picture and page change together.

// From best to worst.
const OUTCOMES = ["kept", "changed", "merged", "dropped"];

function readPalette() {
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(`--${name}`).trim();
  const palette = { outcome: {}, fill: {} };
  for (const name of ["paper", "card", "ink", "quiet", "line", "beat", "faint", "shade", "accent", "loss"]) {
    palette[name] = colour(name);
  }
  for (const name of OUTCOMES) {
    palette.outcome[name] = colour(name);
    palette.fill[name] = colour(`${name}-fill`);
  }
  return palette;
}

// Calls changed() whenever the colours do: by the page's own choice, the system's, or for print.
function watchTheme(changed) {
  const choice = document.getElementById("theme");
  const apply = () => {
    document.documentElement.dataset.theme = choice.value;
    changed();
  };
  choice.addEventListener("change", apply);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", changed);
  apply();
}
