// The before-heat checks: what is ticked is kept at once, so that a page that is loaded
// anew has it; and every call can be heard.
import { Sound } from "./sound.js";

const form = document.getElementById("checks");
const problem = document.getElementById("problem");

async function tick() {
  try {
    const answer = await fetch(form.action, {
      method: "POST", headers: { Accept: "application/json" }, body: new URLSearchParams(new FormData(form)), signal: AbortSignal.timeout(3000),
    });
    if (!answer.ok) throw new Error((await answer.json()).detail);
    problem.hidden = true;
  } catch (e) {
    problem.hidden = false;
    problem.textContent = `${document.body.dataset.notSent} ${e.message}`;
  }
}
form.addEventListener("change", tick);
// What was ticked before this script was there.
if (Array.from(form.querySelectorAll("input[type=checkbox]")).some((box) => box.checked !== box.defaultChecked)) tick();

const sound = new Sound();
document.querySelector(".heard").hidden = false;
for (const b of document.querySelectorAll("[data-say]")) b.addEventListener("click", () => sound.play(b.dataset.say));
