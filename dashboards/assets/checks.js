// The before-heat checks: each tick is sent by itself, so that a page that was left open takes
// nothing away that was ticked elsewhere, and what is ticked elsewhere shows here; and every
// call can be heard.
import { setText } from "./marks.js";
import { Sound } from "./sound.js";

const form = document.getElementById("checks");
const problem = document.getElementById("problem");
const boxes = Array.from(form.querySelectorAll("input[type=checkbox]"));
let sending = 0, sent = 0;

async function tick(box) {
  sending++;
  sent++;
  try {
    const answer = await fetch(form.action, {
      method: "POST", headers: { Accept: "application/json" }, body: new URLSearchParams({ [box.checked ? "ticked" : "was_ticked"]: box.value }), signal: AbortSignal.timeout(3000),
    });
    if (!answer.ok) throw new Error((await answer.json()).detail);
    problem.hidden = true;
  } catch (e) {
    problem.hidden = false;
    setText(problem, `${document.body.dataset.notSent} ${e.message}`);
  }
  sending--;
  refresh().catch(() => {});
}

// refresh shows what is ticked off now, unless something was on its way meanwhile.
async function refresh() {
  const before = sent;
  const answer = await fetch(form.action, { signal: AbortSignal.timeout(3000) });
  if (!answer.ok) return;
  const { checks } = await answer.json();
  if (sending || sent !== before) return;
  for (const box of boxes) {
    const now = checks.find((c) => c.key === box.value);
    if (!now) continue;
    box.checked = now.ticked !== null;
    const row = box.closest("li");
    row.querySelector("[name=was_ticked]").disabled = !box.checked;
    setText(row.querySelector("small"), now.said);
  }
}
const refreshEveryMs = 5000;
setInterval(() => { if (!document.hidden) refresh().catch(() => {}); }, refreshEveryMs);

// Who comes back to this page sees what is ticked off now, and not what was when it was left.
addEventListener("pageshow", (e) => { if (e.persisted) refresh().catch(() => {}); });

form.addEventListener("change", (e) => tick(e.target));
// What was ticked before this script was there.
for (const box of boxes) if (box.checked !== box.defaultChecked) tick(box);

const sound = new Sound();
document.querySelector(".heard").hidden = false;
for (const b of document.querySelectorAll("[data-say]")) b.addEventListener("click", () => sound.play(b.dataset.say));
