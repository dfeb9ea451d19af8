// The head of the page: how long, how fast, whether it fits; and the buttons that copy a text.

function showHead() {
  const { title, head } = state.account;
  setText("title", title);
  setText("lead", head.lead);
  setText("size", head.size);
  document.getElementById("size").classList.toggle("warn", !head.fits);
}

function listenToCopying() {
  document.addEventListener("click", async (event) => {
    const button = event.target.closest?.("[data-copy]");
    if (!button) return;
    const done = await copyText(button.dataset.copy);
    button.textContent = done ? "Copied" : "Not allowed";
    setTimeout(() => (button.textContent = "Copy"), 2000);
  });
}
