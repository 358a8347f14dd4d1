// How one chart is drawn: marks on top, then the lines in their band, the heater at the
// foot, the time below.
import { clock, grouped, labelOf, nicePace, niceStep, shapeOf } from "./trend-window.js";

const left = 46, right = 2, bottom = 20, dutyHeight = 16;
const labelAt = 11, markAt = 22, top = 34; // the lane of the marks
const markR = 6, marksApart = 36, labelSlips = 12;
const nameOff = 5, nameHigh = 9; // of a line's name: from the line, and of its letters

// plotOf is where time runs in a chart of so many pixels.
export const plotOf = (canvas) => ({ left, width: Math.max(1, canvas.clientWidth - left - right) });

// draw draws a chart: { canvas, lines, shapes } with what it shows: { rows, pot, stretch, now,
// coming, events, cursor, withPlate, unit, words }, and foreseen, the rows of the whole
// session, which alone know what was predicted long before.
export function draw(chart, what) {
  const { canvas } = chart, scale = devicePixelRatio || 1;
  const w = canvas.clientWidth, h = canvas.clientHeight;
  if (!w || !h) return;
  const [pixelsW, pixelsH] = [Math.round(w * scale), Math.round(h * scale)];
  if (canvas.width !== pixelsW) canvas.width = pixelsW;
  if (canvas.height !== pixelsH) canvas.height = pixelsH;
  new Drawing(chart, what, w, h, scale).all();
}

class Drawing {
  constructor({ canvas, lines, shapes }, what, w, h, scale) {
    Object.assign(this, what, { lines, shapes, w, h, scale, g: canvas.getContext("2d"), style: getComputedStyle(canvas) });
    this.data = this.rows.pots[this.pot];
    this.part = this.rows.part(this.stretch.from, this.stretch.to);
    this.asked = this.rows.asked(this.pot, this.stretch.from, this.stretch.to);
    this.limits = this.#limits();
  }

  ink(name) { return this.style.getPropertyValue(name); }

  // sharp is the nearest whole pixel of the screen.
  sharp(v) { return Math.round(v * this.scale) / this.scale; }

  x(s) {
    const { from, to } = this.stretch;
    return left + (s - from) / (to - from) * (this.w - left - right);
  }

  y(c) {
    const { low, high } = this.limits, room = this.h - bottom - dutyHeight - top;
    return this.h - bottom - dutyHeight - (c - low) / (high - low) * room;
  }

  shown(c) { return this.unit === "f" ? c * 1.8 + 32 : c; }

