// The pages of past runs and recipes: what is said of a shot, and a
// closer look at a run by dragging across its picture.
import { replace, sendForms } from "./marks.js";
import { keepTyped } from "./kept.js";

// anew is this page as the server has it now; null where it does not answer in time.
async function anew(withinMs) {
  try {
    const answer = await fetch(location.href, { signal: AbortSignal.timeout(withinMs) });
    return answer.ok ? new DOMParser().parseFromString(await answer.text(), "text/html") : null;
  } catch {
    return null;
  }
}
const runWithinMs = 30_000; // a long run takes a small computer a while

// What was said of a shot or of an alarm shows in its card, which is fetched anew; an
// alarm that is over is gone.
async function refresh(form) {
  const card = form.closest(".card, .alarm, .anew");
  if (!card) return;
  const page = await anew(runWithinMs);
  if (!page) return;
  const fresh = page.getElementById(card.id);
  if (fresh) replace(card, document.importNode(fresh, true));
  else {
    card.remove();
    document.getElementById("main").focus(); // the keyboard goes on from here
  }
}
sendForms(refresh);
keepTyped();

const clock = (s) => {
  const two = (n) => String(Math.floor(n)).padStart(2, "0");
  return `${Math.floor(s / 3600)}:${two(s / 60 % 60)}:${two(s % 60)}`;
};

// leastPx tells a drag from a press that slipped.
const leastPx = 8;

class Zoom {
  #figure; #image; #mark; #from = null; #to = 0;

  constructor(figure) {
    this.#figure = figure;
    this.#image = figure.querySelector("img");
    this.#mark = document.createElement("div");
    this.#mark.className = "dragged";
    this.#mark.hidden = true;
    figure.append(this.#mark);
    figure.querySelector("figcaption").hidden = false;
    this.#image.addEventListener("pointerdown", (e) => this.#begin(e));
    this.#image.addEventListener("pointermove", (e) => this.#move(e));
    this.#image.addEventListener("pointerup", (e) => this.#end(e));
    this.#image.addEventListener("pointercancel", () => this.#drop());
    addEventListener("keydown", (e) => { if (e.key === "Escape") this.#drop(); });
  }

  // axis is where the time axis begins and ends in the picture as it is shown.
  #axis() {
    const width = new URL(this.#image.currentSrc).searchParams.get("width");
    const [, left, right] = this.#figure.dataset.axes.split(",").map((a) => a.split(" ")).find((a) => a[0] === width);
    const scale = this.#image.clientWidth / width;
    return [left * scale, right * scale];
  }

  #within(e) {
    const [left, right] = this.#axis();
    return Math.min(right, Math.max(left, e.clientX - this.#image.getBoundingClientRect().left));
  }

  #seconds(x) {
    const [left, right] = this.#axis();
    const [from, to] = [Number(this.#figure.dataset.from), Number(this.#figure.dataset.to)];
    return from + (x - left) / (right - left) * (to - from);
  }

  #begin(e) {
    if (e.button !== 0) return;
    this.#image.setPointerCapture(e.pointerId);
    this.#from = this.#to = this.#within(e);
    this.#show();
  }

  #move(e) {
    if (this.#from === null) return;
    this.#to = this.#within(e);
    this.#show();
  }

  #end(e) {
    if (this.#from === null) return;
    this.#to = this.#within(e);
    const [a, b] = [this.#from, this.#to].sort((x, y) => x - y);
    this.#drop();
    if (b - a < leastPx) return;
    const to = new URL(this.#figure.dataset.zoom, location);
    to.searchParams.set("from", this.#seconds(a).toFixed(1));
    to.searchParams.set("to", this.#seconds(b).toFixed(1));
    location.assign(to);
  }

  #drop() {
    this.#from = null;
    this.#mark.hidden = true;
  }

  #show() {
    const [a, b] = [this.#from, this.#to].sort((x, y) => x - y);
    this.#mark.hidden = false;
    this.#mark.style.left = `${this.#image.offsetLeft + a}px`;
    this.#mark.style.width = `${b - a}px`;
    this.#mark.style.height = `${this.#image.clientHeight}px`;
    this.#mark.textContent = `${clock(this.#seconds(a))} – ${clock(this.#seconds(b))}`;
  }
}

for (const figure of document.querySelectorAll("figure.plot")) new Zoom(figure);

// What needs somebody is kept as it is now, and what does not answer says so. Only a button
// that is being pressed is waited for: what is open, and where the keyboard is, is found
// again, and nothing is touched where only the time has changed.
const needsEveryMs = 5000, needsWithinMs = 3000;

async function follow(needs) {
  const pressed = () => needs.matches(":has(:active)");
  if (document.hidden || pressed()) return needs;
  const fresh = (await anew(needsWithinMs))?.getElementById(needs.id);
  if (pressed()) return needs;
  if (!fresh) {
    if (!needs.querySelector(":scope > .problem")) needs.prepend(Object.assign(document.createElement("p"), { className: "problem", role: "alert", textContent: needs.dataset.stopped }));
    return needs;
  }
  if (told(fresh) === told(needs)) {
    needs.querySelector(".rate").replaceWith(fresh.querySelector(".rate"));
    return needs;
  }
  renew(needs, fresh);
  return fresh;
}

// told is what stands there, however it is folded and whenever it was asked for.
function told(needs) {
  const all = needs.cloneNode(true);
  all.querySelector(".rate").remove();
  for (const e of all.querySelectorAll("details")) e.open = false;
  return all.innerHTML;
}

// renew puts what needs somebody anew in its place, alarm by alarm: an open one stays open,
// and the keyboard stays where it was, or goes on from the page's own part.
function renew(old, fresh) {
  const keyboard = old.contains(document.activeElement) ? document.activeElement : null;
  const form = keyboard?.form?.getAttribute("action"), row = keyboard?.closest(".alarm")?.id;
  const open = Array.from(old.querySelectorAll(".alarm:has(details[open])"), (e) => e.id);
  old.replaceWith(fresh);
  for (const id of open) document.getElementById(id)?.querySelector("details")?.setAttribute("open", "");
  if (!keyboard) return;
  const same = document.getElementById(row)?.querySelector(form ? `[action="${form}"] button` : "summary");
  (same ?? document.getElementById("main")).focus();
}

async function keepFollowing(needs) {
  setTimeout(keepFollowing, needsEveryMs, await follow(needs));
}

const needs = document.getElementById("needs");
if (needs) setTimeout(keepFollowing, needsEveryMs, needs);

// What is gone to may be folded away.
function unfold() {
  const there = document.getElementById(location.hash.slice(1));
  for (let e = there; e; e = e.parentElement) if (e.matches("details")) e.open = true;
  there?.scrollIntoView();
}
addEventListener("hashchange", unfold);
unfold();
