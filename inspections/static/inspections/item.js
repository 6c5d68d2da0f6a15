/* The screen of one item: cautions, what to look for, the answer, what was measured, the note, photos. */

import { faultsOf, itemsOf, OUTCOMES } from "./answers.js";
import { el, when, words } from "./build.js";
import { heading } from "./steps.js";

export function item(draft, index, go) {
  const items = itemsOf(draft.form);
  const one = items[index];
  const answer = draft.answers[one.key] || (draft.answers[one.key] = {});
  const answered = items.filter((other) => (draft.answers[other.key] || {}).outcome).length;
  const faults = el("div", { class: "faults", "aria-live": "polite" });
  const judge = () =>
    faults.replaceChildren(...faultsOf(one, answer).map((text) => el("p", { class: "problem" }, text)));
  const change = (act) => {
    go.keep(act);
    judge();
  };
  judge();
  return [
    el("p", { class: "small" }, `Item ${index + 1} of ${items.length} · ${one.group}`),
    el("progress", {
      max: items.length,
      value: answered,
      "aria-label": `${answered} of ${items.length} items answered`,
    }),
    heading(one.label),
    one.blocks ? el("p", { class: "small" }, "A defect here keeps the unit from leaving.") : null,
    one.groupCaution ? el("p", { class: "caution" }, one.groupCaution) : null,
    one.caution ? el("p", { class: "caution" }, one.caution) : null,
    one.look_for ? el("p", {}, one.look_for) : null,
    one.if_fitted ? el("p", { class: "small" }, "If fitted: where the part is not there, leave it not seen.") : null,
    one.carried.map((defect) =>
      el(
        "p",
        { class: "carried" },
        `Open defect since ${when(defect.opened_at)}: ${defect.note}${defect.state === "repaired" ? " (repair signed; look at it again)" : ""}`,
      ),
    ),
    el(
      "fieldset",
      { class: "outcomes big" },
      el("legend", {}, "What you saw"),
      OUTCOMES.map((outcome) =>
        el(
          "label",
          { class: `outcome outcome-${outcome}` },
          el("input", {
            type: "radio",
            name: "outcome",
            value: outcome,
            checked: answer.outcome === outcome,
            onchange: () =>
              change(() => {
                answer.outcome = outcome;
              }),
          }),
          words(outcome),
        ),
      ),
    ),
    one.measures.map((measure) => value(measure, answer, change)),
    faults,
    el(
      "label",
      {},
      "Note",
      el("textarea", {
        rows: "2",
        maxlength: "2000",
        value: answer.note || "",
        oninput: (event) =>
          change(() => {
            answer.note = event.target.value;
          }),
      }),
    ),
    photos(one, answer, go),
    el(
      "nav",
      { class: "acts walk-nav", "aria-label": "Items" },
      el("button", { type: "button", onclick: () => go.to(index ? index - 1 : "before") }, "Back"),
      el(
        "button",
        { type: "button", class: "main", onclick: () => go.to(index + 1 < items.length ? index + 1 : "review") },
        index + 1 < items.length ? "Next" : "To the review",
      ),
      el("button", { type: "button", class: "quiet", onclick: () => go.to("review") }, "All items"),
    ),
  ];
}

function value(measure, answer, change) {
  const values = answer.values || (answer.values = {});
  const rows = values[measure.name] || (values[measure.name] = []);
  const label = `${measure.label}${measure.required ? " (needed)" : ""}`;
  if (measure.choices.length) {
    const chosen = rows[0] ? rows[0].text : "";
    return el(
      "label",
      {},
      label,
      el(
        "select",
        {
          onchange: (event) =>
            change(() => {
              rows[0] = { text: event.target.value, unit: "" };
            }),
        },
        el("option", { value: "" }, "–"),
        measure.choices.map((choice) => el("option", { value: choice, selected: choice === chosen }, choice)),
      ),
    );
  }
  const unit = (rows[0] && rows[0].unit) || measure.units[0].send;
  const places = measure.many ? Math.max(measure.count, rows.length) : 1;
  const row = (place) => rows[place] || (rows[place] = { text: "", unit });
  const field = (place) =>
    el("input", {
      inputmode: "decimal",
      autocomplete: "off",
      value: row(place).text,
      "aria-label": places > 1 ? `${label}, place ${place + 1}` : label,
      oninput: (event) =>
        change(() => {
          row(place).text = event.target.value;
        }),
    });
  const fields = Array.from({ length: places }, (_, place) => field(place));
  const units =
    measure.units.length > 1
      ? el(
          "select",
          {
            "aria-label": `Unit of ${measure.label}`,
            onchange: (event) =>
              change(() =>
                rows.forEach((one) => {
                  one.unit = event.target.value;
                }),
              ),
          },
          measure.units.map((one) => el("option", { value: one.send, selected: one.send === unit }, one.show)),
        )
      : el("span", { class: "unit" }, measure.units[0].show);
  return el(
    "div",
    { class: "value" },
    el(
      "p",
      { class: "value-name" },
      label,
      measure.limits ? el("span", { class: "small" }, ` ${measure.limits}`) : null,
    ),
    el("div", { class: "value-in" }, fields, units),
  );
}

function photos(one, answer, go) {
  const list = answer.photos || (answer.photos = []);
  const shown = el(
    "div",
    { class: "photos" },
    list.map((photo, place) =>
      el(
        "figure",
        {},
        el("img", { src: go.picture(photo), alt: `Photo ${place + 1} of ${one.label}` }),
        el(
          "button",
          { type: "button", class: "quiet", onclick: () => go.again(() => list.splice(place, 1)) },
          `Remove photo ${place + 1}`,
        ),
      ),
    ),
  );
  const input = el("input", {
    type: "file",
    accept: "image/*",
    capture: "environment",
    onchange: (event) => go.photo(list, event.target.files),
  });
  return el(
    "div",
    {},
    shown,
    list.length < 10 ? el("label", { class: "button photo" }, "Take a photo", input) : null,
    el("p", { class: "problem", id: "photo-problem", role: "alert", hidden: true }),
  );
}
