/* The box on top of the inspection pages that says what waits on this device, what was filed, what was refused. */

import { el, newKey, tag, when } from "./build.js";
import { entries, forget, retry, sendWaiting } from "./outbox.js";
import { moveToDrafts } from "./store.js";

const PAUSES_S = [5, 15, 60, 300];
const SAID = {
  offline: "No connection. It is sent as soon as there is one.",
  "signed-out": "You are signed out. Sign in again; what waits here is kept.",
  other: "Somebody else is signed in. It is sent when the signer signs in.",
  busy: "The service cannot take it at this moment. It is tried again.",
};

let box = null;
export let where = null;
let tries = 0;
let timer = 0;
let state = "done";

export function watch() {
  box = document.getElementById("waiting");
  if (!box) return;
  where = {
    member: Number(box.dataset.member),
    pass: box.dataset.pass,
    send: box.dataset.send,
    photo: box.dataset.photo,
  };
  window.addEventListener("outbox", show);
  window.addEventListener("online", () => send());
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  send();
}

export async function send() {
  clearTimeout(timer);
  const end = await sendWaiting(where);
  state = end.state;
  await show();
  tries = state === "done" ? 0 : tries + 1;
  if (state === "offline" || state === "busy" || state === "elsewhere") {
    const pause = Math.max(end.seconds || 0, PAUSES_S[Math.min(tries, PAUSES_S.length) - 1]);
    timer = setTimeout(send, pause * 1000);
  }
}

async function show() {
  const rows = await entries();
  const own = rows.filter((row) => row.member === where.member);
  const waiting = own.filter((row) => row.state === "waiting");
  const refused = own.filter((row) => row.state === "refused");
  const filed = own.filter((row) => row.state === "filed");
  const others = rows.filter(
    (row) => row.member !== where.member && (row.state === "waiting" || row.state === "refused"),
  );
  localStorage.setItem("waiting", String(waiting.length + refused.length));
  box.replaceChildren(
    ...(waiting.length ? [waitingLine(waiting)] : []),
    ...others.map((row) =>
      el(
        "p",
        {},
        `An inspection of ${row.unit} signed by ${row.name} waits here. It is sent when ${row.name} signs in.`,
      ),
    ),
    ...refused.map(refusedBox),
    ...filed.map(filedLine),
  );
  box.hidden = !box.childElementCount;
}

function waitingLine(waiting) {
  const names = waiting.map((row) => `${row.title} of ${row.unit}`).join(", ");
  return el(
    "div",
    { class: "waits" },
    el(
      "p",
      { role: "status" },
      el("strong", {}, `${waiting.length} waiting to be sent`),
      `: ${names}. ${SAID[state] || ""}`,
    ),
    state === "signed-out"
      ? el(
          "a",
          { class: "button", href: `${box.dataset.signIn}?next=${encodeURIComponent(location.pathname)}` },
          "Sign in",
        )
      : null,
    el("button", { type: "button", onclick: send }, "Send now"),
  );
}

function refusedBox(row) {
  const errors = (row.problem.errors || []).map((one) => el("li", {}, `${placeOf(row, one.pointer)}${one.detail}`));
  return el(
    "div",
    { class: "problem", role: "alert" },
    el(
      "p",
      {},
      el("strong", {}, `${row.title} of ${row.unit} was refused: ${row.problem.title || ""}.`),
      ` ${row.problem.detail || ""} It is kept on this device.`,
    ),
    errors.length ? el("ul", {}, errors) : null,
    el(
      "div",
      { class: "acts" },
      el("button", { type: "button", class: "main", onclick: () => reopen(row) }, "Open and correct"),
      el(
        "button",
        {
          type: "button",
          onclick: async () => {
            await retry(row);
            send();
          },
        },
        "Send again",
      ),
      el(
        "button",
        {
          type: "button",
          class: "grave",
          onclick: () => confirm("Throw this inspection away? It is on no other device.") && forget(row),
        },
        "Throw away",
      ),
    ),
  );
}

function placeOf(row, pointer) {
  const found = /^\/observations\/(\d+)/.exec(pointer || "");
  const seen = found && row.body.observations[Number(found[1])];
  const item = seen && row.draft.form.groups.flatMap((group) => group.items).find((one) => one.key === seen.item);
  return item ? `${item.label}: ` : "";
}

async function reopen(row) {
  // New keys: the corrected inspection is another request. A report that has to be read is taken from the refusal.
  const draft = row.draft;
  for (const answer of Object.values(draft.answers)) for (const photo of answer.photos || []) photo.key = newKey();
  if (row.problem.last_report) {
    draft.form.last_report = row.problem.last_report;
    draft.reviewed = null;
  }
  await moveToDrafts({ ...row, draft });
  window.dispatchEvent(new Event("outbox"));
  const hash = new URLSearchParams({
    unit: draft.unit,
    sheet: draft.sheet,
    at: row.problem.last_report ? "before" : "review",
  });
  const walk = new URL("walk/", new URL(box.dataset.record, location.href));
  location.assign(`${walk.pathname}#${hash}`);
  if (location.pathname === walk.pathname) location.reload();
}

function filedLine(row) {
  return el(
    "p",
    { class: "filed" },
    el("span", { role: "status" }, `Filed: ${row.title} of ${row.unit}, signed ${when(row.queued_at)} `),
    tag(row.result),
    " ",
    el("a", { href: `${box.dataset.record}${row.record}/` }, "See it"),
    " ",
    el("button", { type: "button", class: "quiet", onclick: () => forget(row) }, "Hide"),
  );
}
