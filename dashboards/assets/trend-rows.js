// The rows of the charts: a table as the server sends it, to which live frames are added.
// It never holds more than so many rows; a full one is to be fetched anew.
export const rowsAsked = 900;
export const mostRows = 1.5 * rowsAsked;
export const mostEvents = 2000;

// What a frame's pot gives to the columns: to a lowest and a highest, or as it was last.
const spans = [["melt_min_c", "melt_max_c", "melt_c"], ["plate_min_c", "plate_max_c", "plate_c"]];
const lasts = ["target_c", "melt_estimate_c", "setpoint_c", "band_c", "duty"];

const lower = (a, b) => (a === null || b === null ? a ?? b : Math.min(a, b));
const higher = (a, b) => (a === null || b === null ? a ?? b : Math.max(a, b));

export class Rows {
  #table;
  #fetched; // how many rows came from the server; those after them came one by one

  constructor(table) {
    this.#table = table;
    this.#fetched = table.time_s.length;
  }

  get timeS() { return this.#table.time_s; }
  get slotS() { return this.#table.slot_s; }
  get pots() { return this.#table.pots; }
  get foreseenInS() { return this.#table.foreseen_in_s; }
  get first() { return this.timeS[0]; }
  get last() { return this.timeS.at(-1); }

  // add takes in a live frame: into a new row at the table's own pace, else into the last
  // one, so that no peak is lost. It is false for a frame that has no place here.
  add(bench) {
    const t = this.#table, s = bench.bench_time_s;
    if (t.time_s.length === 0 || t.pots.length !== bench.pots.length || s < this.last) return false;
    if (s < this.last + t.slot_s) return this.#fold(bench);
    if (t.time_s.length >= mostRows) return false;
    t.time_s.push(s);
    bench.pots.forEach((p, i) => {
      const c = t.pots[i];
      for (const [low, high, value] of spans) { c[low].push(p[value]); c[high].push(p[value]); }
      for (const name of lasts) c[name].push(p[name]);
      c.foreseen_c.push(p.ahead_c[t.foreseen_in_s / bench.ahead_every_s - 1] ?? null);
    });
    return true;
  }

  #fold(bench) {
    const t = this.#table, i = t.time_s.length - 1;
    bench.pots.forEach((p, k) => {
      const c = t.pots[k];
      for (const [low, high, value] of spans) {
        c[low][i] = lower(c[low][i], p[value]);
        c[high][i] = higher(c[high][i], p[value]);
      }
      for (const name of lasts) c[name][i] = p[name];
    });
    return true;
  }

  // isGap is true where nothing is known between a row and the one before it.
  isGap(i) {
    return i < this.#fetched && this.timeS[i] - this.timeS[i - 1] > 3 * this.slotS;
  }

  // from is the first row that begins at a time or after it.
  from(s) {
    let [low, high] = [0, this.timeS.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.timeS[middle] < s) low = middle + 1; else high = middle;
    }
    return low;
  }

  // nearest is the row next to a time.
  nearest(s) {
    const t = this.timeS, after = this.from(s);
    if (after === t.length) return t.length - 1;
    return after > 0 && s - t[after - 1] < t[after] - s ? after - 1 : after;
  }

  // part is the rows that touch a stretch, with a neighbour on either side, as [from, to).
  part(from, to) {
    return [Math.max(0, this.from(from) - 1), Math.min(this.timeS.length, this.from(to) + 1)];
  }

  // asked are the set-points of a pot in a stretch with their bands, each as long as it
  // held; the last one goes on to the end.
  asked(pot, from, to) {
    const { setpoint_c: set, band_c: band } = this.pots[pot], held = [];
    const [a, b] = this.part(from, to);
    for (let i = a; i < b; i++) {
      const last = held.at(-1);
      if (last && last.set === set[i] && last.band === band[i]) continue;
      if (last) last.to = this.timeS[i];
      held.push({ from: this.timeS[i], to, set: set[i], band: band[i] });
    }
    return held.filter((h) => Number.isFinite(h.set));
  }

  // foreseenFor is what had been predicted for a time; null where nobody had.
  foreseenFor(pot, s) {
    const told = s - this.foreseenInS, i = this.nearest(told);
    return Math.abs(this.timeS[i] - told) > 2 * this.slotS ? null : this.pots[pot].foreseen_c[i];
  }
}

// Events are what happened since the program was started, the newest of them.
export class Events {
  #all = [];
  #part = 0;
  last = 0;
  leftOut = 0;

  // take takes in an answer of the server. After another start of the program all is asked
  // for anew: in another history numbers may begin at one again.
  take(answer) {
    if (answer.part !== this.#part) {
      const wanted = this.last === 0;
      [this.#part, this.#all, this.leftOut, this.last] = [answer.part, [], 0, 0];
      if (!wanted) return;
    }
    this.last = answer.last;
    for (const e of answer.events) {
      if (e.takes_back) this.#takeBack(e);
      else this.#all.push(e);
    }
    this.leftOut += answer.left_out + Math.max(0, this.#all.length - mostEvents);
    this.#all = this.#all.slice(-mostEvents);
  }

  // takeBack forgets a mark that was taken back, as the run's picture does.
  #takeBack(by) {
    const from = by.takes_back === "back on plate" ? this.#all.findLastIndex((e) => e.kind === "lifted" && e.pot === by.pot) : -1;
    const meant = (e) => !by.takes || e.from === by.from && (by.takes === "last" || by.takes === e.key);
    const is = (e, i) => i > from && e.kind === by.takes_back && e.pot === by.pot && meant(e);
    const last = this.#all.findLastIndex(is);
    this.#all = this.#all.filter((e, i) => by.once ? !is(e, i) : i !== last);
  }

  // of are those of a pot (from 0) and of the bench in a stretch, in order.
  of(pot, from, to) {
    return this.#all.filter((e) => (e.pot === 0 || e.pot === pot + 1) && e.at_s >= from && e.at_s <= to);
  }

  get count() { return this.#all.length; }
}
