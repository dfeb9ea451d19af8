// Small helpers for elements. Text goes in as text, never as markup.

function element(name, text) {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  return made;
}

function setText(id, text) {
  const place = document.getElementById(id);
  if (place.textContent !== text) place.textContent = text;
}

// Turns pages of a list: shows which one it is, and calls turned() with -1 or 1.
function listenToPages(turned) {
  document.getElementById("page-back").addEventListener("click", () => turned(-1));
  document.getElementById("page-on").addEventListener("click", () => turned(1));
}

function showPages(page, pages) {
  document.getElementById("pages").hidden = pages === 1;
  setText("page-number", `page ${page + 1} of ${pages}`);
  document.getElementById("page-back").disabled = page === 0;
  document.getElementById("page-on").disabled = page === pages - 1;
}

// Marks the heading that a table is sorted by.
function showSort(key, down) {
  for (const button of document.querySelectorAll("[data-sort]")) {
    const heading = button.closest("th, [role=columnheader]");
    if (button.dataset.sort === key)
      heading.setAttribute("aria-sort", down ? "descending" : "ascending");
    else heading.removeAttribute("aria-sort");
  }
}

// Returns a function that has something drawn in the next frame, however often it is called until then.
function inNextFrame(draw) {
  let waiting = false;
  return () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      draw();
    });
  };
}
