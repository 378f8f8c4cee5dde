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

// A scanner types like a keyboard, only faster than any hand, and ends with Enter. Outside of a field its code is
// looked up; on a form that is filled by scanning (data-scanned) the pair's box is ticked instead. A lot's label picks the lot
// where it can be picked.
const SCAN = { keys: 8, pace: 80, pause: 400 }; // at least so many keys; milliseconds a key on average, at most
const WRITTEN_IN = "input:not([type=checkbox], [type=radio]), select, textarea";
let keys = "";
let first = 0;
let last = 0;
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest(WRITTEN_IN)) return;
  if (event.timeStamp - last > SCAN.pause) keys = "";
  last = event.timeStamp;
  if (event.key === " ") keys = ""; // no code has a blank: somebody ticks boxes
  else if (event.key.length === 1) {
    if (!keys) first = last;
    keys += event.key;
  }
  if (event.key !== "Enter" || keys.length < SCAN.keys || (last - first) / keys.length > SCAN.pace) return;
  event.preventDefault();
  scanned(keys);
  keys = "";
});
// Where one signs on, a badge comes before its PIN; without this the browser leads on to it just the same, and says why.
const badge = document.querySelector('form[action="/bench/sign-on"] input[name=badge]');
badge?.addEventListener("keydown", (event) => {
  const { pin } = event.target.form.elements;
  if (event.key !== "Enter" || pin.value || !event.target.value) return;
  event.preventDefault();
  pin.focus();
});
function scanned(text) {
  if (badge) {
    badge.value = text;
    badge.form.elements.pin.focus();
    return;
  }
  const boxes = [...document.querySelectorAll("form[data-scanned] input[type=checkbox]")];
  const box = boxes.find((each) => each.value === text.split("/")[0].toUpperCase());
  const find = document.querySelector("form.find");
  const lot = /^LOT\/0*(\d+)$/i.exec(text);
  const pick = lot && document.querySelector(`select[name=lots] option[value="${lot[1]}"]`);
  if (box) {
    box.checked = true;
    box.focus();
  } else if (pick) {
    pick.selected = true;
    pick.closest("form").querySelector("button").focus();
  } else if (find) {
    find.elements.q.value = text;
    find.requestSubmit();
  }
}
