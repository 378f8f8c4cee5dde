// Acts on their way to the server. Each is on the disk before it is sent and goes under a key of its own, so that it is
// done once however often it is sent; in the order in which it was done, and only for the person who did it.

import * as store from "./store.js";

const AGAIN = 5000; // milliseconds between two tries while acts wait or the network is gone
const PATIENCE = 8000;

export class Outbox {
  #staff;
  #tell;
  #online = navigator.onLine;
  #since = "";
  #codes = new Set();
  #waits = 0;
  #busy = false;

  constructor(staff, tell) {
    this.#staff = staff;
    this.#tell = tell;
    addEventListener("online", () => void this.flush());
    addEventListener("offline", () => void this.reached(false));
    setInterval(() => void this.#again(), AGAIN);
  }

  /** Sends acts that belong together; answers what became of them: ok, kept for later, refused or signed off. */
  async send(acts, at, words) {
    const record = { key: newKey(), staff: this.#staff, acts, at, words };
    record.id = await store.add("waiting", record);
    this.#note(record, true);
    // What was done before goes first; if it can't go, this waits behind it.
    if (this.#waits > 1 && !(await this.flush(record.id))) return { state: "kept", sentence: words, id: record.id };
    const told = await this.#deliver(record);
    if (told.state === "refused") await this.#gone(record);
    if (told.state === "kept") return { ...told, sentence: words, id: record.id };
    return told;
  }

  /** One act that makes no sense later; it is tried now or not at all. */
  async now(act, at) {
    const told = await post({ key: newKey(), staff: this.#staff, acts: [act], at });
    if (told.state !== "kept") return told;
    this.reached(false);
    return { kind: "refused", sentence: "That needs the network. Try it again when it is back." };
  }

  /** Sends what waits, in its order, up to `before`; whether all of it has gone. What is refused comes back. */
  async flush(before = Infinity) {
    if (this.#busy) return false;
    this.#busy = true;
    try {
      for (const record of (await this.#mine("waiting")).filter((each) => each.id < before)) {
        const told = await this.#deliver(record);
        if (told.state === "kept" || told.state === "signed off") return false;
        if (told.state === "refused") await this.#back(record, told.sentence);
        for (const [code, why] of Object.entries(told.left ?? {})) await this.#leftOver(record, code, why);
      }
      return true;
    } finally {
      this.#busy = false;
      await this.#count();
      this.#tell.onChange();
    }
  }

  /** Takes an act that still waits out again; whether there was one. */
  async drop(code) {
    const mine = (await this.#mine("waiting")).reverse();
    const record = mine.find((each) => each.acts.length === 1 && each.acts[0].code === code);
    if (!record || this.#busy) return false;
    await this.#gone(record);
    return true;
  }

  get online() {
    return this.#online;
  }

  waitsFor = (code) => this.#codes.has(code);

  async codes() {
    await this.#count();
    return this.#codes;
  }

  async lists() {
    await this.#count();
    return { waiting: await this.#mine("waiting"), back: await this.#mine("back") };
  }

  /** Whether the server could be reached just now. */
  reached(online) {
    if (online === this.#online && (online || this.#since)) return void this.#draw();
    this.#online = online;
    this.#since = online ? "" : new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
    void this.#draw();
  }

  async #again() {
    if (this.#online && !this.#waits) return;
    if (!this.#online) {
      try {
        await fetch("/health/live", { cache: "no-store", signal: AbortSignal.timeout(PATIENCE) });
        this.reached(true);
      } catch {
        return;
      }
    }
    await this.flush();
  }

  async #deliver(record) {
    const told = await post(record);
    this.reached(told.state !== "kept");
    if (told.state === "done") await this.#gone(record);
    if (told.state === "signed off") await this.#tell.onSignedOff();
    if (told.state === "signed off") location.reload();
    return told;
  }

  async #gone(record) {
    await store.remove("waiting", record.id);
    this.#note(record, false);
  }

  async #back(record, sentence) {
    await store.sendBack(record, sentence);
    this.#note(record, false);
  }

  #leftOver = (record, code, sentence) =>
    store.add("back", { staff: record.staff, at: record.at, acts: [{ code }], words: record.words, sentence });

  #mine = async (name) => (await store.all(name)).filter((each) => each.staff === this.#staff);

  #note(record, waits) {
    this.#waits += waits ? 1 : -1;
    for (const { code } of record.acts) this.#codes[waits ? "add" : "delete"](code);
  }

  async #count() {
    const mine = await this.#mine("waiting");
    this.#waits = mine.length;
    this.#codes = new Set(mine.flatMap((each) => each.acts.map((act) => act.code)));
    await this.#draw();
  }

  async #draw() {
    const held = (await store.all("held")).length;
    this.#tell.onLine({ online: this.#online, waits: this.#waits, held, since: this.#since });
  }
}

/** A key that nobody can guess. (randomUUID is for pages over HTTPS alone.) */
function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

async function post({ key, staff, acts, at }) {
  const body = JSON.stringify({ key, staff, acts, seconds_ago: Math.max(0, (Date.now() - at) / 1000) });
  const headers = { "content-type": "application/json" };
  let reply;
  try {
    reply = await fetch("/bench/acts", { method: "POST", headers, body, signal: AbortSignal.timeout(PATIENCE) });
  } catch {
    return { state: "kept" };
  }
  if (reply.status === 401) return { state: "signed off" };
  if (reply.status >= 500) return { state: "kept" };
  const told = await reply.json();
  return reply.ok ? { ...told, state: "done", ok: told.kind !== "refused" } : { ...told, state: "refused", ok: false };
}
