// The page as the server sent it is complete; this keeps it up to date. All
// wording comes from the server, in both units; nothing is worded here.
import { chosen, isDark, useTheme } from "./chosen.js";
import { replace, sendForms } from "./marks.js";
import { Trend } from "./trend.js";
import { Sound } from "./sound.js";
import { listen } from "./keys.js";
import { offerNote, showMarks, taken } from "./offers.js";
import { keepTyped, offerUnsent } from "./kept.js";
import { notify, offerNotices, stayAwake } from "./awake.js";
import { duty, restOutOfView } from "./rest.js";

const body = document.body;
const $ = (id) => document.getElementById(id);

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
  marker.setAttribute("transform", `translate(${pot.shown.level ?? 0} 0)`);
  article.querySelector(".band").setAttribute("transform", `scale(${pot.shown.band} 1)`);
  const clear = article.querySelector(".clear");
  const melt = pot.melt_c ?? pot.melt_estimate_c;
  clear.disabled = !(melt !== null && melt >= clear.dataset.from);
  setText(clear.querySelector("small"), clear.querySelector("small").dataset[unit]);
}

// The worst findings stand above the pots; all of them would push the pots'
// buttons out of view. The server sends the worst first. A list is rebuilt only
// when it changed: it would lose the reader's place.
const mostFindings = 2;
let conditionsShown = "";
function showConditions(conditions) {
  const now = JSON.stringify(conditions);
  if (now === conditionsShown) return;
  conditionsShown = now;
  const rows = conditions.map((c) => {
    const row = $("condition").content.firstElementChild.cloneNode(true);
    row.dataset.severity = c.severity;
    row.querySelector(".number").hidden = c.pot === 0;
    setText(row.querySelector(".number"), c.pot);
    fill(row, c);
    return row;
  });
  $("conditions").replaceChildren(...rows.slice(0, mostFindings));
  const others = rows.slice(mostFindings);
  $("others").hidden = others.length === 0;
  setText($("others-count"), others.length);
  $("others-list").replaceChildren(...others);
}

// said is what a screen reader hears: the answer, when it means something else. That a
// countdown went on is no news.
let meant = "";
function sayAnswer() {
  const text = $("answer").textContent, means = text.replace(/\d+/g, "");
  if (means === meant) return;
  meant = means;
  setText($("said"), text);
}

function show() {
  fill(document.querySelector("main"), bench);
  body.dataset.live = bench.live;
  body.dataset.hot = bench.hot;
  body.dataset.tone = bench.shown.tone;
  sayAnswer();
  $("silence").setAttribute("aria-pressed", bench.call.silenced);
  body.dataset.blockedCold = bench.blocked_cold;
  body.toggleAttribute("data-long", $("answer").textContent.length > mostInLarge);
  const contacts = [...bench.interlocks, ...bench.lids];
  document.querySelectorAll(".interlocks li").forEach((li, i) => { li.dataset.tone = contacts[i].tone; fill(li, contacts[i]); });
  showConditions(bench.conditions);
  document.querySelectorAll(".all-pots li").forEach((li, i) => fill(li, bench.pots[i]));
  for (const article of document.querySelectorAll(".pot")) showPot(article, bench.pots[article.dataset.pot]);
  showMarks(bench, document.querySelectorAll(".pot"));
  stayAwake(bench.hot);
}

// mostInLarge is how many letters of an answer fit into one line in the large size.
const mostInLarge = 40;

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
  setText($("detail"), refusal || (bench?.at === null ? bench.shown.detail : source?.readyState === EventSource.OPEN ? body.dataset.lostHelp : body.dataset.noConnection));
  stayAwake(true);
  showUnknown();
  const last = bench?.shown.last_reading ?? body.dataset.lastReading; // a page may never have been followed
  if (last) setText($("answer"), `${body.dataset.notLive} ${last}`);
  sayAnswer();
  trend.lose();
}

// showUnknown says of everything that was read that it is not known any more; the figures
// stay, dimmed and hatched, as they were last heard.
function showUnknown() {
  setText($("heat"), body.dataset.notKnown);
  for (const li of document.querySelectorAll(".interlocks li")) {
    li.dataset.tone = "warn";
    li.querySelector("use").setAttribute("href", "#tone-warn");
    setText(li.querySelector("span"), li.dataset.notRead);
  }
  for (const article of document.querySelectorAll(".pot")) {
    setText(article.querySelector(".state b"), body.dataset.notKnown);
    article.querySelector(".state use").setAttribute("href", "#state-unknown");
  }
  for (const status of document.querySelectorAll("#found i")) setText(status, body.dataset.asLastHeard);
  conditionsShown = ""; // they are put there anew with the next frame
}

setInterval(() => {
  if (!source || performance.now() - lastMs <= liveForMs) return;
  notLive();
  // A phone that slept may hold a connection that is dead, and does not know.
  if (source.readyState === EventSource.OPEN && performance.now() - Math.max(lastMs, openedMs) > deadAfterMs) {
    source.close();
    follow();
  }
}, 250);
const deadAfterMs = 10000;

function take(message) {
  bench = JSON.parse(message.data);
  if (bench.age_s !== null) lastMs = performance.now() - 1000 * bench.age_s;
  if (!bench.live) return notLive();
  show();
  sound.hear(bench.call);
  notify(bench, bench.shown.answer[unit]);
  trend.add(bench);
}

