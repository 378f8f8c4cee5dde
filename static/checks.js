// The checks of an order answer while it is typed; without this file they answer when it is sent.
const place = document.querySelector("[data-checks]");
const form = place.closest("form");
const PAUSE = 600; // milliseconds without a key before the server is asked
let waiting = 0;
let asked = 0;

form.addEventListener("input", (event) => {
  if (place.contains(event.target)) return;
  clearTimeout(waiting);
  waiting = setTimeout(ask, PAUSE);
});

async function ask() {
  const typed = new FormData(form);
  for (const name of ["scan.L", "scan.R"]) typed.delete(name);
  const mine = ++asked;
  try {
    const answer = await fetch(place.dataset.checks, { method: "POST", body: new URLSearchParams(typed) });
    const part = await answer.text();
    // Who is answering a check right now is not disturbed, and an older answer never replaces a newer one.
    if (answer.ok && mine === asked && !place.contains(document.activeElement)) place.innerHTML = part;
  } catch {
    // Offline: the checks answer when the order is sent.
  }
}
