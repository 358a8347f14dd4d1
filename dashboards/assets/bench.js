// The page as the server sent it is complete; this keeps it up to date. All
// wording comes from the server, in both units; nothing is worded here.
import { Trend } from "./trend.js";
import { Sound } from "./sound.js";

const body = document.body;
const $ = (id) => document.getElementById(id);

// What the maker chose stays in this browser; without storage it lasts as long as the page.
const chosen = {
  get: (key) => { try { return localStorage.getItem(key); } catch { return null; } },
  set: (key, value) => { try { localStorage.setItem(key, value); } catch { /* a private window */ } },
};

let unit = chosen.get("unit") === "f" ? "f" : "c";
let bench = null;

const at = (object, path) => path.split(".").reduce((o, key) => o?.[key], object);

// setText leaves equal text alone, so that a screen reader hears only changes.
function setText(element, value) {
  const text = value === null || value === undefined ? "" : String(typeof value === "object" ? value[unit] : value);
  if (element.textContent !== text) element.textContent = text;
}

// fill puts data into the elements of root, but not into those of a scope inside it.
function fill(root, data) {
  const own = (selector) => Array.from(root.querySelectorAll(selector))
    .filter((e) => e.closest("[data-scope]") === root);
  for (const e of own("[data-show]")) setText(e, at(data, e.dataset.show));
  for (const e of own("[data-use]")) e.setAttribute("href", e.dataset.prefix + at(data, e.dataset.use));
}

function showPot(article, pot) {
  fill(article, pot);
  article.dataset.tone = pot.shown.tone;
  article.querySelector(".unit").textContent = unit === "f" ? "°F" : "°C";
  const marker = article.querySelector(".marker");
  marker.setAttribute("visibility", pot.shown.level === null ? "hidden" : "visible");
  marker.setAttribute("transform", `translate(0 ${pot.shown.level ?? 0})`);
  article.querySelector(".band").setAttribute("transform", `scale(1 ${pot.shown.band})`);
}

// The list is rebuilt only when it changed: it would lose the reader's place.
let conditionsShown = "";
function showConditions(conditions) {
  const now = JSON.stringify(conditions);
  if (now === conditionsShown) return;
  conditionsShown = now;
  $("conditions").replaceChildren(...conditions.map((c) => {
    const row = $("condition").content.firstElementChild.cloneNode(true);
    row.dataset.severity = c.severity;
    fill(row, c);
    return row;
  }));
}

function show() {
  fill(document.querySelector("main"), bench);
  body.dataset.live = bench.live;
  body.dataset.hot = bench.hot;
  body.dataset.tone = bench.shown.tone;
  $("silence").setAttribute("aria-pressed", bench.call.silenced);
  showConditions(bench.conditions);
  for (const article of document.querySelectorAll(".pot")) showPot(article, bench.pots[article.dataset.pot]);
}

// Silence is a failure: without a frame for two seconds nothing on the page is
// known any more, and it may be hot.
const liveForMs = 2000;
let lastMs = -Infinity;

function notLive() {
  if (body.dataset.live === "true") sound.say("act");
  body.dataset.live = "false";
  body.dataset.hot = "true";
  body.dataset.tone = "lost";
  document.querySelector(".answer use").setAttribute("href", "#tone-lost");
  setText($("detail"), "");
  if (bench) setText($("answer"), `${body.dataset.notLive} ${bench.shown.last_reading}`);
  trend.stale = true;
}

setInterval(() => { if (performance.now() - lastMs > liveForMs) notLive(); }, 250);

function take(message) {
  bench = JSON.parse(message.data);
  if (bench.age_s !== null) lastMs = performance.now() - 1000 * bench.age_s;
  if (!bench.live) return notLive();
  show();
  sound.hear(bench.call);
  trend.add(bench);
}

// The browser reconnects by itself after a broken stream, but not after a
// refusal; so it is asked again here.
function follow() {
  const source = new EventSource("/api/v1/events");
  source.onmessage = take;
  source.onerror = () => {
    if (source.readyState === EventSource.CLOSED) setTimeout(follow, 1000);
  };
}

// Marks.
function tellProblem(text) {
  $("problem").hidden = !text;
  setText($("problem"), text);
}

async function send(form) {
  const button = form.querySelector("button");
  const off = button.classList.contains("off");
  try {
    const answer = await fetch(form.action, {
      method: "POST", headers: { Accept: "application/json" }, signal: AbortSignal.timeout(3000),
    });
    if (!answer.ok) throw new Error((await answer.json()).detail);
    button.dataset.sent = "";
    setTimeout(() => delete button.dataset.sent, 1500);
    tellProblem("");
  } catch (e) {
    tellProblem(off ? body.dataset.notSentOff : `${body.dataset.notSent} ${button.textContent}. ${e.message}`);
  }
}

document.addEventListener("submit", (e) => {
  e.preventDefault();
  send(e.target);
});

// What the maker chooses.
function chooseUnit(u) {
  unit = u;
  chosen.set("unit", u);
  trend.unit = u;
  if (bench) show();
  trend.draw();
}

function useTheme(theme) {
  document.querySelector("#dark").media = { dark: "all", light: "not all" }[theme] ?? "(prefers-color-scheme: dark)";
  trend.draw();
}

const isDark = () => getComputedStyle(document.documentElement).colorScheme === "dark";

const sound = new Sound();
const trend = new Trend(document.querySelectorAll(".pot"), body.dataset);

$("unit").onclick = () => chooseUnit(unit === "f" ? "c" : "f");
$("theme").onclick = () => {
  const theme = isDark() ? "light" : "dark";
  chosen.set("theme", theme);
  useTheme(theme);
};
$("span").onclick = () => setText($("span"), trend.toggle() ? $("span").dataset.whole : $("span").dataset.recent);
$("test").onclick = () => sound.test();
$("sound").onclick = () => {
  const on = sound.toggle();
  $("sound").setAttribute("aria-pressed", on);
  setText($("sound"), on ? $("sound").dataset.on : $("sound").dataset.off);
};

for (const e of document.querySelectorAll("#sound, .settings, .trend")) e.hidden = false;
trend.unit = unit;
useTheme(chosen.get("theme"));
follow();
