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

// What needs somebody is kept as it is now, unless a hand or the keyboard is in it; what
// does not answer says so.
const needsEveryMs = 5000, needsWithinMs = 3000;

async function follow(needs) {
  const busy = () => needs.matches(":has(:focus-visible, :active, details[open])");
  if (document.hidden || busy()) return needs;
  const fresh = (await anew(needsWithinMs))?.getElementById(needs.id);
  if (busy()) return needs;
  if (fresh) {
    needs.replaceWith(fresh);
    return fresh;
  }
  if (!needs.querySelector(":scope > .problem")) needs.prepend(Object.assign(document.createElement("p"), { className: "problem", role: "alert", textContent: needs.dataset.stopped }));
  return needs;
}

async function keepFollowing(needs) {
  setTimeout(keepFollowing, needsEveryMs, await follow(needs));
}

const needs = document.getElementById("needs");
if (needs) setTimeout(keepFollowing, needsEveryMs, needs);
