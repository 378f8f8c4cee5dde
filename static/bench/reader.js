// What a scanner sent, read as app/trade/scans.py reads it: a test holds the two to the same answers. Here too, because
// a bench goes on without the network. Words, cards and keyboards come with the page.

const ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
const SYMBOLOGY = /^\s*\][A-Za-z][0-9A-Za-z]/;
const CODE = "(\\d\\d)-(\\d{5,7})-([0-9A-Z])";
const FORMS = [
  ["ticket", new RegExp(`^${CODE}(?:/([1-9]\\d{0,3}))?$`, "i")],
  ["parcel", /^PARCEL\/([1-9]\d{0,8})$/i],
  ["lot", /^LOT\/((?!0{6})\d{6}|[1-9]\d{6,8})$/i],
  ["badge", /^BADGE\/([0-9A-Z]+)[0-9A-Z]$/i],
  ["card", /^CARD\/([0-9A-Z]+)[0-9A-Z]$/i],
];
const TYPED = /^[\p{L}\p{N}_]{2}(?:\s*[^\p{L}\p{N}_]\s*[\p{L}\p{N}_]{5,7}\s*[^\p{L}\p{N}_]\s*|[\p{L}\p{N}_]{5,7})[\p{L}\p{N}_]$/u;
const JOINED = /^[^\p{L}\p{N}]*([0-9OIL]{2})[^\p{L}\p{N}]*([0-9OIL]{5,7})[^\p{L}\p{N}]*([0-9A-Z])[^\p{L}\p{N}]*$/u;
const AS_DIGIT = { O: "0", I: "1", L: "1" };

/** Nothing a bench can act on: `kind` is unknown (no form of ours) or mistyped (its check character does not fit). */
export class BadScan extends Error {
  constructor(kind, text) {
    const shown = text.trim().replace(/\s+/g, " ").slice(0, 40);
    super(
      kind === "mistyped"
        ? `'${shown}' was read or typed wrongly: its check character does not fit. Scan it again.`
        : `'${shown}' is nothing that is printed for a scanner here. Scan it again, or type a pair's code.`,
    );
    this.kind = kind;
  }
}

/** ISO 7064 MOD 37,36 over letters and digits, the check character last. */
function fits(text) {
  let check = 18;
  for (const each of text) check = ((((check || 36) * 2) % 37) + ALPHABET.indexOf(each)) % 36;
  return check === 1;
}

function pairCode(year, serial, check, text) {
  if (!Number(serial) || (serial.length > 5 && serial.startsWith("0"))) throw new BadScan("unknown", text);
  if (!fits(year + serial + check)) throw new BadScan("mistyped", text);
  return `${year}-${serial}-${check}`;
}

function printed(text) {
  for (const [kind, form] of FORMS) {
    const found = form.exec(text);
    if (!found) continue;
    const whole = text.toUpperCase();
    if (kind === "ticket") {
      const code = pairCode(found[1], found[2], found[3].toUpperCase(), text);
      return { kind, code, ticket: found[4] ? Number(found[4]) : null, text: whole };
    }
    if (kind === "parcel" || kind === "lot") return { kind, number: Number(found[1]), text: whole };
    if (!fits(whole.replace("/", ""))) throw new BadScan("mistyped", text);
    return { kind, text: whole };
  }
  throw new BadScan("unknown", text);
}

function typed(text) {
  const plain = text.trim();
  try {
    return printed(plain);
  } catch (refusal) {
    if (refusal.kind !== "unknown" || !TYPED.test(plain)) throw refusal;
  }
  const joined = plain.normalize("NFKC").toUpperCase().replace(/[\s\p{Cf}]/gu, "");
  const form = JOINED.exec(joined);
  if (!form) throw new BadScan("unknown", text);
  const digits = (part) => part.replace(/[OIL]/g, (each) => AS_DIGIT[each]);
  const check = form[3] === "O" ? "0" : form[3] === "I" ? "1" : form[3];
  const code = pairCode(digits(form[1]), digits(form[2]), check, text);
  return { kind: "ticket", code, ticket: null, text: code };
}

/** A reader for keyboards as app/trade/keyboards.py lists them: the keys of a US one, and what others type with them. */
export function reader({ us, layouts }) {
  const keys = Object.values(layouts).map((rows) => {
    const meant = new Map();
    for (const row of rows) [...row].forEach((each, at) => meant.set(each.toLowerCase(), us[at].toUpperCase()));
    return meant;
  });
  const readings = (text) => {
    const characters = [...text.trim().toLowerCase()];
    const others = keys
      .filter((meant) => characters.length && characters.every((each) => meant.has(each)))
      .map((meant) => characters.map((each) => meant.get(each)).join(""));
    return [text, ...others].map((each) => each.replace(SYMBOLOGY, ""));
  };
  return function read(text) {
    const [first, ...others] = readings(text);
    const refusals = [];
    const meanings = new Map();
    try {
      return typed(first);
    } catch (refusal) {
      refusals.push(refusal);
    }
    for (const each of others) {
      try {
        const scan = printed(each);
        meanings.set(scan.text, scan);
      } catch (refusal) {
        refusals.push(refusal);
      }
    }
    if (meanings.size === 1) return meanings.values().next().value;
    throw refusals.find((each) => each.kind === "mistyped") ?? refusals[0];
  };
}
