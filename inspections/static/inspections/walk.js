/* Walks one sheet of one unit, item by item, on this device. Every answer is kept at once; signing queues it. */

import { bodyOf, itemsOf } from "./answers.js";
import { chooser, register } from "./choose.js";
import { el, newKey } from "./build.js";
import { smaller } from "./picture.js";
import { item } from "./item.js";
import * as steps from "./steps.js";
import { document_, draftId, drop, get, moveToQueue, put } from "./store.js";
import { announce, withdrawLater } from "./outbox.js";
import { send, watch, where } from "./waiting.js";

const place = document.getElementById("walk");
const member = Number(place.dataset.member);
const asked = () => new URLSearchParams(location.hash.slice(1));
const urls = new Map(); // object URLs of photos on the screen
let draft = null;
let saving = null; // the write in progress; what changes meanwhile is written once more after it
let dirty = false;
let telling = false;

const go = {
  to(at) {
    const hash = asked();
    hash.set("at", String(at));
    location.hash = hash.toString();
  },
  link: (at, text) =>
    el("a", { href: `#${new URLSearchParams({ unit: draft.unit, sheet: draft.sheet, at: String(at) })}` }, text),
  keep(act) {
    act();
    draft.changed_at = new Date().toISOString();
    save();
    tell(draft);
  },
  again(act) {
    go.keep(act);
    show();
  },
  picture(photo) {
    if (!urls.has(photo.key)) urls.set(photo.key, URL.createObjectURL(photo.blob));
    return urls.get(photo.key);
  },
  async photo(list, files) {
    try {
      const blob = await smaller(files[0]);
      go.again(() => list.push({ key: newKey(), blob }));
    } catch (failure) {
      const said = document.getElementById("photo-problem");
      said.textContent = failure.message;
      said.hidden = false;
    }
  },
  async discard() {
    if (!confirm("Throw this draft away? It is on no other device.")) return;
    await saving;
    await withdrawLater(draft);
    await drop("drafts", draft.id);
    location.assign(place.dataset.list);
  },
  async sign(looked) {
    await saving;
    const now = new Date();
    // The field shows minutes: unless the person moved it, the moment of signing is meant.
    const chosen = new Date(looked);
    const performed = now - chosen < 120000 && now >= chosen ? now : chosen;
    const body = bodyOf(draft, { performedAt: performed.toISOString(), deviceAt: now.toISOString() });
    const photos = Object.entries(draft.answers)
      .filter(([, answer]) => answer.outcome)
      .flatMap(([item, answer]) => (answer.photos || []).map((photo) => ({ ...photo, item })));
    const entry = {
      key: newKey(),
      member,
      name: place.dataset.name,
      unit: draft.unit,
      title: draft.form.title,
      body,
      photos,
      draft,
      state: "waiting",
      queued_at: now.toISOString(),
    };
    try {
      await moveToQueue(draft, entry);
    } catch (failure) {
      show();
      cannotKeep(failure);
      return;
    }
    navigator.storage?.persist?.();
    draft = null;
    location.hash = "signed";
  },
};

function save() {
  dirty = true;
  saving ??= write();
  return saving;
}

async function write() {
  try {
    while (dirty && draft) {
      dirty = false;
      await put("drafts", draft);
    }
  } catch (failure) {
    cannotKeep(failure);
  } finally {
    saving = null;
  }
}

/* Says once that somebody is at the unit; without a connection it is tried again with a later answer. */
async function tell(begun) {
  if (begun.announced || telling || !Object.keys(begun.answers).length) return;
  telling = true;
  const id = await announce(begun, where);
  telling = false;
  if (!id) return;
  begun.announced = id;
  if (draft === begun) save();
  else await withdrawLater(begun); // signed or left meanwhile
}

function cannotKeep(failure) {
  place.prepend(
    el(
      "p",
      { class: "problem", role: "alert" },
      `This device cannot keep your answers (${failure.name}). Do not close this page.`,
    ),
  );
}

async function open() {
  const hash = asked();
  const unit = hash.get("unit");
  const sheet = hash.get("sheet") || "pre-trip";
  if (location.hash === "#signed") return signed();
  if (!unit) return chooser(place, member);
  const id = draftId(member, unit, sheet);
  if (!draft || draft.id !== id) {
    draft = (await get("drafts", id)) || (await begin(id, unit, sheet, hash.get("trip")));
    if (!draft) return missing(unit);
  }
  show();
}

async function begin(id, unit, sheet, trip) {
  const address = `${place.dataset.form}?${new URLSearchParams({ unit, sheet })}`;
  const { body, fresh } = await document_(member, `form|${unit}|${sheet}`, address);
  const form = body || (fresh ? null : await blank(unit, sheet));
  return (
    form && {
      id,
      member,
      unit,
      sheet,
      trip: trip || "",
      form,
      partial: !body,
      announce_key: newKey(),
      answers: {},
      reviewed: null,
      changed_at: new Date().toISOString(),
    }
  );
}

/* No connection, and this unit's sheet was not taken along: the sheet as it is for any unit. */
async function blank(unit, sheet) {
  const known = await get("kept", `${member}|known`);
  const form = known && known.body.sheets.find((one) => one.sheet === sheet);
  return form ? { ...form, unit } : null;
}

function missing(unit) {
  place.replaceChildren(
    el("h1", {}, "Inspection"),
    el(
      "p",
      { class: "problem" },
      `The sheet of ${unit} is not on this device, and the service does not answer or does not know this unit.`,
    ),
    el("p", {}, el("a", { href: "#" }, "Choose another")),
  );
}

function show() {
  const at = asked().get("at") || "before";
  const index = Number(at);
  const items = itemsOf(draft.form);
  const screen =
    at === "review"
      ? steps.review(draft, go, place.dataset.name)
      : Number.isInteger(index) && index >= 0 && index < items.length
        ? item(draft, index, go)
        : steps.before(draft, go);
  place.replaceChildren(...screen.flat(2).filter(Boolean));
  document.title = `${draft.form.title} of ${draft.unit}`;
  document.getElementById("step").focus({ preventScroll: true });
  window.scrollTo(0, 0);
}

async function signed() {
  place.replaceChildren(
    el("h1", { tabindex: "-1", id: "step" }, "Signed"),
    el("p", {}, "It is kept on this device until the service has said that it is filed."),
    el("p", {}, el("a", { class: "button", href: place.dataset.list }, "To the inspections")),
  );
  document.getElementById("step").focus({ preventScroll: true });
  await send();
}

window.addEventListener("hashchange", open);
register();
watch();
open();
