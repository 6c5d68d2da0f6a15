/* Sends what was signed on this device. Every entry and every photo has a key of its own (Idempotency-Key), so sending
   twice files once. An entry leaves only when the service has said that it is filed; what it refuses stays and is shown. */

import { newKey } from "./build.js";
import { all, drop, put } from "./store.js";

const LOCK = "warmgate-outbox";
const changed = () => window.dispatchEvent(new Event("outbox"));

class Later extends Error {
  // not now: no connection, signed out, or the service is busy
  constructor(state, seconds = 0) {
    super(state);
    this.state = state;
    this.seconds = seconds;
  }
}
class Refused extends Error {
  constructor(problem) {
    super(problem.title || "refused");
    this.problem = problem;
  }
}

export async function entries() {
  return (await all("queue")).sort((one, other) => one.queued_at.localeCompare(other.queued_at));
}

/* Sends the entries of the signed-in member. Says how it ended: done, offline, signed-out, other, busy. */
export async function sendWaiting(where) {
  if (!navigator.locks) return run(where);
  return navigator.locks.request(LOCK, { ifAvailable: true }, (lock) => (lock ? run(where) : { state: "elsewhere" }));
}

async function run(where) {
  const own = (await entries()).filter((one) => one.member === where.member);
  const waiting = own.filter((one) => one.state === "waiting");
  if (!waiting.length && !own.some(owesWithdrawal)) return { state: "done" };
  try {
    const pass = await passFor(where);
    for (const entry of waiting) await sendOrKeep(entry, pass, where);
    for (const entry of (await entries()).filter((one) => one.member === where.member && owesWithdrawal(one))) {
      await withdraw(entry, pass, where);
    }
  } catch (stop) {
    if (!(stop instanceof Later)) throw stop;
    return { state: stop.state, seconds: stop.seconds };
  }
  return { state: "done" };
}

async function passFor(where) {
  const response = await ask(where.pass, { headers: { Accept: "application/json" } }, 15000);
  if (response.status === 401) throw new Later("signed-out");
  if (!response.ok) throw new Later("busy", waitOf(response));
  const pass = await response.json();
  if (pass.member !== where.member) throw new Later("other");
  return pass;
}

async function sendOrKeep(entry, pass, where) {
  try {
    await sendPhotos(entry, pass, where);
    const answer = await post(where.send, JSON.stringify(bodyWithPhotos(entry)), "application/json", entry.key, pass);
    const filed = {
      key: entry.key,
      member: entry.member,
      name: entry.name,
      unit: entry.unit,
      title: entry.title,
      queued_at: entry.queued_at,
      state: "filed",
      record: answer.id,
      result: answer.result,
      announced: entry.draft.announced,
    };
    await put("queue", filed);
  } catch (refusal) {
    if (!(refusal instanceof Refused)) throw refusal;
    await put("queue", { ...entry, state: "refused", problem: refusal.problem });
  }
  changed();
}

/* While somebody is at the unit it may be off: a draft without answers says so to the service, where it can be told. */
export async function announce(draft, where) {
  try {
    const body = {
      sheet: draft.form.sheet,
      sheet_version: draft.form.sheet_version,
      unit: draft.unit,
      trip: draft.trip || null,
    };
    return (await post(where.send, JSON.stringify(body), "application/json", draft.announce_key, await passFor(where)))
      .id;
  } catch (failure) {
    if (failure instanceof Later || failure instanceof Refused) return null; // the walk goes on all the same
    throw failure;
  }
}

const owesWithdrawal = (entry) => Boolean(entry.announced) && (entry.state === "filed" || entry.state === "withdraw");

async function withdraw(entry, pass, where) {
  const headers = { "X-CSRFToken": pass.token, "If-Match": "*", Accept: "application/json" };
  const response = await ask(`${where.send}${entry.announced}/`, { method: "DELETE", headers }, 30000);
  if (response.status === 401) throw new Later("signed-out");
  if (response.status === 429 || response.status >= 500) throw new Later("busy", waitOf(response));
  if (entry.state === "withdraw") await drop("queue", entry.key);
  else await put("queue", { ...entry, announced: null });
}

/* A draft is thrown away on the device: what was announced is taken back when the service can be told. */
export async function withdrawLater(draft) {
  if (!draft.announced) return;
  await put("queue", {
    key: newKey(),
    member: draft.member,
    name: "",
    unit: draft.unit,
    title: "",
    queued_at: new Date().toISOString(),
    state: "withdraw",
    announced: draft.announced,
  });
}

async function sendPhotos(entry, pass, where) {
  for (const photo of entry.photos) {
    if (photo.id) continue;
    const answer = await post(where.photo, photo.blob, photo.blob.type || "image/jpeg", photo.key, pass);
    photo.id = answer.id;
    await put("queue", entry); // a photo that has arrived is not sent again after a break
  }
}

function bodyWithPhotos(entry) {
  const observations = entry.body.observations.map((one) => {
    const photos = entry.photos.filter((photo) => photo.item === one.item).map((photo) => photo.id);
    return photos.length ? { ...one, photos } : one;
  });
  return { ...entry.body, observations };
}

async function post(address, body, type, key, pass) {
  const headers = {
    "Content-Type": type,
    "Idempotency-Key": key,
    "X-CSRFToken": pass.token,
    Accept: "application/json",
  };
  const response = await ask(address, { method: "POST", headers, body }, 120000);
  if (response.ok) return response.json();
  if (response.status === 401) throw new Later("signed-out");
  if (response.status === 429 || response.status >= 500) throw new Later("busy", waitOf(response));
  throw new Refused(await problemOf(response));
}

async function ask(address, options, timeout) {
  try {
    return await fetch(address, { ...options, cache: "no-store", signal: AbortSignal.timeout(timeout) });
  } catch {
    throw new Later("offline");
  }
}

const waitOf = (response) => Number(response.headers.get("Retry-After")) || 0;

async function problemOf(response) {
  try {
    return await response.json();
  } catch {
    return { title: "Refused", status: response.status, detail: `The service answered ${response.status}.` };
  }
}

/* Tried again as it is: the same key, so nothing doubles. */
export async function retry(entry) {
  await put("queue", { ...entry, state: "waiting", problem: null });
  changed();
}

export async function forget(entry) {
  if (entry.draft) await withdrawLater(entry.draft);
  if (owesWithdrawal(entry)) await put("queue", { ...entry, state: "withdraw" });
  else await drop("queue", entry.key);
  changed();
}
