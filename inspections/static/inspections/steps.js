/* The first and the last screen of a walk: before the start, and the review. Made from the draft; they call back. */

import { faultsOf, itemsOf, resultOf } from "./answers.js";
import { el, onDevice, tag, when, words } from "./build.js";

export const heading = (text) => el("h1", { tabindex: "-1", id: "step" }, text);

export function before(draft, go) {
  const form = draft.form;
  const report = form.last_report;
  return [
    heading(`${form.title} of ${draft.unit}`),
    draft.partial
      ? el(
          "p",
          { class: "problem" },
          "The limits, defects and last report of this unit are not on this device. The service checks them when it is sent.",
        )
      : null,
    el("p", {}, form.intro),
    listed(
      "Alarms that are open",
      form.open_alarms.map((alarm) => [tag(alarm.tier), ` ${alarm.meaning || alarm.code}`]),
    ),
    listed(
      "Open defects of items that are not on this sheet",
      form.carried_elsewhere.map((one) => [`${one.label}: ${one.note}`]),
    ),
    report
      ? el(
          "section",
          { class: "panel" },
          el("h2", {}, "The last report"),
          el("p", {}, `${words(report.kind)} of ${when(report.performed_at)}: `, tag(report.result)),
          el(
            "ul",
            {},
            report.observations.map((one) =>
              el(
                "li",
                {},
                tag(one.outcome),
                ` ${one.label}${one.note ? `: ${one.note}` : ""}${one.state ? ` (${one.state})` : ""}`,
              ),
            ),
          ),
          el(
            "label",
            { class: "choice tall" },
            el("input", {
              type: "checkbox",
              checked: draft.reviewed === report.id,
              onchange: (event) =>
                go.keep(() => {
                  draft.reviewed = event.target.checked ? report.id : null;
                }),
            }),
            "I have read the last report",
          ),
        )
      : null,
    el("p", { class: "small" }, form.caution),
    el(
      "div",
      { class: "acts" },
      el("button", { type: "button", class: "main", onclick: () => go.to(0) }, "Start with the first item"),
      Object.keys(draft.answers).length
        ? el("button", { type: "button", onclick: () => go.to("review") }, "To the review")
        : null,
    ),
  ];
}

function listed(title, rows) {
  return rows.length
    ? el(
        "section",
        { class: "panel" },
        el("h2", {}, title),
        el(
          "ul",
          {},
          rows.map((row) => el("li", {}, row)),
        ),
      )
    : null;
}

export function review(draft, go, member) {
  const items = itemsOf(draft.form);
  const faults = items.flatMap((one, index) =>
    faultsOf(one, draft.answers[one.key]).map((text) => ({ index, text: `${one.label}: ${text}` })),
  );
  const open = items.filter((one) => !(draft.answers[one.key] || {}).outcome);
  const report = draft.form.last_report;
  const unread = draft.form.kind === "pre_trip" && report && draft.reviewed !== report.id;
  const now = new Date();
  const local = (at) => new Date(at.getTime() - at.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
  const looked = el("input", { type: "datetime-local", value: local(now), max: local(now), required: true });
  return [
    heading(`Review: ${draft.form.title} of ${draft.unit}`),
    el(
      "p",
      {},
      "As it stands: ",
      tag(resultOf(draft.form, draft.answers)),
      open.length ? ` ${open.length} without an answer; they are filed as not seen.` : " Every item has an answer.",
    ),
    faults.length
      ? el(
          "div",
          { class: "problem" },
          el("p", {}, "Before you can sign:"),
          el(
            "ul",
            {},
            faults.map((fault) => el("li", {}, go.link(fault.index, fault.text))),
          ),
        )
      : null,
    el(
      "ol",
      { class: "review" },
      items.map((one, index) => {
        const answer = draft.answers[one.key] || {};
        return el(
          "li",
          {},
          go.link(index, one.label),
          " ",
          tag(answer.outcome || "not_seen"),
          answer.note ? ` ${answer.note}` : "",
          (answer.photos || []).length ? ` · ${answer.photos.length} photo${answer.photos.length > 1 ? "s" : ""}` : "",
        );
      }),
    ),
    el(
      "section",
      { class: "panel" },
      el("h2", {}, "Sign"),
      unread
        ? el("p", { class: "problem" }, "Read the last report first. ", go.link("before", "To the last report"))
        : null,
      el("label", {}, "When you looked, by this device's clock", looked),
      el(
        "label",
        {},
        "For trip (empty: for none)",
        el("input", {
          value: draft.trip || "",
          maxlength: "64",
          autocomplete: "off",
          onchange: (event) =>
            go.keep(() => {
              draft.trip = event.target.value.trim();
            }),
        }),
      ),
      el(
        "p",
        {},
        `You sign as ${member} that you looked at the unit and that what you wrote is what you saw. This device's clock says ${onDevice(now)}. What is signed is not edited any more.`,
      ),
      el(
        "div",
        { class: "acts" },
        el(
          "button",
          {
            type: "button",
            class: "main",
            disabled: Boolean(faults.length || unread),
            onclick: (event) => {
              event.target.disabled = true;
              go.sign(looked.value);
            },
          },
          "Sign",
        ),
        el("button", { type: "button", onclick: () => go.to(items.length - 1) }, "Back"),
        el("button", { type: "button", class: "grave", onclick: go.discard }, "Throw this draft away"),
      ),
    ),
  ];
}
