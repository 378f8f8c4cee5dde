// Marks leg and heel in a photo from behind, point by point: by mouse, by touch, by keyboard. The angles that it shows
// are worked out anew by the server (app/trade/stance.py); without this file they are typed.
const SVG = "http://www.w3.org/2000/svg";
const SIDES = { L: "left", R: "right" };
const OUTWARDS = { L: -1, R: 1 }; // the left foot stands at the photo's left
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const HEIGHTS = { leg: [0.12, 0.48], heel: [0.6, 0.86], plumb: [0.08, 0.92] }; // where points wait to be marked
const LOUPE = 48; // photo pixels that the loupe shows across
const DRAGGED = 3; // screen pixels from which a press is a drag

for (const marking of document.querySelectorAll("[data-stance]")) start(marking);

function start(marking) {
  const photo = marking.querySelector("img");
  const wide = Number(photo.getAttribute("width")); // the photo’s own pixels, however large it is shown
  const high = Number(photo.getAttribute("height"));
  const form = marking.closest("form");
  const sides = [...marking.dataset.stance];
  const overlay = drawing(`0 0 ${wide} ${high}`, "overlay");
  const loupe = drawing(`0 0 ${LOUPE} ${LOUPE}`, "loupe");
  const says = marking.querySelector("[data-says]");
  const lines = sides.flatMap((side) => ["leg", "heel"].map((part) => line(side, part)));
  const hung = line("", "plumb");
  const typed = new Set(); // feet whose angles were typed: they hold until a point of that foot is moved
  let active = null;
  let hangs = false;

  const image = shape("image", loupe);
  image.setAttribute("href", photo.src);
  image.setAttribute("width", wide);
  image.setAttribute("height", high);
  const cross = [shape("path", loupe, "halo"), shape("path", loupe)];
  marking.querySelector("[data-frame]").append(overlay, ...lines.flatMap((each) => each.points.map((p) => p.button)));
  marking.querySelector("[data-frame]").append(...hung.points.map((point) => point.button));
  marking.querySelector("[data-loupe]").append(loupe);
  marking.querySelector("[data-tools]").hidden = false;
  const hang = marking.querySelector("[data-hang]");
  hang.addEventListener("click", () => show(!hangs));
  marking.querySelector("[data-again]").addEventListener("click", () => {
    for (const point of all()) point.placed = false;
    typed.clear();
    tell();
    choose(all()[0]);
  });
  photo.addEventListener("click", (event) => place(event));
  for (const side of sides) {
    for (const part of ["leg", "heel"]) {
      field(`${side}.${part}_deg`).addEventListener("input", () => {
        typed.add(side);
        field(`${side}.points`).value = "";
      });
    }
    const own = lines.filter((each) => each.side === side);
    const said = ["leg", "heel"].some((part) => field(`${side}.${part}_deg`).value);
    if (!recall(field(`${side}.points`).dataset.marked, own) && said) typed.add(side);
  }
  hangs = recall(field("plumb").dataset.marked, [hung]);
  show(hangs);
  choose(next(), false);

  function field(name) {
    return form.elements[name];
  }

  function line(side, part) {
    const halo = shape("line", overlay, "halo");
    const made = { side, part, strokes: [halo, shape("line", overlay, part)], points: [] };
    const middle = sides.length === 1 || !side ? 0.5 : side === "L" ? 0.3 : 0.7;
    made.points = ["upper", "lower"].map((end, n) => point(made, end, middle * wide, HEIGHTS[part][n] * high));
    return made;
  }

  function point(of, end, x, y) {
    const part = { leg: "lower leg", heel: "heel" }[of.part];
    const what = part ? `${cap(SIDES[of.side])} ${part}` : "Plumb line";
    const button = document.createElement("button");
    const made = { name: `${what}, ${end} point`, x: Math.round(x), y: Math.round(y), placed: false, button };
    button.type = "button";
    button.className = `point ${of.part}`;
    button.addEventListener("focus", () => {
      active = made;
      draw();
    });
    button.addEventListener("keydown", (event) => {
      const step = STEPS[event.key];
      if (!step || event.ctrlKey || event.altKey || event.metaKey) return;
      event.preventDefault();
      const by = event.shiftKey ? 10 : 1;
      move(made, made.x + step[0] * by, made.y + step[1] * by);
    });
    button.addEventListener("click", (event) => {
      if (event.detail === 0) move(made, made.x, made.y); // Enter or the space bar: it is right where it stands
    });
    button.addEventListener("pointerdown", (event) => drag(event, made));
    return made;
  }

  // A pressed point follows; a point that is only tapped is chosen, unless another still waits for its place.
  function drag(event, taken) {
    event.preventDefault();
    const from = { x: event.clientX, y: event.clientY, px: taken.x, py: taken.y };
    const scale = wide / photo.getBoundingClientRect().width;
    let dragged = false;
    const go = (at) => {
      dragged ||= Math.hypot(at.clientX - from.x, at.clientY - from.y) > DRAGGED;
      if (!dragged) return;
      active = taken;
      move(taken, from.px + (at.clientX - from.x) * scale, from.py + (at.clientY - from.y) * scale);
    };
    const end = (at) => {
      for (const [name, does] of [["pointermove", go], ["pointerup", end], ["pointercancel", end]]) {
        taken.button.removeEventListener(name, does);
      }
      if (!dragged && at.type === "pointerup" && active && !active.placed) place(at);
      else choose(taken);
    };
    taken.button.setPointerCapture(event.pointerId);
    for (const [name, does] of [["pointermove", go], ["pointerup", end], ["pointercancel", end]]) {
      taken.button.addEventListener(name, does);
    }
  }

  function place(event) {
    const box = photo.getBoundingClientRect();
    const taken = active ?? next();
    if (!taken) return; // every point is marked and none is chosen: a stray tap moves nothing
    const fresh = !taken.placed;
    move(taken, ((event.clientX - box.left) / box.width) * wide, ((event.clientY - box.top) / box.height) * high);
    choose(fresh ? (next(taken) ?? taken) : taken);
  }

  function choose(taken, focus = true) {
    active = taken;
    if (focus) taken?.button.focus({ preventScroll: true });
    draw();
  }

  function move(taken, x, y) {
    taken.x = Math.round(Math.min(Math.max(x, 0), wide));
    taken.y = Math.round(Math.min(Math.max(y, 0), high));
    taken.placed = true;
    typed.delete(lines.find((each) => each.points.includes(taken))?.side);
    draw();
    tell();
  }

  function all() {
    return [...lines, ...(hangs ? [hung] : [])].flatMap((each) => each.points);
  }

  // The other end of the same line first.
  function next(after) {
    const own = [...lines, hung].find((each) => each.points.includes(after))?.points ?? [];
    return [...own, ...all()].find((each) => !each.placed) ?? null;
  }

  function show(on) {
    hangs = on;
    hang.setAttribute("aria-pressed", on);
    for (const each of hung.points) each.button.hidden = !on;
    for (const stroke of hung.strokes) stroke.classList.toggle("away", !on);
    if (!on && hung.points.includes(active)) active = null;
    choose(on && hung.points.some((each) => !each.placed) ? hung.points[0] : (active ?? next()), false);
    tell();
  }

  function recall(text, into) {
    const places = (text ?? "").split(" ").filter(Boolean).map((each) => each.split(",").map(Number));
    const points = into.flatMap((each) => each.points);
    if (places.length !== points.length) return false;
    places.forEach(([x, y], n) => Object.assign(points[n], { x, y, placed: true }));
    return true;
  }

  // Fields and hidden points of each foot whose four points, and the plumb line's if it hangs, are marked.
  function tell() {
    const level = hangs && placed(hung) ? tilt(hung) : 0;
    field("plumb").value = hangs && placed(hung) ? text(hung.points) : "";
    for (const side of sides.filter((each) => !typed.has(each))) {
      const own = lines.filter((each) => each.side === side);
      if (!own.every(placed) || (hangs && !placed(hung))) {
        fill(side, ["", ""]);
        continue;
      }
      fill(side, own.map((each) => degrees(OUTWARDS[side] * (tilt(each) - level))));
      field(`${side}.points`).value = text(own.flatMap((each) => each.points));
    }
  }

  function fill(side, [leg, heel]) {
    field(`${side}.leg_deg`).value = leg;
    field(`${side}.heel_deg`).value = heel;
    if (!leg) field(`${side}.points`).value = "";
  }

  function draw() {
    for (const each of [...lines, hung]) {
      const [upper, lower] = each.points;
      for (const stroke of each.strokes) {
        for (const [name, value] of [["x1", upper.x], ["y1", upper.y], ["x2", lower.x], ["y2", lower.y]]) {
          stroke.setAttribute(name, value);
        }
        stroke.classList.toggle("waits", !placed(each));
      }
      for (const one of each.points) {
        one.button.style.left = `${(one.x / wide) * 100}%`;
        one.button.style.top = `${(one.y / high) * 100}%`;
        one.button.classList.toggle("waits", !one.placed);
        one.button.classList.toggle("chosen", one === active);
        one.button.setAttribute("aria-label", one.placed ? one.name : `${one.name}, not marked yet`);
      }
    }
    const where = active?.placed ? `${active.x} across, ${active.y} down` : "not marked yet";
    says.textContent = active ? `${active.name}: ${where}` : "Every point is marked.";
    look();
  }

  function look() {
    loupe.classList.toggle("away", !active);
    if (!active) return;
    const { x, y } = active;
    const half = LOUPE / 2;
    loupe.setAttribute("viewBox", `${x - half} ${y - half} ${LOUPE} ${LOUPE}`);
    const across = `M${x - half} ${y}H${x - 3}M${x + 3} ${y}H${x + half}`;
    const down = `M${x} ${y - half}V${y - 3}M${x} ${y + 3}V${y + half}`;
    for (const each of cross) each.setAttribute("d", across + down);
  }
}

function tilt({ points: [upper, lower] }) {
  return (Math.atan2(lower.x - upper.x, lower.y - upper.y) * 180) / Math.PI;
}

function degrees(angle) {
  return angle.toFixed(1).replace("-0.0", "0.0");
}

function placed({ points }) {
  return points.every((each) => each.placed);
}

function text(points) {
  return points.map(({ x, y }) => `${x},${y}`).join(" ");
}

function cap(word) {
  return word[0].toUpperCase() + word.slice(1);
}

function drawing(box, name) {
  const made = document.createElementNS(SVG, "svg");
  made.setAttribute("viewBox", box);
  made.setAttribute("class", name);
  made.setAttribute("aria-hidden", "true");
  return made;
}

function shape(kind, into, name = "") {
  const made = document.createElementNS(SVG, kind);
  made.setAttribute("class", name);
  into.append(made);
  return made;
}
