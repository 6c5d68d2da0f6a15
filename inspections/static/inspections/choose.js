/* Choosing a unit, a trip and a sheet; what is taken along for places without a connection; drafts of this device. */

import { el, when } from "./build.js";
import { withdrawLater } from "./outbox.js";
import { all, document_, drop, forgetOthers } from "./store.js";
import { watch } from "./waiting.js";

/* Has the worker keep the page that walks a sheet, as whoever is signed in sees it. The worker says whether it did. */
export async function register() {
  if (!("serviceWorker" in navigator)) return false;
  navigator.serviceWorker.register("/inspections/worker.js", { scope: "/inspections/" });
  const { active } = await navigator.serviceWorker.ready;
  const { port1, port2 } = new MessageChannel();
  return new Promise((said) => {
    port1.onmessage = (event) => said(event.data);
    active.postMessage("keep", [port2]);
  });
}

const walkTo = (walk, choice) => location.assign(`${walk}#${new URLSearchParams(choice)}`);

/* On the list page: a button for the walk, the drafts, and the sheets of the next departures for later. */
async function enhance(form, walkKept) {
  const box = document.getElementById("waiting");
  const member = Number(box.dataset.member);
  const whole = form.querySelector("button[name=as]");
  whole.before(
    el(
      "button",
      {
        type: "button",
        class: "main",
        onclick: () => {
          if (!form.reportValidity()) return;
          const data = new FormData(form);
          walkTo(form.dataset.walk, {
            unit: data.get("unit").trim(),
            sheet: data.get("sheet"),
            trip: data.get("trip"),
          });
        },
      },
      "Item by item",
    ),
  );
  whole.classList.remove("main");
  form.elements.trip.addEventListener("change", (event) => {
    const unit = event.target.selectedOptions[0].dataset.unit;
    if (unit) form.elements.unit.value = unit;
  });
  await showDrafts(document.getElementById("drafts"), member, form.dataset.walk);
  await forgetOthers(member);
  await takeAlong(member, form, walkKept);
}

async function takeAlong(member, form, walkKept) {
  const { body, fresh } = await document_(member, "known", form.dataset.known);
  if (!body || !fresh) return;
  let kept = 0;
  for (const unit of body.keep) {
    const address = `${form.dataset.form}?${new URLSearchParams({ unit, sheet: "pre-trip" })}`;
    if ((await document_(member, `form|${unit}|pre-trip`, address)).fresh) kept += 1;
  }
  if (kept && (await walkKept))
    document.getElementById("kept").textContent =
      `On this device for places without a connection: the pre-trip sheets of ${kept} unit${kept > 1 ? "s" : ""} that load soon.`;
}

async function showDrafts(place, member, walk) {
  const drafts = (await all("drafts")).filter((draft) => draft.member === member);
  place.replaceChildren(
    ...(drafts.length
      ? [
          el("h3", {}, "Begun on this device"),
          el(
            "ul",
            { class: "plain" },
            drafts.map((draft) =>
              el(
                "li",
                {},
                el(
                  "a",
                  { class: "button", href: `${walk}#${new URLSearchParams({ unit: draft.unit, sheet: draft.sheet })}` },
                  `${draft.form.title} of ${draft.unit}`,
                ),
                el("span", { class: "small" }, ` last changed ${when(draft.changed_at)} `),
                el(
                  "button",
                  {
                    type: "button",
                    class: "grave",
                    onclick: async () => {
                      if (!confirm("Throw this draft away? It is on no other device.")) return;
                      await withdrawLater(draft);
                      await drop("drafts", draft.id);
                      await showDrafts(place, member, walk);
                    },
                  },
                  `Throw away ${draft.unit}`,
                ),
              ),
            ),
          ),
        ]
      : []),
  );
}

/* In the shell, with or without a connection: from what this device has kept. */
export async function chooser(place, member) {
  const known = (await all("kept")).find((row) => row.id === `${member}|known`);
  const forms = (await all("kept")).filter((row) => row.id.startsWith(`${member}|form|`)).map((row) => row.body);
  const drafts = el("div");
  place.replaceChildren(
    el("h1", {}, "Inspection"),
    ...(navigator.onLine ? [] : [el("p", { class: "problem" }, "No connection. The sheets below are on this device.")]),
    forms.length
      ? el(
          "ul",
          { class: "plain" },
          forms.map((form) =>
            el(
              "li",
              {},
              el(
                "a",
                {
                  class: "button",
                  href: `#${new URLSearchParams({ unit: form.unit, sheet: form.sheet, trip: tripOf(known, form.unit) })}`,
                },
                `${form.title} of ${form.unit}`,
              ),
            ),
          ),
        )
      : el("p", {}, "No sheet is on this device."),
    known ? otherUnit(known.body) : "",
    drafts,
    el("p", {}, el("a", { href: place.dataset.list }, "All inspections")),
  );
  await showDrafts(drafts, member, location.pathname);
}

/* Any unit of the fleet: its own limits and defects may be missing then, and the service checks them later. */
function otherUnit(known) {
  const unit = el("input", { list: "known-units", required: true, maxlength: "40", autocomplete: "off" });
  const sheet = el(
    "select",
    {},
    known.sheets.map((one) => el("option", { value: one.sheet, selected: one.sheet === "pre-trip" }, one.title)),
  );
  return el(
    "form",
    {
      class: "row",
      onsubmit: (event) => {
        event.preventDefault();
        location.hash = new URLSearchParams({ unit: unit.value.trim(), sheet: sheet.value }).toString();
      },
    },
    el("label", {}, "Unit", unit),
    el("label", {}, "Sheet", sheet),
    el("button", {}, "Begin"),
    el(
      "datalist",
      { id: "known-units" },
      known.units.map((number) => el("option", { value: number })),
    ),
  );
}

function tripOf(known, unit) {
  const trip = known && known.body.trips.find((one) => one.unit === unit && one.soon);
  return trip ? trip.reference : "";
}

const form = document.getElementById("begin");
if (form) {
  const walkKept = register();
  watch();
  enhance(form, walkKept);
}
