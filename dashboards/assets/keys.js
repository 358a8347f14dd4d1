// Single keys for what a hand does at the bench. What each does stands in the list of keys
// that the page has from the server. They can be switched off (WCAG 2.2, 2.1.4), and
// nothing that is typed into a field is one.
import { chosen } from "./chosen.js";
import { setText } from "./marks.js";

const list = document.getElementById("key-list");
const note = document.getElementById("chosen");
const words = document.body.dataset;
const chosenForMs = 10_000;

let on = chosen.get("keys") !== "off";
let pot = null, until = 0;

const pots = () => Array.from(document.querySelectorAll(".pot"));

function tell(text) {
  note.hidden = !text;
  setText(note, text);
}

function choose(article) {
  pot?.classList.remove("chosen");
  pot = article;
  until = performance.now() + chosenForMs;
  pot?.classList.add("chosen");
  pot?.querySelector(".face").scrollIntoView({ block: "nearest" }); // a whole tile may be higher than the screen
  tell(pot ? pot.getAttribute("aria-label") : "");
}

function go(form) {
  form.closest("details")?.setAttribute("open", "");
  const field = form.querySelector("input:not([type=hidden])");
  field.focus();
  field.scrollIntoView({ block: "nearest" });
}

function press(button) {
  if (button && !button.disabled && button.checkVisibility()) button.click();
  else tell(words.keysNot);
}

// formIn is the first form that ends so: a mark's own button comes before the fields.
function formIn(root, end, fields) {
  const all = Array.from(root.querySelectorAll("form")).filter((f) => f.getAttribute("action")?.endsWith(end));
  return all.find((f) => f.classList.contains("fields") === fields || f.classList.contains("by-hand")) ?? all[0];
}

function forPot(row) {
  const there = pot ?? (pots().length === 1 ? pots()[0] : null);
  if (!there) return tell(words.keysFirst);
  const form = formIn(there, `/${row.dataset.do}`, "go" in row.dataset);
  choose(null);
  if (!form) return tell(words.keysNot);
  if ("go" in row.dataset) return go(form);
  form.closest("details")?.setAttribute("open", "");
  press(form.querySelector("button"));
}

function forBench(row) {
  const { do: what, go: goes } = row.dataset;
  if (what === "keys") return list.show();
  if (what === "offer") return press(document.querySelector("#offer button"));
  const form = document.querySelector(`form[action="${what}"]`);
  if (goes !== undefined) return go(form);
  press(form.querySelector("button") ?? document.querySelector(`button[form="${form.id}"]`));
}

const typing = (e) => e.target.closest("input, textarea, select, [contenteditable]") !== null;

function press1(e) {
  if (e.key === "Escape" && list.open) return list.close();
  if (!on || e.ctrlKey || e.altKey || e.metaKey || e.repeat || e.isComposing || typing(e)) return;
  if (pot && performance.now() > until) choose(null);
  if (e.key === "Escape") return choose(null);
  const digit = /^[1-9]$/.test(e.key) ? pots()[e.key - 1] : null;
  if (digit) return choose(digit);
  const find = (name) => list.querySelector(`[${name}="${CSS.escape(e.key)}"]`);
  const potRow = find("data-pot-key"), benchRow = find("data-key");
  if (!potRow && !benchRow) return;
  e.preventDefault();
  if (potRow) forPot(potRow);
  else forBench(benchRow);
}

export function listen() {
  document.addEventListener("keydown", press1);
  setInterval(() => { if (pot && performance.now() > until) choose(null); }, 500);
  document.getElementById("keys").onclick = () => list.show(); // never modal: ALL OFF is pressed while it is open
  const button = document.getElementById("keys-on");
  const show = () => {
    button.setAttribute("aria-pressed", on);
    setText(button, on ? button.dataset.yes : button.dataset.no);
  };
  button.onclick = () => {
    on = !on;
    chosen.set("keys", on ? "on" : "off");
    if (!on) choose(null);
    show();
  };
  show();
}
