// What fingers, mouse, wheel and keys ask of a chart. Up and down stays the page's: it
// scrolls under a finger, and under a wheel until the chart has been pressed.
const slipPx = 6;    // less is no drag
const holdMs = 400;  // a finger that has rested so long reads, and does not move the chart
const twiceMs = 400, twicePx = 40;
const wheelPx = 500; // so much of a wheel makes e times as long

// Hands reports to a chart: { plot() → { left, width } in pixels, stretch() → { from, to },
// movable() → whether there is more than is shown, place(spanS, at, share), point(s or null),
// twice(s), key(event) → whether it was one of its keys }.
export class Hands {
  #canvas; #chart;
  #down = new Map(); // where each finger is
  #drag = null;
  #pinch = null;
  #tap = null;

  constructor(canvas, chart) {
    this.#canvas = canvas;
    this.#chart = chart;
    const on = (name, does, options) => canvas.addEventListener(name, (e) => does.call(this, e), options);
    on("pointerdown", this.#begin);
    on("pointermove", this.#move);
    on("pointerup", this.#end);
    on("pointercancel", this.#lose);
    on("pointerleave", (e) => { if (e.pointerType === "mouse" && !this.#drag) chart.point(null); });
    on("blur", (e) => { if (e.relatedTarget?.tagName !== "CANVAS") chart.point(null); });
    on("wheel", this.#wheel, { passive: false });
    on("touchmove", (e) => { if (e.touches.length > 1 && e.cancelable) e.preventDefault(); }, { passive: false });
    on("keydown", (e) => {
      if (e.ctrlKey || e.metaKey || e.altKey || !chart.key(e)) return;
      e.preventDefault();
      e.stopPropagation(); // it is no single key of the page
    });
  }

  // share is where a place stands in the plot, 0 at its left edge.
  #share(x) {
    const { left, width } = this.#chart.plot();
    return (x - left) / width;
  }

  #at(x) {
    const { from, to } = this.#chart.stretch();
    return from + this.#share(x) * (to - from);
  }

  #span() {
    const { from, to } = this.#chart.stretch();
    return to - from;
  }

  #begin(e) {
    if (e.pointerType === "mouse" && e.button !== 0) return;
    this.#canvas.setPointerCapture(e.pointerId);
    this.#down.set(e.pointerId, { x: e.offsetX, y: e.offsetY });
    if (this.#down.size === 2) this.#beginPinch();
    else if (this.#down.size === 1) this.#drag = { x: e.offsetX, y: e.offsetY, at: this.#at(e.offsetX), since: e.timeStamp, does: null };
  }

  #beginPinch() {
    const { apart, x } = this.#fingers();
    this.#drag = this.#tap = null;
    this.#pinch = { apart, at: this.#at(x), spanS: this.#span() };
  }

  #fingers() {
    const [a, b] = this.#down.values();
    return { apart: Math.max(Math.hypot(a.x - b.x, a.y - b.y), 2 * slipPx), x: (a.x + b.x) / 2 };
  }

  #move(e) {
    const x = e.offsetX, finger = this.#down.get(e.pointerId);
    if (!finger) {
      if (e.pointerType === "mouse") this.#chart.point(this.#at(x));
      return;
    }
    Object.assign(finger, { x, y: e.offsetY });
    if (this.#pinch && this.#down.size === 2) {
      const { apart, x: middle } = this.#fingers(), p = this.#pinch;
      return void this.#chart.place(p.spanS * p.apart / apart, p.at, this.#share(middle));
    }
    if (this.#drag) this.#dragTo(x, e);
  }

  #dragTo(x, e) {
    const d = this.#drag;
    if (!d.does) {
      if (Math.abs(x - d.x) < slipPx) return;
      const rested = e.pointerType !== "mouse" && e.timeStamp - d.since >= holdMs;
      d.does = this.#chart.movable() && !rested ? "move" : "read";
    }
    if (d.does === "move") this.#chart.place(this.#span(), d.at, this.#share(x));
    this.#chart.point(this.#at(x));
  }

  #end(e) {
    if (!this.#down.delete(e.pointerId)) return;
    const d = this.#drag;
    this.#drag = null;
    if (this.#pinch) {
      if (this.#down.size === 0) this.#pinch = null;
      return; // the finger that is left does nothing until it is lifted too
    }
    if (d && !d.does) this.#press(e);
  }

  #press(e) {
    const before = this.#tap;
    this.#tap = { x: e.offsetX, at: e.timeStamp };
    if (before && e.timeStamp - before.at < twiceMs && Math.abs(e.offsetX - before.x) < twicePx) {
      this.#tap = null;
      return void this.#chart.twice(this.#at(e.offsetX));
    }
    this.#chart.point(this.#at(e.offsetX));
  }

  #lose(e) {
    this.#down.delete(e.pointerId);
    this.#drag = null;
    if (this.#down.size === 0) this.#pinch = null;
  }

  #wheel(e) {
    const pixels = (delta) => (e.deltaMode === 1 ? 16 : e.deltaMode === 2 ? 400 : 1) * delta;
    const dx = pixels(e.shiftKey && !e.deltaX ? e.deltaY : e.deltaX), dy = pixels(e.deltaY);
    if (e.shiftKey || Math.abs(dx) > Math.abs(dy)) {
      if (!this.#chart.movable()) return;
      e.preventDefault();
      const { from } = this.#chart.stretch();
      return void this.#chart.place(this.#span(), from + dx / this.#chart.plot().width * this.#span(), 0);
    }
    const wider = dy > 0, pressed = document.activeElement === this.#canvas;
    if (!e.ctrlKey && (!pressed || wider && !this.#chart.movable())) return; // the page scrolls
    e.preventDefault();
    this.#chart.place(this.#span() * Math.exp(dy / wheelPx), this.#at(e.offsetX), this.#share(e.offsetX));
  }
}
