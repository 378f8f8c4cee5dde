// A form answers while it is filled in: an order by its checks and sizes, the Foot Posture Index by its totals. Without
// this file they answer when it is sent.
const form = document.querySelector("form[data-asks]");
const places = [...form.querySelectorAll("[data-live]")];
const PAUSE = 600; // milliseconds without a key before the server is asked
let waiting = 0;
let asked = 0;

form.addEventListener("input", (event) => {
  if (event.target.closest("[data-live]")) return;
  clearTimeout(waiting);
  waiting = setTimeout(ask, PAUSE);
});

async function ask() {
  const typed = new FormData(form);
  for (const name of ["scan.L", "scan.R"]) typed.delete(name);
  const mine = ++asked;
  try {
    const answer = await fetch(form.dataset.asks, { method: "POST", body: new URLSearchParams(typed) });
    const parts = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (!answer.ok || mine !== asked) return; // an older answer never replaces a newer one
    for (const place of places) {
      const part = parts.querySelector(`[data-live="${place.dataset.live}"]`);
      // Who is answering a check right now is not disturbed, and what says the same is not said again.
      if (place.contains(document.activeElement) || place.innerHTML === part.innerHTML) continue;
      place.replaceChildren(...part.childNodes);
    }
    pointOut();
  } catch {
    // Offline: the checks answer when the order is sent.
  }
}

// Beside each field that a check speaks of stands its sentence, which leads to where it is answered.
function pointOut() {
  for (const each of form.querySelectorAll(".found")) each.remove();
  for (const check of form.querySelectorAll("[data-at]")) {
    const field = document.getElementById(`f-${check.dataset.at}`)?.closest(".field");
    if (!field || field.closest("[data-live]")) continue;
    const found = document.createElement("a");
    found.className = "found";
    found.href = `#${check.id}`;
    found.textContent = check.querySelector(".banner div").textContent.trim();
    field.append(found);
  }
}
