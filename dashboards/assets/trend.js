// The session's trend: one small chart for each pot, all with the same stretch of time and
// the same cursor, each with its own set-points and bands. Here is what they show and where
// it comes from; how it is reckoned, drawn and handled is in the modules beside this one.
import { draw, plotOf } from "./trend-draw.js";
import { Hands } from "./trend-hands.js";
import { Events, Rows, rowsAsked } from "./trend-rows.js";
import { clock, lasting, moved, placed, rankOf, recent, shown, toNow, zoomed } from "./trend-window.js";

const closerTimes = 0.5, widerTimes = 2, twiceTimes = 0.25;
const fineRows = 200;      // so many rows in a stretch are fine enough for its pixels
const settledMs = 150;     // a stretch that has not changed for so long is fetched finer
const tryAgainMs = 2000;
const eventsEveryMs = 2000, keptWithinMs = 700; // a mark is written down within so long
const tableRows = 12, mostNamed = 4;
const marksNear = 18;      // pixels from the cursor to a mark that it names
const minutesFromS = 1800; // a longer stretch is told without seconds

export class Trend {
  unit = "c";
  #stale = false; // frames were missed, so the table must be fetched again
  #charts;
  #words;
  #said;
  #rows = null; // of the whole session
  #fine = null; // of a stretch: { rows, from, to, spanS, live }
  #events = new Events();
  #coming = []; // of each pot what is predicted, as pairs of bench seconds and °C
  #window = null;
  #cursor = null; // bench seconds
  #loading = false;
  #asking = false;
  #askedAt = -Infinity;
  #refining = 0;
  #fetching = null;
  #notBefore = 0;
  #drawing = false;

