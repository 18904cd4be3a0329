"use strict";
(function () {
  const form = document.getElementById("ask");
  const grid = JSON.parse(document.getElementById("grid").textContent);
  if (!form) { return; }
  const names = { size: grid.sizes, users: grid.users, edge: grid.edges };
  const inputs = {};
  for (const key of Object.keys(names)) {
    const input = document.getElementById("ask-" + key);
    if (input) { inputs[key] = input; }
  }
  const at = (key) => (inputs[key] ? Number(inputs[key].value) : 0);
  const list = document.getElementById("answers");
  const tell = (what, text) => {
    const term = document.createElement("dt");
    term.textContent = what;
    const answer = document.createElement("dd");
    answer.textContent = text;
    list.append(term, answer);
  };
  const timed = (cell) => cell[0] + "; 19 of 20 within " + cell[1];
  const update = () => {
    for (const key of Object.keys(inputs)) {
      const name = names[key][at(key)];
      document.getElementById("told-" + key).textContent = name;
      inputs[key].setAttribute("aria-valuetext", name);
    }
    const size = at("size"), users = at("users"), edge = at("edge");
    list.replaceChildren();
    if (grid.out.length) { tell("The server sends one payload (link up)", timed(grid.out[size][users])); }
    if (grid.in.length) { tell("The server receives one payload (link down)", timed(grid.in[size][users])); }
    if (grid.view.length) { tell("View one photo", timed(grid.view[edge][users])); }
    tell("Data of a billing cycle, the whole site", grid.cycle[edge][users]);
    if (grid.over.length) { tell("Chance to want more than the cap", grid.over[edge][users]); }
  };
  form.addEventListener("input", update);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.hidden = false;
  update();
})();
