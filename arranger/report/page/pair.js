// Two conversions of one song in a page: a switch and a key go from one to the other, at the same place.

function showPair(data, other) {
  state.pair = [data, other].map(readAccount);
  const choices = [...document.querySelectorAll("input[name=side]")];
  const choose = (side) => {
    choices[side].checked = true;
    takeAccount(state.pair[side]);
  };
  choices.forEach((choice, side) => choice.addEventListener("change", () => choose(side)));
  bindKey("x", "the other of the two conversions", () => choose(choices[0].checked ? 1 : 0));
  choose(0);
}
