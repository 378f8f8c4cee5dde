// What a page may do beyond its HTML. Every page works without this file: it only saves a person a step.

// A form that came back with errors: the summary is read out and the keyboard starts there.
document.querySelector("[data-focus]")?.focus();

// The menu scrolls sideways on a phone: the page one is on is brought into sight.
const current = document.querySelector(".bar nav [aria-current]");
if (current) {
  const strip = current.closest("nav");
  const left = current.offsetLeft - strip.offsetLeft;
  if (left + current.offsetWidth > strip.clientWidth) strip.scrollLeft = left - 16;
}

// An act is sent once, however often an impatient glove taps. A form that something else sends, or that opens
// another window, is left alone; coming back to the page, or an answer that never comes, makes it usable again.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.getAttribute("method") !== "post" || form.hasAttribute("target")) return;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
  setTimeout(() => delete form.dataset.sent, 8000);
});
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

// An opened act closes with Escape, back on its button, or by a tap beside it.
const opened = () => document.querySelectorAll("details.more[open]");
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const act of opened()) {
    const inside = act.contains(document.activeElement);
    act.open = false;
    if (inside) act.querySelector("summary").focus();
  }
});
document.addEventListener("click", (event) => {
  if (event.target.closest("a")) return;
  for (const act of opened()) if (!act.contains(event.target)) act.open = false;
});
