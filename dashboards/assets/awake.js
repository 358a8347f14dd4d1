// The screen stays on while anything is hot, and a device is told of alarms and of ready,
// where the browser gives that: on this computer or over https only. Where it does not, the
// page says so. Neither replaces a look at the bench.
import { setText } from "./marks.js";
import { duty } from "./rest.js";

const words = document.body.dataset;
const said = document.getElementById("awake");
const button = document.getElementById("notify"), told = document.getElementById("notified");

let lock = null, asking = false, hot = false;

async function hold() {
  if (lock || asking || document.hidden) return;
  asking = true;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
    document.body.dataset.awake = "held";
    setText(said, words.awakeYes);
    if (!hot) lock.release();
  } catch {
    document.body.dataset.awake = "refused";
    setText(said, words.awakeNo);
  }
  asking = false;
}

// stayAwake keeps the screen on while the bench is hot, or may be.
export function stayAwake(isHot) {
  const began = isHot && !hot;
  hot = isHot;
  if (!navigator.wakeLock) {
    document.body.dataset.awake = "missing";
    setText(said, hot ? words.awakeNo : "");
  } else if (began) {
    hold();
  } else if (!hot) {
    lock?.release();
    setText(said, "");
  }
}
document.addEventListener("visibilitychange", () => { if (hot && navigator.wakeLock) hold(); });

const canNotify = () => window.isSecureContext && "Notification" in window && Notification.permission !== "denied";
const calls = ["ready", "act", "danger"];
let heard = null;

function showPermission() {
  const granted = canNotify() && Notification.permission === "granted";
  button.hidden = granted || !canNotify();
  duty("notices", granted);
  setText(told, granted ? button.dataset.yes : canNotify() ? "" : button.dataset.no);
}

// offerNotices shows the button that asks for permission: a page must not ask by itself.
export function offerNotices() {
  button.onclick = async () => {
    await Notification.requestPermission();
    showPermission();
  };
  showPermission();
}

// notify tells the device of a new call that asks for somebody, or of ready.
export function notify(bench, text) {
  const fresh = heard !== null && bench.call.seq !== heard;
  heard = bench.call.seq;
  if (!fresh || bench.call.silenced || !calls.includes(bench.call.sound) || !canNotify() || Notification.permission !== "granted") return;
  try {
    const n = new Notification(document.title, { body: text, tag: "bench", requireInteraction: bench.call.sound === "danger" });
    n.onclick = () => { window.focus(); n.close(); };
  } catch {
    setText(told, button.dataset.no); // some phones have them for installed pages only
  }
}
