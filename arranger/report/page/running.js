// A page that was written while its run went on: how old it is, and one click to a newer one.

function watchRunning() {
  const place = document.getElementById("running");
  if (place === null) return;
  document.getElementById("reload").addEventListener("click", () => location.reload());
  if (place.dataset.stopped !== undefined) return;
  const show = () => {
    const seconds = (Date.now() - Number(place.dataset.written)) / 1000;
    setText("age", seconds < 2 * Number(place.dataset.again) ? "" : ageOf(seconds));
  };
  show();
  setInterval(show, 5000);
}

function ageOf(seconds) {
  const age =
    seconds < 90 ? `${Math.round(seconds)} seconds` : `${Math.round(seconds / 60)} minutes`;
  return `This is ${age} old. Reload it; if nothing newer comes, the run has ended: start it again.`;
}

watchRunning();
