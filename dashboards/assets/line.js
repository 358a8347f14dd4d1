// What every page says of the bench: how many alarms need somebody, and beside ALL OFF the
// bench's answer. Both are taken as the server writes them, from the smallest of its pages.
const everyMs = 5000;
const parts = ["needed", "bench-line"];
const small = document.querySelector('.top nav a[href^="/pages"]')?.href;

async function look() {
  if (document.hidden || !small) return;
  const answer = await fetch(small, { signal: AbortSignal.timeout(everyMs) }).catch(() => null);
  if (!answer?.ok) {
    lost();
    return;
  }
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const id of parts) {
    const [old, fresh] = [document.getElementById(id), page.getElementById(id)];
    if (old && fresh && old.outerHTML !== fresh.outerHTML) old.replaceWith(document.importNode(fresh, true));
  }
}

// lost says that nothing is known, where the server does not answer.
function lost() {
  const line = document.getElementById("bench-line");
  document.getElementById("needed").hidden = true;
  if (!line) return;
  line.dataset.tone = "lost";
  line.querySelector("use").setAttribute("href", "#tone-lost");
  line.querySelector("b").textContent = line.dataset.lost;
}

setInterval(look, everyMs);
document.addEventListener("visibilitychange", look);