  constructor(articles, words, said) {
    this.#words = words;
    this.#said = said;
    this.#charts = Array.from(articles, (a, pot) => this.#chart(a, pot));
    const resized = new ResizeObserver(() => this.draw());
    for (const { canvas } of this.#charts) resized.observe(canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
    this.#load();
  }

  #chart(article, pot) {
    const figure = article.querySelector(".trend"), canvas = figure.querySelector("canvas");
    // Lines and marks are drawn as the legend and the key show them.
    const lines = Object.fromEntries(Array.from(figure.querySelectorAll("[data-line]"), (p) => [p.dataset.line, p]));
    const shapes = Object.fromEntries(Array.from(figure.querySelectorAll("[data-mark]"), (p) => [p.dataset.mark, { path: new Path2D(p.getAttribute("d")), kind: p.getAttribute("class") }]));
    const part = (name) => figure.querySelector(name);
    const chart = {
      pot, canvas, lines, shapes, stretch: part(".stretch"), readout: part(".readout"), turn: part(".turn"),
      fold: part("details"), body: part("tbody"), sign: part(".sign"), left: part(".left-out"),
    };
    new Hands(canvas, {
      plot: () => plotOf(canvas),
      stretch: () => (this.#rows ? this.#stretch() : { from: 0, to: 1 }),
      movable: () => this.#window !== null,
      place: (spanS, at, share) => this.#rows && this.#show(placed(this.#session(), spanS, at, share)),
      point: (s) => this.#point(s),
      twice: (s) => this.#rows && this.#show(this.#window ? null : zoomed(null, this.#session(), twiceTimes, s), true),
      key: (e) => this.#rows !== null && this.#key(e),
    });
    chart.turn.onclick = () => this.#turn();
    for (const b of chart.fold.querySelectorAll("button")) b.onclick = () => this.#rows && this.#does[b.dataset.does]?.();
    chart.fold.addEventListener("toggle", () => this.draw());
    return chart;
  }

  async #load() {
    if (this.#loading) return;
    this.#loading = true;
    try {
      const answer = await fetch(`/api/v1/trend?rows=${rowsAsked}`);
      if (answer.ok) {
        const table = await answer.json();
        this.#rows = table.time_s.length > 0 ? new Rows(table) : null;
        this.#fine = null;
        this.#stale = false;
        this.#settle();
      }
    } catch { /* the server is away; the next frame asks again */ }
    this.#loading = false;
    this.draw();
  }

  // lose says that nothing is known any more: neither what is missed now nor what comes.
  lose() {
    this.#stale = true;
    if (this.#coming.length === 0) return;
    this.#coming = [];
    this.draw();
  }

  // add takes in a live frame.
  add(bench) {
    this.#coming = bench.pots.map((p) => p.ahead_c.map((c, i) => [bench.bench_time_s + (i + 1) * bench.ahead_every_s, c]));
    if (!this.#rows || this.#stale || !this.#rows.add(bench)) return void this.#load();
    if (this.#fine?.live && !this.#fine.rows.add(bench)) this.#fine = null;
    if (!this.#fetching) this.#refine();
    this.#ask();
    this.draw();
  }

  // happened says that something was marked here: it is asked for as soon as it is kept.
  happened() { this.#askedAt = performance.now() - eventsEveryMs + keptWithinMs; }

  async #ask() {
    if (this.#asking || document.hidden || performance.now() - this.#askedAt < eventsEveryMs) return;
    this.#asking = true;
    this.#askedAt = performance.now();
    try {
      const answer = await fetch(`/api/v1/trend/events?after=${this.#events.last}`);
      if (answer.ok) this.#events.take(await answer.json());
    } catch { /* likewise */ }
    this.#asking = false;
    this.draw();
  }

  #session() {
    const now = this.#rows.last;
    return { first: this.#rows.first, now, end: Math.max(now, ...this.#coming.map((points) => points.at(-1)?.[0] ?? now)) };
  }

  #stretch() { return shown(this.#window, this.#session()); }

  // show shows another stretch; said is true where somebody should hear of it.
  #show(window, said = false) {
    this.#window = window;
    this.#settle();
    this.draw();
    if (said) this.#said.textContent = this.#stretchWords();
  }

  #settle() {
    clearTimeout(this.#refining);
    this.#refining = setTimeout(() => this.#refine(), settledMs);
  }

  // isFine is true for rows that are fine enough for a stretch, or as fine as they get.
  #isFine({ from, to }) {
    const spanS = to - from, f = this.#fine;
    if (this.#rows.slotS <= spanS / fineRows) return true;
    return this.#covers({ from, to }) && (f.rows.slotS <= spanS / fineRows || spanS > f.spanS / 1.5);
  }

  #covers({ from, to }) {
    const f = this.#fine, { first, now } = this.#session();
    return f !== null && f.from <= Math.max(from, first) && (f.live || f.to >= Math.min(to, now));
  }

  // refine fetches finer rows for what is shown, and as much again about it.
  async #refine() {
    if (!this.#rows || performance.now() < this.#notBefore) return;
    const stretch = this.#stretch(), { now } = this.#session(), spanS = stretch.to - stretch.from;
    if (this.#isFine(stretch)) return;
    this.#fetching?.abort();
    const control = this.#fetching = new AbortController();
    const from = Math.max(0, Math.floor(stretch.from - spanS / 2)), to = Math.ceil(stretch.to + spanS / 2), live = to >= now;
    try {
      const answer = await fetch(`/api/v1/trend?rows=${rowsAsked}&from=${from}${live ? "" : `&to=${to}`}`, { signal: control.signal });
      if (!answer.ok) throw new Error(answer.status);
      const table = await answer.json();
      if (table.time_s.length > 0) this.#fine = { rows: new Rows(table), from, to, spanS, live };
    } catch {
      if (control.signal.aborted) return;
      this.#notBefore = performance.now() + tryAgainMs;
    }
    this.#fetching = null;
    this.draw();
  }

  // What the buttons and keys do.
  #does = {
    closer: () => this.#zoom(closerTimes),
    wider: () => this.#zoom(widerTimes),
    earlier: () => this.#move(-0.5),
    later: () => this.#move(0.5),
    whole: () => this.#show(null, true),
    recent: () => this.#show(recent, true),
    now: () => this.#show(toNow(this.#window, this.#session()), true),
    start: () => this.#show(this.#window && placed(this.#session(), this.#span(), this.#session().first, 0), true),
  };

  #span() {
    const { from, to } = this.#stretch();
    return to - from;
  }

  // zoom keeps the cursor where it stands, else now, else the middle.
  #zoom(times) {
    const { from, to } = this.#stretch(), { now } = this.#session();
    const inside = (s) => s !== null && s >= from && s <= to;
    this.#show(zoomed(this.#window, this.#session(), times, inside(this.#cursor) ? this.#cursor : inside(now) ? now : (from + to) / 2), true);
  }

  #move(share) { this.#show(moved(this.#window, this.#session(), share * this.#span()), true); }

  // turn is the one button that is always there: back to now, else between the whole
  // session and its last minutes.
  #turn() {
    if (this.#rows) this.#does[this.#turnDoes()]();
  }

  #turnDoes() {
    if (this.#window === null) return "recent";
    return this.#window.live ? "whole" : "now";
  }

  #key(e) {
    const keys = { "+": "closer", "=": "closer", "-": "wider", Home: "start", End: "now", 0: "whole" };
    if (keys[e.key]) {
      if (this.#window === null && (e.key === "Home" || e.key === "End")) {
        const { first, now } = this.#session();
        this.#point(e.key === "Home" ? first : now);
      } else this.#does[keys[e.key]]();
      return true;
    }
    const step = { ArrowLeft: -1, ArrowRight: 1 }[e.key];
    if (step && e.shiftKey) this.#move(step / 4);
    else if (step) this.#step(step);
    else if (e.key === "Escape" && this.#cursor !== null) this.#point(null);
    else return false;
    return true;
  }

  // step moves the cursor, and the window with it where it would leave it.
  #step(by) {
    const { first, now, end } = this.#session(), spanS = this.#span();
    const s = Math.min(end, Math.max(first, (this.#cursor ?? Math.min(now, this.#stretch().to)) + by * Math.max(this.#shownRows().slotS, spanS / 100)));
    const { from, to } = this.#stretch();
    if (s < from || s > to) this.#show(placed(this.#session(), spanS, s, s < from ? 0 : 1));
    this.#point(s);
  }

  #point(s) {
    this.#cursor = s;
    this.draw();
  }

  // draw draws everything once before the next picture of the screen.
  draw() {
    if (this.#drawing) return;
    this.#drawing = true;
    requestAnimationFrame(() => {
      this.#drawing = false;
      if (this.#rows) for (const chart of this.#charts) this.#drawChart(chart);
    });
  }

  #shownRows() { return this.#covers(this.#stretch()) ? this.#fine.rows : this.#rows; }

  #drawChart(chart) {
    const stretch = this.#stretch(), { now } = this.#session(), rows = this.#shownRows();
    const events = this.#events.of(chart.pot, stretch.from, stretch.to);
    const at = this.#moment(rows, chart.pot);
    draw(chart, {
      rows, foreseen: this.#rows, pot: chart.pot, stretch, now, events, coming: this.#coming[chart.pot] ?? [], cursor: at?.s ?? null,
      withPlate: this.#window === null, unit: this.unit, words: this.#words,
    });
    this.#tell(chart, rows, at);
    if (chart.fold.open) this.#tabulate(chart, rows, stretch, now);
  }

  // moment is what the cursor stands at: a row, or a point of what is predicted.
  #moment(rows, pot) {
    if (this.#cursor === null) return null;
    const points = this.#coming[pot] ?? [];
    if (points.length > 0 && this.#cursor > this.#session().now) {
      const [s, c] = points.reduce((a, b) => (Math.abs(b[0] - this.#cursor) < Math.abs(a[0] - this.#cursor) ? b : a));
      return { s, predicted: c };
    }
    const i = rows.nearest(this.#cursor);
    return { s: rows.timeS[i], i };
  }

  #tell(chart, rows, at) {
    const { from, to } = this.#stretch(), words = this.#stretchWords();
    setText(chart.stretch, words);
    chart.stretch.dataset.past = this.#window !== null && !this.#window.live;
    setText(chart.turn, this.#words[this.#turnDoes() === "now" ? "toNow" : this.#turnDoes()]);
    const text = at === null ? "" : at.i === undefined ? this.#foretold(at) : this.#readout(rows, chart, at.i);
    setText(chart.readout, text);
    setText(chart.left, this.#events.leftOut > 0 ? fill(this.#words.leftOut, { n: this.#events.leftOut }) : "");
    const say = { min: from, max: to, now: at?.s ?? to, text: text || words };
    for (const [name, value] of Object.entries(say)) {
      const said = typeof value === "number" ? String(Math.round(value)) : value;
      if (chart.canvas.getAttribute(`aria-value${name}`) !== said) chart.canvas.setAttribute(`aria-value${name}`, said);
    }
  }

  // stretchWords say what is shown, and above all whether it is now.
  #stretchWords() {
    const w = this.#words, { from, to } = this.#stretch(), { now } = this.#session();
    if (this.#window === null) return w.whole;
    if (this.#window === recent) return w.recent;
    if (this.#window.live) return fill(w.last, { span: lasting(now - from) });
    const whole = to - from > minutesFromS ? 60 : 1, told = (s) => clock(Math.round(s / whole) * whole);
    return fill(w.past, { from: told(from), to: told(to), ago: lasting(now - to) });
  }

  #sign() { return this.unit === "f" ? "°F" : "°C"; }

  #degrees(c) { return this.unit === "f" ? c * 1.8 + 32 : c; }

  #figures(low, high) {
    if (!Number.isFinite(low)) return "––";
    const [a, b] = [this.#degrees(low).toFixed(1), this.#degrees(high).toFixed(1)];
    return a === b ? a : `${a}–${b}`;
  }

  #melt(d, i) {
    const thought = d.melt_estimate_c[i];
    return Number.isFinite(thought) ? `≈ ${this.#figures(thought, thought)}` : this.#figures(d.melt_min_c[i], d.melt_max_c[i]);
  }

  // deviation is how far the melt was from the set-point of that time.
  #deviation(d, i) {
    const thought = d.melt_estimate_c[i], set = d.setpoint_c[i];
    const melt = Number.isFinite(thought) ? thought : Number.isFinite(d.melt_min_c[i]) ? (d.melt_min_c[i] + d.melt_max_c[i]) / 2 : NaN;
    if (!Number.isFinite(melt) || !Number.isFinite(set)) return "––";
    const off = ((melt - set) * (this.unit === "f" ? 1.8 : 1)).toFixed(1);
    return off === "0.0" || off === "-0.0" ? "0.0" : off.startsWith("-") ? `−${off.slice(1)}` : `+${off}`;
  }

  #heater(d, i) { return Number.isFinite(d.duty[i]) ? `${Math.round(100 * d.duty[i])}\u00a0%` : "––"; }

  #foretold({ s, predicted }) { return `${clock(s)}  ${this.#words.predicted} ${this.#degrees(predicted).toFixed(1)} ${this.#sign()}`; }

  #readout(rows, chart, i) {
    const w = this.#words, d = rows.pots[chart.pot], s = rows.timeS[i];
    const then = this.#rows.foreseenFor(chart.pot, s);
    const text = `${clock(s)}  ${w.melt} ${this.#melt(d, i)} ${this.#sign()}, ${w.predictedThen} ${this.#figures(then, then)}, ` +
      `${w.plate} ${this.#figures(d.plate_min_c[i], d.plate_max_c[i])}, ${w.target} ${this.#figures(d.target_c[i], d.target_c[i])}, ` +
      `${fill(w.deviation, { off: this.#deviation(d, i), set: this.#figures(d.setpoint_c[i], d.setpoint_c[i]) })}, ${w.heater} ${this.#heater(d, i)}`;
    const near = this.#near(chart, s);
    return near.length ? `${text}\n${this.#named(near)}` : text;
  }

  // near are the marks next to the cursor, the nearest first.
  #near(chart, s) {
    const { from, to } = this.#stretch(), nearS = marksNear / plotOf(chart.canvas).width * (to - from);
    const apart = (e) => Math.abs(e.at_s - s);
    return this.#events.of(chart.pot, s - nearS, s + nearS).sort((a, b) => apart(a) - apart(b));
  }

  // named names marks, each with its time.
  #named(events) {
    const inOrder = events.slice(0, mostNamed).sort((a, b) => a.at_s - b.at_s);
    const names = inOrder.map((e) => `${clock(e.at_s)} ${e.shown[this.unit]}`);
    if (events.length > mostNamed) names.push(fill(this.#words.andMore, { n: events.length - mostNamed }));
    return names.join("; ");
  }

  // tabulate puts the stretch that is shown into a short table, for those who see no chart.
  #tabulate(chart, rows, stretch, now) {
    setText(chart.sign, this.#sign());
    const d = rows.pots[chart.pot], to = Math.min(stretch.to, now), step = (to - stretch.from) / tableRows;
    const lines = Array.from({ length: tableRows }, (_, k) => {
      const s = stretch.from + (k + 1) * step, i = rows.nearest(s);
      const happened = this.#events.of(chart.pot, s - step, s).filter((e) => k === 0 || e.at_s > s - step).sort((a, b) => rankOf(a) - rankOf(b));
      const middle = (low, high) => (Number.isFinite(low) ? this.#degrees((low + high) / 2).toFixed(1) : "––");
      const thought = d.melt_estimate_c[i], melt = Number.isFinite(thought) ? `≈ ${middle(thought, thought)}` : middle(d.melt_min_c[i], d.melt_max_c[i]);
      return { cells: [clock(rows.timeS[i]), melt, this.#deviation(d, i), middle(d.plate_min_c[i], d.plate_max_c[i]), this.#heater(d, i)], happened: this.#named(happened) };
    });
    const told = JSON.stringify(lines);
    if (told === chart.told) return; // it would lose the reader's place
    chart.told = told;
    chart.body.replaceChildren(...lines.flatMap(({ cells, happened }) => {
      const line = row(cells.map((text, i) => (i ? cell("td", { textContent: text }) : cell("th", { textContent: text, scope: "row" }))));
      return happened ? [line, row([cell("td", { textContent: happened, colSpan: cells.length })])] : [line];
    }));
  }
}

const cell = (name, what) => Object.assign(document.createElement(name), what);

function row(cells) {
  const line = document.createElement("tr");
  line.append(...cells);
  return line;
}

const fill = (words, values) => words.replace(/\{(\w+)\}/g, (_, name) => values[name]);

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
