// What is tried is tried at once: each number has a slider beside it, and the picture follows. Without this file the
// numbers are typed and the button sends them.
const form = document.querySelector("form[data-tries]");
const status = form?.querySelector("[role=status]");
let asked = 0;

for (const field of form?.querySelectorAll("[data-slide]") ?? []) {
  const [low, high] = field.dataset.slide.split(" ");
  const slider = Object.assign(document.createElement("input"), { type: "range", min: low, max: high, step: 1 });
  slider.setAttribute("aria-label", `${field.ariaLabel ?? field.labels[0].textContent.trim()}, slider`);
  const follow = () => (slider.value = field.value || 0); // outside of its ends it stands at the nearest
  follow();
  field.before(slider);
  slider.addEventListener("input", () => (field.value = slider.value === "0" ? "" : slider.value));
  field.addEventListener("input", follow);
}

function say(words) {
  status.replaceChildren(Object.assign(document.createElement("p"), { className: "said", textContent: words.trim() }));
}

form?.addEventListener("change", async () => {
  const typed = new URLSearchParams([...new FormData(form)].filter(([, value]) => value));
  const mine = ++asked;
  say("Trying it …");
  try {
    const answer = await fetch(`${form.action}?${typed}`);
    if (mine !== asked) return; // an older answer never replaces a newer one
    if (!answer.ok) return form.submit(); // what is wrong is said at its field
    const parts = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const place of document.querySelectorAll("[data-answer]")) {
      place.replaceChildren(...parts.querySelector(`[data-answer="${place.dataset.answer}"]`).childNodes);
    }
    say(document.querySelector("[data-outcome]")?.textContent ?? "No forecast stands yet.");
    history.replaceState(null, "", answer.url);
  } catch {
    say("No answer came. Try it once more.");
  }
});
