// Which stretch of bench time the charts show: arithmetic only, nothing of the page.
//
// A session is { first, now, end }, in bench seconds: its first row, its last one, and
// where what is predicted ends. A window is null, the whole session, or { live, from, to }:
// of a live one from and to count from now, so that it goes along; of any other they are
// bench seconds and stay.
export const leastS = 20;
export const recent = { live: true, from: -15 * 60, to: 5 * 60 };
const leastWholeS = 60; // a session of a second is shown as one of a minute

// whole is all that there is to show.
export function whole({ first, now, end }) {
  return { from: first, to: Math.max(now, end, first + leastWholeS) };
}

// shown is the stretch that a window has now.
export function shown(window, session) {
  const all = whole(session), { first, now, end } = session;
  if (!window) return all;
  if (window.live) {
    const from = Math.max(first, now + window.from);
    return { from, to: Math.max(Math.min(now + window.to, Math.max(now, end)), from + leastS) };
  }
  const spanS = Math.min(window.to - window.from, all.to - all.from);
  const from = Math.min(Math.max(window.from, all.from), all.to - spanS);
  return { from, to: from + spanS };
}

// placed is the window of so many seconds in which a moment stands at a share of the
// width, 0 at its start; it is kept inside the session. One that reaches now goes along.
export function placed(session, spanS, at, share) {
  const all = whole(session), { now } = session;
  const wide = Math.min(Math.max(spanS, leastS), all.to - all.from);
  const from = Math.min(Math.max(at - share * wide, all.from), all.to - wide), to = from + wide;
  const hair = wide / 1e6;
  if (from <= all.from + hair && to >= all.to - hair) return null;
  return to >= now - hair ? { live: true, from: from - now, to: Math.max(0, to - now) } : { live: false, from, to };
}

// zoomed is a window so many times as long, with a moment staying where it stands.
export function zoomed(window, session, times, at) {
  const { from, to } = shown(window, session);
  return placed(session, times * (to - from), at, (at - from) / (to - from));
}

// moved is a window so many seconds later.
export function moved(window, session, byS) {
  const { from, to } = shown(window, session);
  return window ? placed(session, to - from, from + byS, 0) : window;
}

// toNow is a window of the same length that goes along again.
export function toNow(window, session) {
  if (!window || window.live) return window;
  return placed(session, window.to - window.from, session.now, 1);
}

// grouped puts marks that would cover each other into one: those that stand less than
// apart after the first of a group. Events come in order of time; x says where one stands.
export function grouped(events, x, apart) {
  const groups = [];
  for (const event of events) {
    const at = x(event.at_s), last = groups.at(-1);
    if (last && at - last.x < apart) last.events.push(event);
    else groups.push({ x: at, events: [event] });
  }
  return groups;
}

// ranks are the shapes from the one that stands for a group first to the last.
const ranks = ["cross", "alarm", "shot", "press", "step", "sheet", "diamond", "cup", "up", "down", "tick", "ring", "bar"];

export const rankOf = (event) => ranks.indexOf(event.shape);

// shapeOf is the shape that stands for a group, labelOf what stands beside it: the numbers
// of its shots, or else how many there are.
export const shapeOf = (group) => ranks.find((r) => group.events.some((e) => e.shape === r)) ?? "bar";

export function labelOf(group) {
  const shots = group.events.filter((e) => e.number).map((e) => e.number);
  if (shots.length > 0) return shots.length > 1 ? `${shots[0]}–${shots.at(-1)}` : String(shots[0]);
  return group.events.length > 1 ? `×${group.events.length}` : "";
}

// clock writes bench time as h:mm, with seconds while they matter.
export function clock(s) {
  const two = (n) => String(Math.floor(n)).padStart(2, "0");
  return `${Math.floor(s / 3600)}:${two(s / 60 % 60)}` + (s % 60 >= 1 ? `:${two(s % 60)}` : "");
}

// lasting writes a length of time, no finer than it is worth.
export function lasting(s) {
  if (s < 90) return `${Math.round(s)} s`;
  const min = Math.round(s / 60);
  return min < 90 ? `${min} min` : `${Math.floor(min / 60)} h ${min % 60} min`;
}

// niceStep is a round distance between ticks, no less than a rough one.
export function niceStep(rough) {
  const power = 10 ** Math.floor(Math.log10(rough));
  return [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough * (1 - 1e-9));
}

// nicePace is one of time, in seconds.
export function nicePace(roughS) {
  return [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400].find((s) => s >= roughS) ?? 28800;
}
