// What was marked can be taken back for a while: it is offered for some seconds as it
// appears, whoever marked it, and stays in the tile's list as long as the bench says so.
const offerForMs = 10_000;
const offer = document.getElementById("offer");
let hides = 0;
const before = new Map(); // by pot and mark: how long ago it was made, in seconds

const [name, button] = [offer.querySelector("input"), offer.querySelector("button")];

function say(text) {
  button.querySelector("small").textContent = text;
  button.disabled = !text;
}

function show(text, action, field, value) {
  offer.action = action;
  [name.name, name.value] = [field, value];
  say(text);
  clearTimeout(hides);
  hides = setTimeout(() => say(""), offerForMs);
}

// offerNote offers to take back the note that was just written down, by its press.
export const offerNote = (text, key) => show(text, "/api/v1/note", "of", key);

// taken ends an offer that was.
export function taken(form) {
  if (form === offer) say("");
}

function list(article, pot) {
  const place = article.querySelector(".take-back > div");
  const now = pot.marks.map((m) => m.mark).join(" ");
  if (place.dataset.shown === now) return;
  place.dataset.shown = now;
  place.replaceChildren(...pot.marks.map((m) => {
    const form = document.createElement("form"), button = document.createElement("button");
    form.method = "post";
    form.action = `/api/v1/pots/${pot.number}/take-back`;
    Object.assign(button, { name: "mark", value: m.mark, textContent: `${place.dataset.word}: ${m.label}` });
    form.append(button);
    return form;
  }));
}

offer.hidden = false;

let first = true;
export function showMarks(bench, articles) {
  for (const article of articles) {
    const pot = bench.pots[article.dataset.pot];
    list(article, pot);
    for (const m of pot.marks) {
      const key = `${pot.number} ${m.mark}`, was = before.get(key);
      if (!first && (was === undefined || m.since_s < was)) show(`${pot.colour}: ${m.label}`, `/api/v1/pots/${pot.number}/take-back`, "mark", m.mark);
      before.set(key, m.since_s);
    }
    for (const key of before.keys()) {
      if (key.startsWith(`${pot.number} `) && !pot.marks.some((m) => key === `${pot.number} ${m.mark}`)) before.delete(key);
    }
  }
  first = false;
}
