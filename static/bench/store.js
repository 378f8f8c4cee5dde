// What a station keeps in the browser: acts that wait to be sent, acts that came back, the pairs it holds, the last
// scans. Nothing of a wearer but the chart label; what is not waiting or come back goes when somebody signs off.

const NAME = "pairtrail-bench";
const KEPT = ["waiting", "back"];
const GONE_AT_SIGN_OFF = ["held", "recent"];
let opened;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      for (const store of [...KEPT, "recent"]) asked.result.createObjectStore(store, { keyPath: "id", autoIncrement: true });
      asked.result.createObjectStore("held", { keyPath: "code" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

// Strict: an act is on the disk before anybody is told that it is noted, also when the battery dies right after.
async function change(stores, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(stores, "readwrite", { durability: "strict" });
    const result = work(...stores.map((store) => transaction.objectStore(store)));
    transaction.oncomplete = () => resolve(result?.result ?? result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

export const add = (store, value) => change([store], (objects) => objects.add(value));
export const remove = (store, key) => change([store], (objects) => void objects.delete(key));
export const put = (store, value) => change([store], (objects) => void objects.put(value));

export async function all(store) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const asked = database.transaction(store).objectStore(store).getAll();
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

/** The pairs held from now on, in place of those held before. */
export const hold = (pairs) =>
  change(["held"], (objects) => {
    objects.clear();
    for (const pair of pairs) objects.put(pair);
  });

/** An act that was refused later: it no longer waits, and says why to whoever did it. */
export const sendBack = (record, sentence) =>
  change(["waiting", "back"], (waiting, back) => {
    waiting.delete(record.id);
    back.add({ ...record, sentence });
  });

export const forget = () => change(GONE_AT_SIGN_OFF, (...stores) => void stores.forEach((each) => each.clear()));
