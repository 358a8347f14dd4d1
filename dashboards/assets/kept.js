// What is typed and not sent outlives a page that is loaded anew, in this tab; so does a
// mark that could not be sent. That one is offered, with when it was pressed, and is never
// sent by itself: a late mark is a false one.
const store = {
  get: (key) => { try { return sessionStorage.getItem(key); } catch { return null; } },
  set: (key, value) => { try { value === null ? sessionStorage.removeItem(key) : sessionStorage.setItem(key, value); } catch { /* a private window */ } },
};

const form = "form[method=post]:not([data-plain])";
const fields = `${form} input:not([type=hidden]):not([type=file]):not([type=checkbox]), ${form} textarea`;
const keyOf = (field) => `typed ${location.pathname} ${field.form.getAttribute("action")} ${field.name}`;

// keepTyped puts back what was typed, and keeps what is.
export function keepTyped() {
  for (const field of document.querySelectorAll(fields)) {
    const typed = store.get(keyOf(field));
    if (typed === null || typed === field.value) continue;
    field.value = typed;
    field.closest("details")?.setAttribute("open", "");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
  document.addEventListener("input", (e) => {
    if (e.target.matches(fields)) store.set(keyOf(e.target), e.target.value || null);
  });
  document.addEventListener("sent", (e) => {
    for (const field of e.target.querySelectorAll("input, textarea")) {
      store.set(keyOf(field), null);
    }
  });
}

const place = document.getElementById("unsent");
const unsentKey = "unsent";
let unsent = [];

function keep() {
  store.set(unsentKey, unsent.length ? JSON.stringify(unsent) : null);
  show();
}

function show() {
  place.hidden = unsent.length === 0;
  place.querySelector("ul").replaceChildren(...unsent.map((mark) => {
    const row = place.querySelector("template").content.firstElementChild.cloneNode(true);
    row.querySelector("b").textContent = `${mark.label}, ${place.querySelector("[data-pressed]").dataset.pressed} ${mark.at}`;
    row.addEventListener("click", (e) => act(e, mark));
    return row;
  }));
}

async function act(e, mark) {
  const what = e.target.closest("button")?.dataset.do;
  if (what === "send") {
    try {
      const answer = await fetch(mark.action, {
        method: "POST", headers: { Accept: "application/json" }, body: new URLSearchParams(mark.fields), signal: AbortSignal.timeout(3000),
      });
      if (!answer.ok) return; // it stays
      document.dispatchEvent(new CustomEvent("settled", { detail: mark.key }));
    } catch {
      return; // it stays
    }
  }
  if (!what) return;
  unsent = unsent.filter((m) => m !== mark);
  keep();
}

// offerUnsent offers what could not be sent, from before the page was loaded as well.
export function offerUnsent() {
  unsent = JSON.parse(store.get(unsentKey) ?? "[]");
  show();
  document.addEventListener("unsent", (e) => {
    const at = new Date().toLocaleTimeString([], { hour12: false });
    const whose = e.target.closest(".pot")?.querySelector("h2").textContent;
    unsent = unsent.filter((m) => m.key !== e.detail.key); // pressed again
    unsent.push({ ...e.detail, label: whose ? `${whose}: ${e.detail.label}` : e.detail.label, at });
    keep();
  });
  document.addEventListener("sent", (e) => {
    unsent = unsent.filter((m) => m.key !== e.detail);
    keep();
  });
}
