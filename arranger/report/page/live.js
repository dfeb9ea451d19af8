// The page of `arranger review`: it follows the sheet's file, and sends what is to be changed.

class Live {
  constructor(known) {
    this.number = known.number;
    this.shown = known.shown;
    this.place = element("section");
    this.place.className = "live";
    this.place.setAttribute("aria-label", "The sheet's file");
    this.line = element("p");
    this.line.setAttribute("role", "status");
    this.told = element("p");
    this.told.className = "told";
    this.told.setAttribute("role", "status");
    this.problems = element("ul");
    this.problems.className = "problems";
    this.problems.tabIndex = 0;
    this.problems.setAttribute("aria-label", "What is wrong with the sheet");
    this.buttons = element("div");
    this.buttons.className = "bar";
    this.undo = this.button("Undo", () => this.move("undo"));
    this.redo = this.button("Redo", () => this.move("redo"));
    this.place.append(this.line, this.problems, this.buttons);
    if (known.folder) {
      const others = element("a", "All sheets");
      others.href = "../";
      this.buttons.append(others);
    }
    this.buttons.append(this.told);
    document.querySelector("main").prepend(this.place);
    this.tell(known);
    this.follow();
  }

  button(name, act) {
    const made = element("button", name);
    made.type = "button";
    made.addEventListener("click", act);
    this.buttons.append(made);
    return made;
  }

  // Asks for the next state again and again; the answer comes when there is one.
  async follow() {
    for (;;) {
      try {
        const answer = await fetch(`state?after=${this.number}&shown=${this.shown}`);
        if (!answer.ok) throw new Error(String(answer.status));
        this.take(await answer.json());
      } catch {
        this.line.textContent = "The review has ended, or this machine is busy: trying again.";
        await new Promise((resolve) => setTimeout(resolve, 1000));
      }
    }
  }

  take(found) {
    this.number = found.number;
    if (found.data !== undefined) {
      this.shown = found.shown;
      show(found.data);
      document.documentElement.dataset.shown = String(found.shown);
      this.takeParts();
    }
    this.tell(found);
    if (found.overwritten !== "" && this.last !== undefined) {
      this.say(`The file was saved without your last change (${found.overwritten}). `);
      this.offer("Put it there again", this.last);
    }
  }

  tell({ file, trouble, problems, more }) {
    const errors = problems.filter((each) => each.severity === "error").length;
    if (trouble !== "") this.line.textContent = trouble;
    else if (errors > 0) {
      this.line.textContent = "The file has errors: shown and heard is what it was before them.";
    } else this.line.textContent = `Follows ${file}, whatever saves it.`;
    this.place.classList.toggle("wrong", trouble !== "" || errors > 0);
    this.problems.hidden = problems.length === 0;
    this.problems.replaceChildren(
      ...problems.map((each) => problemLine(each)),
      ...(more > 0 ? [element("li", `${more} more: arranger check lists all`)] : []),
    );
  }

  say(words) {
    this.told.textContent = words;
  }

  // What the template writes is written anew by the server.
  async takeParts() {
    const places = [...document.querySelectorAll("[data-live]")];
    if (places.length === 0) return;
    const answer = await fetch("parts");
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const place of places) {
      const now = fresh.querySelector(`[data-live="${place.dataset.live}"]`);
      if (now !== null && now.innerHTML !== place.innerHTML) place.innerHTML = now.innerHTML;
    }
    changed("colours");
  }

  async send(what, ask) {
    try {
      const answer = await fetch(what, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ ...ask, seen: this.number }),
      });
      return answer.ok ? await answer.json() : { refused: `the review answers ${answer.status}` };
    } catch {
      return { refused: "the review has ended" };
    }
  }

  // Makes an edit; what the file and the page both changed stays in the file, and can be done again.
  async edit(ask) {
    const found = await this.send("edit", ask);
    if (found.refused !== undefined) this.say(`Not done: ${found.refused}.`);
    else if (found.clashes.length > 0) this.offerAgain(ask, found);
    else {
      this.last = ask;
      this.say(`${capital(found.told)}.`);
    }
    return found;
  }

  offerAgain(ask, found) {
    this.say(`Not written: ${found.clashes.join("; ")}. The file's is shown. `);
    this.offer("Put mine all the same", ask);
  }

  offer(words, ask) {
    const again = element("button", words);
    again.type = "button";
    again.addEventListener("click", () => this.edit(ask));
    this.told.append(again);
  }

  async move(way) {
    const found = await this.send(way, {});
    if (found.refused !== undefined) this.say(`Nothing done: ${found.refused}.`);
    else if (found.clashes.length > 0) this.say("The file was changed meanwhile: look at it first.");
    else this.say(`${capital(found.told)}.`);
  }
}

function problemLine({ severity, line, column, what, remedy, text }) {
  const made = element("li", `${severity}, line ${line}, column ${column}: ${what}; ${remedy}`);
  made.className = severity;
  made.append(element("code", text));
  return made;
}

function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