// The browser reconnects by itself after a broken stream, but not after a
// refusal; so it is asked again here, and asked why.
let source = null, openedMs = 0, refusal = "";

function follow() {
  openedMs = performance.now();
  const opened = source = new EventSource("/api/v1/events");
  source.onmessage = take;
  source.onerror = () => {
    if (opened.readyState !== EventSource.CLOSED) return;
    setTimeout(() => { if (source === opened) follow(); }, 1000);
    askWhy().catch(() => {});
  };
}

// Out of view nothing is known, and nothing is said of it.
function letGo() {
  source.close();
  source = null;
  lastMs = -Infinity;
  body.dataset.live = "false";
  notLive();
}

async function askWhy() {
  const answer = await fetch("/api/v1/bench");
  refusal = answer.ok ? "" : (await answer.json()).detail;
}

// The last shot. What is judged of it, and a shot that somebody marked elsewhere,
// come from the server as a part of the page. A mark is written down within a
// second, so it is asked for a few times.
const askAgainMs = 300, askTimes = 10, askAnywayMs = 5000;

async function refreshShot() {
  const answer = await fetch("/runs/now/last-shot");
  if (!answer.ok) return;
  const text = await answer.text();
  if (text === shotShown) return;
  shotShown = text;
  const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("last-shot");
  const another = fresh.dataset.shot !== $("last-shot").dataset.shot;
  if (another) $("last-shot").replaceWith(document.importNode(fresh, true));
  else replace($("last-shot"), document.importNode(fresh, true));
}
let shotShown = "";

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

async function awaitShot() {
  const before = $("last-shot").dataset.shot;
  for (let i = 0; i < askTimes && $("last-shot").dataset.shot === before; i++) {
    await pause(askAgainMs);
    await refreshShot();
  }
}

// typing is true while somebody is busy in the panel: it is not taken away then.
const typing = () => $("last-shot").contains(document.activeElement);
setInterval(() => { if (!document.hidden && !typing()) refreshShot().catch(() => {}); }, askAnywayMs);

// What is in the pots, as it was kept last: once a minute, unless somebody is busy there.
const potfulsEveryMs = 60000;

async function refreshPotfuls() {
  const answer = await fetch(`/runs/now/potfuls${unit === "f" ? "?unit=f" : ""}`);
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("potfuls");
  replace($("potfuls"), document.importNode(fresh, true));
}
setInterval(() => { if (!document.hidden && !$("potfuls").contains(document.activeElement)) refreshPotfuls().catch(() => {}); }, potfulsEveryMs);

sendForms((form) => {
  trend.happened();
  taken(form);
  if (form.getAttribute("action") === "/api/v1/note" && form !== $("offer")) offerNote($("offer").dataset.note, form.dataset.key);
  if (form.id === "shot") awaitShot();
  else if (form.closest("#last-shot")) refreshShot();
  else if (form.closest("#potfuls")) refreshPotfuls();
});
$("mould").addEventListener("input", () => setText($("mould-shown"), $("mould").value));

// What the maker chooses.
function chooseUnit(u) {
  unit = u;
  chosen.set("unit", u);
  trend.unit = u;
  if (bench) show();
  trend.draw();
}

const sound = new Sound();
const trend = new Trend(document.querySelectorAll(".pot"), $("trend-words").dataset, $("trend-said"));

$("unit").onclick = () => chooseUnit(unit === "f" ? "c" : "f");
$("theme").onclick = () => {
  const theme = isDark() ? "light" : "dark";
  chosen.set("theme", theme);
  useTheme(theme);
  trend.draw();
};
$("test").onclick = () => sound.test();
function toggleSound() {
  const on = sound.toggle();
  $("sound").setAttribute("aria-pressed", on);
  duty("sound", on);
  setText($("sound"), on ? $("sound").dataset.yes : $("sound").dataset.no);
  return on;
}
$("sound").onclick = (e) => {
  e.stopPropagation(); // it is no first touch
  chosen.set("sound", toggleSound() ? "on" : "off");
};

// Who chose sound has it from the first touch on: before that a browser gives none.
const touches = ["click", "keydown"];
function firstTouch() {
  for (const kind of touches) removeEventListener(kind, firstTouch);
  if ($("sound").ariaPressed === "false") toggleSound();
}
if (chosen.get("sound") === "on") for (const kind of touches) addEventListener(kind, firstTouch);

// The pots get the height that is left between what stands above them and the dock, so
// that what is pressed does not end up under it. That changes with what is found.
function measure() {
  const px = (name, value) => document.documentElement.style.setProperty(name, `${Math.ceil(value)}px`);
  px("--dock", document.querySelector(".dock").getBoundingClientRect().height);
  px("--answer", document.querySelector(".answer").getBoundingClientRect().height);
  px("--above", document.querySelector(".pots").getBoundingClientRect().top + scrollY);
}
const measured = new ResizeObserver(() => requestAnimationFrame(measure));
for (const e of document.querySelectorAll(".dock, .top, main")) measured.observe(e);

for (const e of document.querySelectorAll("#sound, .settings, .trend")) e.hidden = false;
offerUnsent();
offerNotices();
listen();
keepTyped();
trend.unit = unit;
follow();
restOutOfView(letGo, follow);
delete body.dataset.unheard; // from here on this script says what is not live