  all() {
    const { g, scale, w, h } = this;
    g.setTransform(scale, 0, 0, scale, 0, 0);
    g.clearRect(0, 0, w, h);
    this.#within(left, w, () => this.#band());
    this.#axes();
    this.#within(left, w, () => this.#duty());
    this.#within(left, w, () => {
      this.#shots();
      this.#coming();
    });
    this.#within(left, Math.min(w, Math.max(left, this.x(this.now))), () => this.#past());
    this.#names();
    this.#marks();
    this.#cursor();
  }

  #within(from, to, draws) {
    const { g } = this;
    g.save();
    g.beginPath();
    g.rect(from, 0, to - from, this.h - bottom);
    g.clip();
    draws();
    g.restore();
  }

  // limits fits the melt, what it was to be, and the plate where it is drawn.
  #limits() {
    const d = this.data, columns = [d.melt_min_c, d.melt_max_c, d.melt_estimate_c, d.target_c];
    if (this.withPlate) columns.push(d.plate_max_c);
    let low = Infinity, high = -Infinity;
    const include = (c) => { if (Number.isFinite(c)) { low = Math.min(low, c); high = Math.max(high, c); } };
    for (const column of columns) for (let i = this.part[0]; i < this.part[1]; i++) include(column[i]);
    for (const { set, band } of this.asked) { include(set - 2 * (band ?? 0)); include(set + 2 * (band ?? 0)); }
    for (const [s, c] of this.coming) if (s >= this.stretch.from && s <= this.stretch.to) include(c);
    if (low > high) [low, high] = [0, 100];
    const margin = 0.04 * Math.max(high - low, 4);
    return { low: low - margin, high: high + margin };
  }

  // Each set-point with its band as long as it was asked for.
  #band() {
    const { g } = this;
    let before = null;
    for (const a of this.asked) {
      const x0 = this.sharp(Math.max(this.x(a.from), left)), x1 = this.sharp(this.x(a.to));
      g.fillStyle = this.ink("--band");
      g.fillRect(x0, this.y(a.set + a.band), x1 - x0, Math.max(2, this.y(a.set - a.band) - this.y(a.set + a.band)));
      g.fillStyle = this.ink("--dim");
      const y = this.sharp(this.y(a.set));
      g.fillRect(x0, y, x1 - x0, 1);
      if (before !== null) g.fillRect(x0, Math.min(before, y), 1, Math.abs(before - y) + 1);
      before = y;
    }
  }

  #axes() {
    const { g, h } = this, { from, to } = this.stretch;
    g.fillStyle = this.ink("--dim");
    g.font = `14px ${this.style.fontFamily}`;
    g.textAlign = "right";
    g.textBaseline = "middle";
    const low = this.shown(this.limits.low), high = this.shown(this.limits.high);
    const step = niceStep((high - low) / 5);
    for (let v = Math.ceil(low / step) * step; v <= high; v += step) {
      const y = this.sharp(this.y(this.unit === "f" ? (v - 32) / 1.8 : v));
      g.fillText(Math.round(v * 10) / 10, left - 6, y);
      g.fillRect(left - 4, y, 4, 1);
    }
    g.textBaseline = "alphabetic";
    const width = this.w - left - right, pace = nicePace((to - from) / Math.max(2, Math.min(6, Math.floor(width / 65))));
    for (let s = Math.ceil(from / pace) * pace; s <= to; s += pace) {
      const x = this.sharp(this.x(s));
      g.textAlign = x < left + 30 ? "left" : x > this.w - 30 ? "right" : "center";
      g.fillText(clock(s), x, h - 4);
      g.fillRect(x, h - bottom, 1, 4);
    }
    g.fillRect(left, this.sharp(h - bottom), this.w - left, 1);
  }

  #duty() {
    const { g, h } = this, t = this.rows.timeS;
    g.fillStyle = this.ink("--rule");
    for (let i = this.part[0]; i < this.part[1]; i++) {
      const height = (this.data.duty[i] ?? 0) * (dutyHeight - 3);
      const x = Math.max(this.x(t[i]), left);
      const until = i + 1 < t.length && !this.rows.isGap(i + 1) ? t[i + 1] : t[i] + this.rows.slotS;
      const width = this.x(until) - x;
      if (width > 0 && height > 0) g.fillRect(x, h - bottom - height, width, height);
    }
  }

  // A push is worth a line through all; other marks stay in their lane.
  #shots() {
    this.g.fillStyle = this.ink("--rule");
    for (const e of this.events) if (e.shape === "shot") this.g.fillRect(this.sharp(this.x(e.at_s)), top - 4, 1, this.h - bottom - top + 4);
  }

  // pen takes the pen of a line, as the legend shows it.
  #pen(name) {
    const { g } = this, style = getComputedStyle(this.lines[name]);
    g.strokeStyle = style.stroke;
    g.lineWidth = parseFloat(style.strokeWidth);
    g.setLineDash(style.strokeDasharray.match(/[\d.]+/g)?.map(Number) ?? []);
    g.beginPath();
  }

  // coming goes on from the last melt, past a line that says where now is.
  #coming() {
    const { g, h, now } = this;
    if (this.coming.length === 0 || this.stretch.to <= now) return;
    g.fillStyle = this.ink("--dim");
    g.fillRect(this.sharp(this.x(now)), top - 4, 1, h - bottom - top + 4);
    g.font = `14px ${this.style.fontFamily}`;
    g.textAlign = "left";
    g.fillText(this.words.now, this.x(now) + 4, h - bottom - 4);
    this.#pen("coming");
    const meltC = this.data.melt_max_c.at(-1);
    if (Number.isFinite(meltC)) g.moveTo(this.x(now), this.y(meltC));
    for (const [s, c] of this.coming) g.lineTo(this.x(s), this.y(c));
    g.stroke();
  }

  #past() {
    const d = this.data;
    this.#line("target", d.target_c, d.target_c);
    if (this.withPlate) this.#line("plate", d.plate_min_c, d.plate_max_c);
    this.#line("melt", d.melt_min_c, d.melt_max_c);
    if (this.lines.estimate) this.#line("estimate", d.melt_estimate_c, d.melt_estimate_c);
    const then = this.foreseen.pots[this.pot].foreseen_c;
    this.#line("foreseen", then, then, this.foreseen, this.foreseen.foreseenInS);
  }

  // line goes from the lowest to the highest value of each row. A value that is not known,
  // or a gap in time, breaks it. What was said for so many seconds later stands there.
  #line(name, low, high, rows = this.rows, laterS = 0) {
    const { g } = this, t = rows.timeS;
    const [a, b] = rows.part(this.stretch.from - laterS, this.stretch.to - laterS);
    this.#pen(name);
    let pen = false;
    for (let i = a; i < b; i++) {
      if (!Number.isFinite(low[i])) { pen = false; continue; }
      if (pen && rows.isGap(i)) pen = false;
      const x = this.x(t[i] + laterS);
      if (pen) g.lineTo(x, this.y(low[i])); else g.moveTo(x, this.y(low[i]));
      if (high[i] !== low[i]) g.lineTo(x, this.y(high[i]));
      pen = true;
    }
    g.stroke();
  }

  // The melt and the plate have their names where they end, so that nobody has to tell them
  // apart by their strokes alone.
  #names() {
    const { g } = this, x = Math.min(this.x(this.now), this.w) - 4;
    const y = (column, back) => { // of the last that is shown and known, or of one so far before it
      for (let i = this.part[1] - 1; i >= this.part[0]; i--) {
        if (Number.isFinite(column[i]) && this.x(this.rows.timeS[i]) <= x - back) return this.y(column[i]);
      }
      return null;
    };
    g.font = `700 13px ${this.style.fontFamily}`;
    g.textAlign = "right";
    g.lineWidth = 4;
    g.lineJoin = "round";
    g.setLineDash([]);
    g.strokeStyle = this.ink("--panel");
    g.fillStyle = this.ink("--ink");
    let taken = null;
    const name = (words, column) => {
      const wide = g.measureText(words).width, end = y(column, 0);
      if (end === null || x - wide < left) return; // too little of a line to name it
      const rises = (y(column, wide) ?? end) >= end, over = end - nameOff, under = end + nameOff + nameHigh;
      const free = (at) => at - nameHigh >= top && (taken === null || Math.abs(at - taken) > nameHigh + 3);
      taken = (rises ? [over, under] : [under, over]).find(free) ?? null;
      if (taken === null) return;
      g.strokeText(words, x, taken);
      g.fillText(words, x, taken);
    };
    const d = this.data;
    if (this.withPlate) name(this.words.plate, d.plate_max_c);
    name(this.words.melt, d.melt_max_c.some(Number.isFinite) ? d.melt_max_c : d.melt_estimate_c);
  }

  #marks() {
    const { g } = this;
    g.font = `12px ${this.style.fontFamily}`;
    g.textAlign = "left";
    let free = 0; // where the label before ends
    for (const group of grouped(this.events, (s) => this.x(s), marksApart)) {
      const name = shapeOf(group), label = labelOf(group);
      const alike = group.events.filter((e) => e.shape === name).map((e) => this.x(e.at_s));
      const x = Math.min(Math.max((alike[0] + alike.at(-1)) / 2, left + markR), this.w - markR);
      g.fillStyle = g.strokeStyle = this.ink(name === "ring" && !label ? "--dim" : "--ink");
      this.#shape(name, this.sharp(x));
      const wide = g.measureText(label).width, at = Math.max(Math.min(x - wide / 2, this.w - wide - 1), free);
      if (!label || at - (x - wide / 2) > labelSlips) continue; // the mark names it when it is read
      g.fillText(label, at, labelAt);
      free = at + wide + 4;
    }
  }

  // shape draws a mark as the key shows it, in a square from -1 to 1.
  #shape(name, x) {
    const { g } = this, { path, kind } = this.shapes[name];
    g.save();
    g.translate(x, markAt);
    g.scale(markR, markR);
    g.setLineDash([]);
    g.lineWidth = (kind === "heavy" ? 2.5 : 1.5) / markR;
    if (kind === "filled") g.fill(path); else g.stroke(path);
    g.restore();
  }

  #cursor() {
    if (this.cursor === null || this.cursor < this.stretch.from || this.cursor > this.stretch.to) return;
    this.g.fillStyle = this.ink("--attend-line");
    this.g.fillRect(this.sharp(this.x(this.cursor)) - 1, top - 4, 2, this.h - bottom - top + 4);
  }
}
