// An order is kept as a draft while it is typed; without this file it is kept by its button.
const form = document.querySelector("form[data-keeps]");
const place = document.querySelector("[data-draft]");
const PAUSE = 2_000; // milliseconds without a key before it is kept
const LONGEST = 15_000; // the same while somebody types without a pause
let waiting = 0;
let since = 0;
let sending = Promise.resolve();

form.addEventListener("input", () => {
  since ||= Date.now();
  clearTimeout(waiting);
  waiting = setTimeout(keep, Math.min(PAUSE, Math.max(0, since + LONGEST - Date.now())));
});
// Whoever puts the tablet down or goes to another page has not paused for long enough.
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "hidden" && since) keep();
});
form.addEventListener("submit", stop);

function stop() {
  clearTimeout(waiting);
  since = 0;
}

function keep() {
  stop();
  const typed = new FormData(form);
  for (const name of ["scan.L", "scan.R"]) typed.delete(name);
  // One after the other: an older state must not arrive after a newer one.
  sending = sending.then(() => send(new URLSearchParams(typed)));
}

async function send(body) {
  let said = place.dataset.failed;
  try {
    const answer = await fetch(form.dataset.keeps, { method: "POST", body, keepalive: true });
    const parts = new DOMParser().parseFromString(await answer.text(), "text/html");
    said = (answer.ok && parts.querySelector("[data-draft]")?.textContent) || said;
  } catch {
    // Offline: the next key tries again.
  }
  if (place.textContent !== said) place.textContent = said;
}
