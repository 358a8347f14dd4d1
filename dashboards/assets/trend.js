// The session's trend: one small chart for each pot, all with the same time axis
// and the same cursor, each with its own set-point and band.
const rows = 900;
const recentS = 15 * 60;
const recentAheadS = 5 * 60;
const left = 46, bottom = 20, top = 6, dutyHeight = 16;

export class Trend {
  unit = "c";
  #stale = false; // frames were missed, so the table must be fetched again
  #charts;
  #words;
  #table = null;
  #bands = [];
  #coming = []; // of each pot what is predicted, as pairs of bench seconds and °C
  #whole = true;
  #cursor = null; // bench seconds under the pointer
  #loading = false;

  constructor(articles, words) {
    this.#words = words;
    this.#charts = Array.from(articles, (a, pot) => this.#chart(a, pot));
    addEventListener("resize", () => this.draw());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
    this.#load();
  }

  #chart(article, pot) {
    const canvas = article.querySelector("canvas");
    const caption = article.querySelector(".readout");
    // The lines are drawn as the legend shows them.
    const lines = Object.fromEntries(Array.from(article.querySelectorAll("[data-line]"), (p) => [p.dataset.line, p]));
    const chart = { pot, canvas, caption, lines, title: caption.textContent, label: canvas.ariaLabel };
    canvas.addEventListener("pointermove", (e) => this.#point(canvas, e.offsetX));
    canvas.addEventListener("pointerdown", (e) => this.#point(canvas, e.offsetX));
    canvas.addEventListener("pointerleave", () => this.#moveTo(null));
    canvas.addEventListener("blur", () => this.#moveTo(null));
    canvas.addEventListener("keydown", (e) => this.#key(e));
    return chart;
  }

  // toggle changes between the whole session and the last minutes, and returns
  // whether the whole is shown.
  toggle() {
    this.#whole = !this.#whole;
    this.draw();
    return this.#whole;
  }

  async #load() {
    if (this.#loading) return;
    this.#loading = true;
    try {
      const answer = await fetch(`/api/v1/trend?rows=${rows}`);
      if (answer.ok) {
        this.#table = await answer.json();
        this.#stale = false;
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

  // add appends a live frame, at the table's own pace.
  add(bench) {
    this.#bands = bench.pots.map((p) => ({ set: p.setpoint_c, band: p.band_c }));
    this.#coming = bench.pots.map((p) => p.ahead_c.map((c, i) => [bench.bench_time_s + (i + 1) * bench.ahead_every_s, c]));
    const t = this.#table;
    if (!t || this.#stale || t.pots.length === 0 || t.time_s.length > 1.5 * rows) return void this.#load();
    if (bench.bench_time_s < t.time_s.at(-1) + t.slot_s) return;
    t.time_s.push(bench.bench_time_s);
    bench.pots.forEach((p, i) => {
      const c = t.pots[i];
      c.melt_min_c.push(p.melt_c); c.melt_max_c.push(p.melt_c);
      c.plate_min_c.push(p.plate_c); c.plate_max_c.push(p.plate_c);
      c.target_c.push(p.target_c); c.duty.push(p.duty);
      c.melt_estimate_c.push(p.melt_estimate_c);
      c.foreseen_c.push(p.ahead_c[t.foreseen_in_s / bench.ahead_every_s - 1] ?? null);
    });
    this.draw();
  }

  // range is the time shown: what was until now, and what is predicted.
  #range() {
    const t = this.#table.time_s;
    const now = t.at(-1);
    const from = this.#whole ? t[0] : Math.max(t[0], now - recentS);
    const ends = this.#coming.map((points) => points.at(-1)?.[0] ?? now);
    const last = Math.min(Math.max(now, ...ends), this.#whole ? Infinity : now + recentAheadS);
    return { from, now, to: Math.max(last, from + 60), first: t.findIndex((s) => s >= from) };
  }

  draw() {
    if (!this.#table?.time_s.length) return;
    for (const chart of this.#charts) this.#drawChart(chart);
  }

  #drawChart(chart) {
    const { canvas, pot } = chart;
    const scale = devicePixelRatio || 1;
    const [w, h] = [canvas.clientWidth, canvas.clientHeight];
    if (!w) return;
    canvas.width = w * scale;
    canvas.height = h * scale;
    const g = canvas.getContext("2d");
    g.scale(scale, scale);
    const style = getComputedStyle(canvas);
    const ink = (name) => style.getPropertyValue(name);
    const range = this.#range();
    const data = this.#table.pots[pot];
    const limits = this.#limits(data, pot, range.first);
    const x = (s) => left + (s - range.from) / (range.to - range.from) * (w - left - 2);
    const y = (c) => h - bottom - dutyHeight - (c - limits.low) / (limits.high - limits.low) * (h - bottom - dutyHeight - top);
    const axes = { g, w, h, x, y, ink, limits, range, pot, lines: chart.lines, font: style.fontFamily };
    this.#drawBand(axes, pot);
    this.#drawAxes(axes);
    this.#drawDuty(axes, data);
    g.save();
    g.beginPath();
    g.rect(left, 0, w, h - bottom);
    g.clip();
    this.#drawComing(axes, this.#coming[pot] ?? []);
    g.beginPath();
    g.rect(left, 0, x(range.now) - left, h - bottom);
    g.clip();
    this.#drawLine(axes, "target", data.target_c, data.target_c);
    if (this.#whole) this.#drawLine(axes, "plate", data.plate_min_c, data.plate_max_c);
    this.#drawLine(axes, "melt", data.melt_min_c, data.melt_max_c);
    if (chart.lines.estimate) this.#drawLine(axes, "estimate", data.melt_estimate_c, data.melt_estimate_c);
    this.#drawLine(axes, "foreseen", data.foreseen_c, data.foreseen_c, this.#table.foreseen_in_s);
    g.restore();
    this.#drawCursor(axes, chart, data);
  }

  // limits fits the melt and the band; in the whole session the plate as well.
  #limits(data, pot, first) {
    const { set, band } = this.#bands[pot] ?? {};
    const columns = [data.melt_min_c, data.melt_max_c, data.melt_estimate_c, data.target_c];
    if (this.#whole) columns.push(data.plate_max_c);
    const coming = (this.#coming[pot] ?? []).map(([, c]) => c);
    const values = columns.flatMap((c) => c.slice(first)).concat(coming, set - 2 * band, set + 2 * band).filter(Number.isFinite);
    const low = values.reduce((a, b) => Math.min(a, b), Infinity);
    const high = values.reduce((a, b) => Math.max(a, b), -Infinity);
    const margin = 0.04 * Math.max(high - low, 4);
    return { low: low - margin, high: high + margin };
  }

  #drawBand({ g, w, y, ink }, pot) {
    const { set, band } = this.#bands[pot] ?? {};
    if (!Number.isFinite(set)) return;
    g.fillStyle = ink("--band");
    g.fillRect(left, y(set + band), w - left, Math.max(2, y(set - band) - y(set + band)));
    g.fillStyle = ink("--dim");
    g.fillRect(left, y(set) - 0.5, w - left, 1);
  }

  #drawAxes({ g, h, x, y, ink, limits, range, font }) {
    g.fillStyle = ink("--dim");
    g.strokeStyle = ink("--rule");
    g.font = `14px ${font}`;
    g.textAlign = "right";
    g.textBaseline = "middle";
    const low = this.#shown(limits.low), high = this.#shown(limits.high);
    const step = niceStep((high - low) / 5);
    for (let v = Math.ceil(low / step) * step; v <= high; v += step) {
      const c = this.unit === "f" ? (v - 32) / 1.8 : v;
      g.fillText(Math.round(v * 10) / 10, left - 6, y(c));
      g.fillRect(left - 4, y(c), 4, 1);
    }
    g.textBaseline = "alphabetic";
    const pace = niceMinutes((range.to - range.from) / 60 / 4);
    for (let m = Math.ceil(range.from / 60 / pace) * pace; m * 60 <= range.to; m += pace) {
      g.textAlign = x(m * 60) > left + 20 ? (m * 60 > range.to - (range.to - range.from) * 0.05 ? "right" : "center") : "left";
      g.fillText(clock(m * 60), x(m * 60), h - 4);
      g.fillRect(x(m * 60), h - bottom, 1, 4);
    }
    g.fillRect(left, h - bottom, 10000, 1);
  }

  #drawDuty({ g, h, x, ink }, data) {
    const t = this.#table.time_s;
    g.fillStyle = ink("--rule");
    t.forEach((s, i) => {
      const height = (data.duty[i] ?? 0) * (dutyHeight - 3);
      const x0 = Math.max(x(s), left);
      const width = x(s + this.#table.slot_s) - x0;
      if (width > 0) g.fillRect(x0, h - bottom - height, width + 0.5, height);
    });
  }

  // begin takes the pen of a line.
  #begin({ g, lines }, name) {
    const style = getComputedStyle(lines[name]);
    g.strokeStyle = style.stroke;
    g.lineWidth = parseFloat(style.strokeWidth);
    g.setLineDash(style.strokeDasharray.match(/[\d.]+/g)?.map(Number) ?? []);
    g.beginPath();
  }

  // drawComing goes on from the last melt, past a line that says where now is.
  #drawComing(axes, points) {
    const { g, h, x, y, ink, range, font } = axes;
    if (points.length === 0) return;
    g.fillStyle = ink("--dim");
    g.fillRect(x(range.now) - 0.5, 0, 1, h - bottom);
    g.font = `14px ${font}`;
    g.textAlign = "left";
    g.fillText(this.#words.now, x(range.now) + 4, h - bottom - 4);
    this.#begin(axes, "coming");
    const meltC = this.#table.pots[axes.pot].melt_max_c.at(-1);
    if (Number.isFinite(meltC)) g.moveTo(x(range.now), y(meltC));
    for (const [s, c] of points) g.lineTo(x(s), y(c));
    g.stroke();
    g.setLineDash([]);
  }

  // drawLine goes through the middle of each slot and fills from its lowest to
  // its highest value. A value that is not known, or a gap in time, breaks it. What
  // was said for so many seconds later stands there.
  #drawLine(axes, name, low, high, laterS = 0) {
    const { g } = axes, x = (s) => axes.x(s + laterS), y = axes.y;
    const t = this.#table.time_s;
    this.#begin(axes, name);
    let pen = false;
    t.forEach((s, i) => {
      if (!Number.isFinite(low[i])) { pen = false; return; }
      if (pen && s - t[i - 1] > 3 * this.#table.slot_s) pen = false;
      if (pen) g.lineTo(x(s), y(low[i])); else g.moveTo(x(s), y(low[i]));
      if (high[i] !== low[i]) g.lineTo(x(s), y(high[i]));
      pen = true;
    });
    g.stroke();
    g.setLineDash([]);
  }

  #drawCursor({ g, h, x, ink }, chart, data) {
    if (this.#cursor === null) {
      chart.caption.textContent = chart.title;
      return;
    }
    const coming = this.#comingAt(chart.pot);
    const i = this.#nearest(this.#cursor);
    g.fillStyle = ink("--attend-line");
    g.fillRect(x(coming ? coming[0] : this.#table.time_s[i]) - 1, 0, 2, h - bottom);
    chart.caption.textContent = coming ? this.#foretold(coming) : this.#readout(data, i);
    chart.canvas.ariaLabel = `${chart.label}: ${chart.caption.textContent}`;
  }

  // comingAt is the predicted point next to a cursor that is past now.
  #comingAt(pot) {
    const points = this.#coming[pot] ?? [];
    if (points.length === 0 || this.#cursor <= this.#range().now) return undefined;
    return points.reduce((a, b) => Math.abs(b[0] - this.#cursor) < Math.abs(a[0] - this.#cursor) ? b : a);
  }

  #foretold([s, c]) { return `${clock(s)}  ${this.#words.predicted} ${this.#shown(c).toFixed(1)} ${this.#sign()}`; }

  #sign() { return this.unit === "f" ? "°F" : "°C"; }

  // foreseenFor is what had been predicted for a time; null where nobody had.
  #foreseenFor(data, s) {
    const t = this.#table, told = s - t.foreseen_in_s, i = this.#nearest(told);
    return Math.abs(t.time_s[i] - told) > 2 * t.slot_s ? null : data.foreseen_c[i];
  }

  #readout(data, i) {
    const w = this.#words;
    const then = this.#foreseenFor(data, this.#table.time_s[i]);
    const span = (low, high) => {
      if (!Number.isFinite(low)) return "––";
      const [a, b] = [this.#shown(low).toFixed(1), this.#shown(high).toFixed(1)];
      return a === b ? a : `${a}–${b}`;
    };
    const thought = data.melt_estimate_c[i];
    const melt = Number.isFinite(thought) ? `≈ ${span(thought, thought)}` : span(data.melt_min_c[i], data.melt_max_c[i]);
    return `${clock(this.#table.time_s[i])}  ${w.melt} ${melt} ${this.#sign()}, ${w.predictedThen} ${span(then, then)}, ` +
      `${w.plate} ${span(data.plate_min_c[i], data.plate_max_c[i])}, ${w.target} ${span(data.target_c[i], data.target_c[i])}, ` +
      `${w.heater} ${Math.round(100 * (data.duty[i] ?? 0))} %`;
  }

  #shown(c) { return this.unit === "f" ? c * 1.8 + 32 : c; }

  #nearest(s) {
    const t = this.#table.time_s;
    const after = t.findIndex((v) => v >= s);
    if (after < 0) return t.length - 1;
    return after > 0 && s - t[after - 1] < t[after] - s ? after - 1 : after;
  }

  #point(canvas, offset) {
    if (!this.#table?.time_s.length) return;
    const { from, to } = this.#range();
    this.#moveTo(from + (offset - left) / (canvas.clientWidth - left - 2) * (to - from));
  }

  #key(e) {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[e.key];
    if (!step || !this.#table?.time_s.length) return;
    e.preventDefault();
    const { from, now, to } = this.#range();
    this.#moveTo(Math.min(to, Math.max(from, (this.#cursor ?? now) + step * Math.max(this.#table.slot_s, (to - from) / 100))));
  }

  #moveTo(s) {
    this.#cursor = s;
    this.draw();
  }
}

// clock writes bench time as h:mm, with seconds while they matter.
function clock(s) {
  const two = (n) => String(Math.floor(n)).padStart(2, "0");
  return `${Math.floor(s / 3600)}:${two(s / 60 % 60)}` + (s % 60 >= 1 ? `:${two(s % 60)}` : "");
}

function niceStep(rough) {
  const power = 10 ** Math.floor(Math.log10(rough));
  return [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough);
}

function niceMinutes(rough) {
  return [1, 2, 5, 10, 15, 30, 60, 120, 240].find((m) => m >= rough) ?? 480;
}
