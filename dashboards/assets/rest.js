// A browser opens six connections to one address, and a page that follows the bench keeps
// one of them: with many pages open the next would hang. So a page that is not in view lets
// go of its own after some seconds and comes back when it is looked at. What a page does for
// all of them, calling and notifying, one goes on to do out of view: the one that holds the
// lock of that duty. When it is closed, the next gets it. Where a browser has no locks (other
// computers, without https) every page with a duty stays.
const restAfterMs = 5000;
const gaveUp = new Map(); // by duty: how this page ends it
const mine = new Set(); // the duties that are this page's
let timer = 0, resting = false, rest = () => {}, wake = () => {};

function look() {
  if (document.hidden && mine.size === 0) {
    if (!resting) timer ||= setTimeout(() => { timer = 0; resting = true; rest(); }, restAfterMs);
    return;
  }
  clearTimeout(timer);
  timer = 0;
  if (!resting) return;
  resting = false;
  wake();
}

// duty begins or ends what this page does out of view.
export function duty(name, on) {
  if (on === gaveUp.has(name)) return;
  if (!on) {
    gaveUp.get(name)();
    gaveUp.delete(name);
    mine.delete(name);
    look();
    return;
  }
  const over = new Promise((end) => gaveUp.set(name, end));
  const end = gaveUp.get(name);
  const take = () => {
    if (gaveUp.get(name) !== end) return;
    mine.add(name);
    look();
    return over;
  };
  if (navigator.locks) navigator.locks.request(`bench ${name}`, take).catch(take);
  else take();
}

// restOutOfView calls its first when the page may let go, its second when it is needed again.
export function restOutOfView(letGo, comeBack) {
  [rest, wake] = [letGo, comeBack];
  document.addEventListener("visibilitychange", look);
  look();
}
