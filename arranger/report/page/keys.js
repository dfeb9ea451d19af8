// Keys that work everywhere in the page, and the panel that lists them.

const boundKeys = [];

// Has a key do something wherever nothing is typed; `words` tell of it in the panel, `shown` names the key.
function bindKey(key, words, act, shown = key) {
  boundKeys.push({ key, words, act, shown });
}

function listenToKeys() {
  document.addEventListener("keydown", (event) => {
    if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey) return;
    if (wantsKey(event.target, event.key) || document.querySelector("dialog[open]")) return;
    const found = boundKeys.find(({ key }) => key === event.key);
    if (found === undefined) return;
    if (event.key !== "Escape" && !document.getElementById("single-keys").checked) return;
    event.preventDefault();
    found.act(event);
  });
  const panel = document.getElementById("keys");
  document.getElementById("help").addEventListener("click", () => openKeys(panel));
  bindKey("?", "this list", () => openKeys(panel));
}

// Whether an element has a use of its own for a key.
function wantsKey(target, key) {
  if (target.closest("textarea, select, [contenteditable], [data-typing]")) return true;
  const input = target.closest("input");
  if (input !== null && !["checkbox", "radio"].includes(input.type)) return true;
  return [" ", "Enter"].includes(key) && target.closest("input, button, summary, a") !== null;
}

function openKeys(panel) {
  const lines = boundKeys.flatMap(({ shown, words }) => {
    const term = element("dt");
    term.append(...shown.split(" ").map((name) => element("kbd", name)));
    return [term, element("dd", words)];
  });
  panel.querySelector("#all-keys").replaceChildren(...lines);
  panel.showModal();
}
