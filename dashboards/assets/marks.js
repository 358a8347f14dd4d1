// What people mark, type and judge is sent without leaving the page. Every form
// works by itself as well, when there is no script.
const body = document.body;
const problem = document.getElementById("problem");

export function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function tellProblem(text) {
  problem.hidden = !text;
  setText(problem, text);
}

// whereTyped is where an answer about a form's text belongs; forms without text
// tell it at the top of the page.
let errors = 0; // told where something was typed
const whereTyped = (form) => form.querySelector(".error");

function tell(form, text) {
  const here = whereTyped(form);
  if (!here) return tellProblem(text);
  setText(here, text);
  here.id ||= `error-${++errors}`;
  for (const input of form.querySelectorAll("input, select")) {
    input.ariaInvalid = text ? "true" : null;
    if (text) input.setAttribute("aria-describedby", here.id);
    else input.removeAttribute("aria-describedby");
  }
}

async function post(address, fields, withinMs) {
  const answer = await fetch(address, {
    method: "POST", headers: { Accept: "application/json" }, body: fields, signal: AbortSignal.timeout(withinMs),
  });
  if (!answer.ok) throw new Refused((await answer.json()).detail);
}

// Refused is the program's own answer, as against none.
class Refused extends Error {}

// Every press has a name of its own, so that the program counts it once, however often it is
// sent. The same press made again within a while of one that got no answer is that one again.
const sameWithinMs = 30_000;
const unanswered = new Map(); // by form: the press that got no answer

// What was sent from elsewhere on the page, and answered, is settled: the same press made
// after that is a new one.
document.addEventListener("settled", (e) => {
  for (const [form, press] of unanswered) if (press.key === e.detail) unanswered.delete(form);
});

function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
}

function keyOf(form, address, fields) {
  fields.delete("key");
  const what = `${address} ${fields}`, before = unanswered.get(form);
  const again = before?.what === what && performance.now() - before.at < sameWithinMs;
  return again ? before : { what, key: newKey(), at: performance.now() };
}

async function send(form, button) {
  // A file goes as it is, and may take its time; what is typed takes none.
  const file = form.enctype === "multipart/form-data", typed = new FormData(form, button);
  const fields = file ? typed : new URLSearchParams(typed);
  if (button.ariaPressed === "true" && button.name === "fault") fields.set("take-back", "yes");
  const address = button.getAttribute("formaction") ?? form.action;
  const press = file ? {} : keyOf(form, address, fields);
  if (press.key) fields.set("key", press.key);
  try {
    await post(address, fields, file ? 30_000 : 3000);
  } catch (e) {
    if (e instanceof Refused) unanswered.delete(form);
    else unanswered.set(form, press);
    if (button.classList.contains("off")) tellProblem(body.dataset.notSentOff);
    else if (e instanceof Refused || file || whereTyped(form)) tell(form, `${body.dataset.notSent} ${button.firstChild.textContent}. ${e.message}`);
    else {
      tell(form, `${body.dataset.notSent} ${button.firstChild.textContent}.`);
      const detail = { label: button.firstChild.textContent, action: address, fields: String(fields), key: press.key };
      form.dispatchEvent(new CustomEvent("unsent", { bubbles: true, detail }));
    }
    return false;
  }
  button.dataset.sent = "";
  setTimeout(() => delete button.dataset.sent, 1500);
  tell(form, "");
  unanswered.delete(form);
  form.dataset.key = press.key ?? "";
  form.dispatchEvent(new CustomEvent("sent", { bubbles: true, detail: press.key }));
  if ("once" in form.dataset) form.reset();
  return true;
}

// sendForms takes over every form that marks something; after tells what to do
// once one has arrived. A plain form is answered by a page.
export function sendForms(after) {
  document.addEventListener("submit", async (e) => {
    if (e.target.method !== "post" || "plain" in e.target.dataset) return;
    e.preventDefault();
    if (await send(e.target, e.submitter)) after(e.target, e.submitter);
  });
  document.addEventListener("input", (e) => showSaid(e.target.closest(".judge")));
}

// A verdict's button is down when just that has been said, of the place that is
// chosen; pressed again, it is taken back.
const key = (form, fault) => {
  const f = new FormData(form);
  return JSON.stringify([fault ?? f.get("fault"), f.getAll("colour"), f.get("cavity").trim(), Number(f.get("day"))]);
};

function showSaid(judge) {
  if (!judge) return;
  const said = new Set(Array.from(judge.parentElement.querySelectorAll(".said-form"), (f) => key(f)));
  for (const b of judge.querySelectorAll("button[name=fault]")) b.ariaPressed = String(said.has(key(judge, b.value)));
}

// replace puts a part of the page anew in its place and keeps what is open, and
// where the keyboard is.
export function replace(old, fresh) {
  const wasOpen = Array.from(old.querySelectorAll("details"), (d) => d.open);
  const { name, value } = old.contains(document.activeElement) ? document.activeElement : {};
  old.replaceWith(fresh);
  fresh.querySelectorAll("details").forEach((d, i) => { if (wasOpen.length) d.open = wasOpen[i]; });
  if (name === undefined) return;
  const same = Array.from(fresh.querySelectorAll("button, input:not([type=hidden])")).find((e) => e.name === name && e.value === value);
  if (!same) fresh.tabIndex = -1; // the part itself: on its first button the next key would press that
  (same ?? fresh).focus();
}
