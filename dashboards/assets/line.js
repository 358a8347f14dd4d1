// What every page says of the bench: how many alarms need somebody, and beside ALL OFF the
// bench's answer. Both are taken as the server writes them, from the smallest of its pages.
const everyMs = 5000;
const parts = ["needed", "bench-line"];
const small = document.querySelector('.top nav a[href^="/pages"]')?.href;

// cut is an element of a page as text: a whole page made anew every few seconds would be
// kept until the browser tidies up.
const cut = (page, id) => page.match(new RegExp(`<(\\w+) id="${id}"[^]*?</\\1>`))?.[0] ?? "";

async function look() {
  if (document.hidden || !small) return;
  const answer = await fetch(small, { signal: AbortSignal.timeout(everyMs) }).catch(() => null);
  if (!answer?.ok) {
    lost();
    return;
  }
  const page = await answer.text();
  for (const old of parts.map((id) => document.getElementById(id)).filter(Boolean)) {
    const text = cut(page, old.id);
    if (!text || old.outerHTML === text) continue;
    const fresh = new DOMParser().parseFromString(text, "text/html").getElementById(old.id);
    if (fresh.outerHTML !== old.outerHTML) old.replaceWith(document.importNode(fresh, true));
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
