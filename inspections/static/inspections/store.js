/* What this device keeps: drafts, what is signed and waits to be sent, and the sheets taken along. IndexedDB.

   Everything carries the member it belongs to: on a shared device nobody sends what another person signed. */

const NAME = "warmgate-inspections";
const STORES = { drafts: "id", queue: "key", kept: "id" };

let opened = null;

function database() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      for (const [store, keyPath] of Object.entries(STORES)) request.result.createObjectStore(store, { keyPath });
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  return opened;
}

async function run(store, mode, act) {
  const transaction = (await database()).transaction(store, mode, { durability: "strict" });
  const request = act(transaction.objectStore(store));
  return new Promise((resolve, reject) => {
    // A write counts once the transaction is complete, not when the request was accepted.
    transaction.oncomplete = () => resolve(request.result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

export const put = (store, row) => run(store, "readwrite", (rows) => rows.put(row));
export const drop = (store, key) => run(store, "readwrite", (rows) => rows.delete(key));
export const get = (store, key) => run(store, "readonly", (rows) => rows.get(key));
export const all = (store) => run(store, "readonly", (rows) => rows.getAll());

export const draftId = (member, unit, sheet) => `${member}|${unit}|${sheet}`;

/* Signed: the draft leaves and the entry arrives in one transaction, so that a crash between them loses nothing. */
export async function moveToQueue(draft, entry) {
  await both((drafts, queue) => {
    queue.put(entry);
    drafts.delete(draft.id);
  });
}

/* Refused and to be corrected: back to a draft, whole. */
export async function moveToDrafts(entry) {
  await both((drafts, queue) => {
    drafts.put(entry.draft);
    queue.delete(entry.key);
  });
}

async function both(act) {
  const transaction = (await database()).transaction(["drafts", "queue"], "readwrite", { durability: "strict" });
  act(transaction.objectStore("drafts"), transaction.objectStore("queue"));
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

/* A document of the service, fresh if it answers, else as it was kept. `fresh` says which. */
export async function document_(member, id, address) {
  const key = `${member}|${id}`;
  try {
    const response = await fetch(address, {
      headers: { Accept: "application/json" },
      cache: "no-store",
      signal: AbortSignal.timeout(8000),
    });
    if (response.ok) {
      const body = await response.json();
      await put("kept", { id: key, body, at: new Date().toISOString() });
      return { body, fresh: true };
    }
    if (response.status === 404) return { body: null, fresh: true };
  } catch {
    /* no connection: what is kept has to do */
  }
  const kept = await get("kept", key);
  return { body: kept ? kept.body : null, fresh: false, at: kept ? kept.at : null };
}

/* Another person's sheets and choices do not stay when somebody else has signed in. */
export async function forgetOthers(member) {
  for (const row of await all("kept")) if (!row.id.startsWith(`${member}|`)) await drop("kept", row.id);
}
