/* The screens of one walk: before the start, one item, the review. Each is made from the draft and calls back. */

import { faultsOf, itemsOf, OUTCOMES, resultOf } from "./answers.js";
import { el, onDevice, tag, when, words } from "./build.js";

const heading = (text) => el("h1", { tabindex: "-1", id: "step" }, text);

export function before(draft, go) {
  const form = draft.form;
  const report = form.last_report;
  return [
    heading(`${form.title} of ${draft.unit}`),
    draft.partial ? el("p", { class: "problem" }, "The limits, defects and last report of this unit are not on this device. The service checks them when it is sent.") : null,
    el("p", {}, form.intro),
    listed("Alarms that are open", form.open_alarms.map((alarm) => [tag(alarm.tier), ` ${alarm.meaning || alarm.code}`])),
    listed("Open defects of items that are not on this sheet", form.carried_elsewhere.map((one) => [`${one.label}: ${one.note}`])),
    report ? el("section", { class: "panel" }, el("h2", {}, "The last report"),
      el("p", {}, `${words(report.kind)} of ${when(report.performed_at)}: `, tag(report.result)),
      el("ul", {}, report.observations.map((one) => el("li", {}, tag(one.outcome), ` ${one.label}${one.note ? `: ${one.note}` : ""}${one.state ? ` (${one.state})` : ""}`))),
      el("label", { class: "choice tall" }, el("input", { type: "checkbox", checked: draft.reviewed === report.id,
        onchange: (event) => go.keep(() => { draft.reviewed = event.target.checked ? report.id : null; }) }), "I have read the last report")) : null,
    el("p", { class: "small" }, form.caution),
    el("div", { class: "acts" }, el("button", { type: "button", class: "main", onclick: () => go.to(0) }, "Start with the first item"),
      Object.keys(draft.answers).length ? el("button", { type: "button", onclick: () => go.to("review") }, "To the review") : null),
  ];
}

function listed(title, rows) {
  return rows.length ? el("section", { class: "panel" }, el("h2", {}, title), el("ul", {}, rows.map((row) => el("li", {}, row)))) : null;
}

export function item(draft, index, go) {
  const items = itemsOf(draft.form);
  const one = items[index];
  const answer = draft.answers[one.key] || (draft.answers[one.key] = {});
  const answered = items.filter((other) => (draft.answers[other.key] || {}).outcome).length;
  const faults = el("div", { class: "faults", "aria-live": "polite" });
  const judge = () => faults.replaceChildren(...faultsOf(one, answer).map((text) => el("p", { class: "problem" }, text)));
  const change = (act) => { go.keep(act); judge(); };
  judge();
  return [
    el("p", { class: "small" }, `Item ${index + 1} of ${items.length} · ${one.group}`),
    el("progress", { max: items.length, value: answered, "aria-label": `${answered} of ${items.length} items answered` }),
    heading(one.label),
    one.blocks ? el("p", { class: "small" }, "A defect here keeps the unit from leaving.") : null,
    one.groupCaution ? el("p", { class: "caution" }, one.groupCaution) : null,
    one.caution ? el("p", { class: "caution" }, one.caution) : null,
    one.look_for ? el("p", {}, one.look_for) : null,
    one.if_fitted ? el("p", { class: "small" }, "If fitted: where the part is not there, leave it not seen.") : null,
    one.carried.map((defect) => el("p", { class: "carried" }, `Open defect since ${when(defect.opened_at)}: ${defect.note}${defect.state === "repaired" ? " (repair signed; look at it again)" : ""}`)),
    el("fieldset", { class: "outcomes big" }, el("legend", {}, "What you saw"), OUTCOMES.map((outcome) =>
      el("label", { class: `outcome outcome-${outcome}` }, el("input", { type: "radio", name: "outcome", value: outcome, checked: answer.outcome === outcome,
        onchange: () => change(() => { answer.outcome = outcome; }) }), words(outcome)))),
    one.measures.map((measure) => value(measure, answer, change)),
    faults,
    el("label", {}, "Note", el("textarea", { rows: "2", maxlength: "2000", value: answer.note || "",
      oninput: (event) => change(() => { answer.note = event.target.value; }) })),
    photos(one, answer, go),
    el("nav", { class: "acts walk-nav", "aria-label": "Items" },
      el("button", { type: "button", onclick: () => go.to(index ? index - 1 : "before") }, "Back"),
      el("button", { type: "button", class: "main", onclick: () => go.to(index + 1 < items.length ? index + 1 : "review") }, index + 1 < items.length ? "Next" : "To the review"),
      el("button", { type: "button", class: "quiet", onclick: () => go.to("review") }, "All items")),
  ];
}

function value(measure, answer, change) {
  const values = answer.values || (answer.values = {});
  const rows = values[measure.name] || (values[measure.name] = []);
  const label = `${measure.label}${measure.required ? " (needed)" : ""}`;
  if (measure.choices.length) {
    const chosen = rows[0] ? rows[0].text : "";
    return el("label", {}, label, el("select", { onchange: (event) => change(() => { rows[0] = { text: event.target.value, unit: "" }; }) },
      el("option", { value: "" }, "–"), measure.choices.map((choice) => el("option", { value: choice, selected: choice === chosen }, choice))));
  }
  const unit = (rows[0] && rows[0].unit) || measure.units[0].send;
  const places = measure.many ? Math.max(measure.count, rows.length) : 1;
  const row = (place) => rows[place] || (rows[place] = { text: "", unit });
  const field = (place) => el("input", { inputmode: "decimal", autocomplete: "off", value: row(place).text,
    "aria-label": places > 1 ? `${label}, place ${place + 1}` : label, oninput: (event) => change(() => { row(place).text = event.target.value; }) });
  const fields = Array.from({ length: places }, (_, place) => field(place));
  const units = measure.units.length > 1
    ? el("select", { "aria-label": `Unit of ${measure.label}`, onchange: (event) => change(() => rows.forEach((one) => { one.unit = event.target.value; })) },
      measure.units.map((one) => el("option", { value: one.send, selected: one.send === unit }, one.show)))
    : el("span", { class: "unit" }, measure.units[0].show);
  return el("div", { class: "value" }, el("p", { class: "value-name" }, label, measure.limits ? el("span", { class: "small" }, ` ${measure.limits}`) : null), el("div", { class: "value-in" }, fields, units));
}

function photos(one, answer, go) {
  const list = answer.photos || (answer.photos = []);
  const shown = el("div", { class: "photos" }, list.map((photo, place) => el("figure", {},
    el("img", { src: go.picture(photo), alt: `Photo ${place + 1} of ${one.label}` }),
    el("button", { type: "button", class: "quiet", onclick: () => go.again(() => list.splice(place, 1)) }, `Remove photo ${place + 1}`))));
  const input = el("input", { type: "file", accept: "image/*", capture: "environment", onchange: (event) => go.photo(list, event.target.files) });
  return el("div", {}, shown, list.length < 10 ? el("label", { class: "button photo" }, "Take a photo", input) : null, el("p", { class: "problem", id: "photo-problem", role: "alert", hidden: true }));
}

export function review(draft, go, member) {
  const items = itemsOf(draft.form);
  const faults = items.flatMap((one, index) => faultsOf(one, draft.answers[one.key]).map((text) => ({ index, text: `${one.label}: ${text}` })));
  const open = items.filter((one) => !(draft.answers[one.key] || {}).outcome);
  const report = draft.form.last_report;
  const unread = draft.form.kind === "pre_trip" && report && draft.reviewed !== report.id;
  const now = new Date();
  const local = (at) => new Date(at.getTime() - at.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
  const looked = el("input", { type: "datetime-local", value: local(now), max: local(now), required: true });
  return [
    heading(`Review: ${draft.form.title} of ${draft.unit}`),
    el("p", {}, "As it stands: ", tag(resultOf(draft.form, draft.answers)), open.length ? ` ${open.length} without an answer; they are filed as not seen.` : " Every item has an answer."),
    faults.length ? el("div", { class: "problem" }, el("p", {}, "Before you can sign:"), el("ul", {}, faults.map((fault) => el("li", {}, go.link(fault.index, fault.text))))) : null,
    el("ol", { class: "review" }, items.map((one, index) => {
      const answer = draft.answers[one.key] || {};
      return el("li", {}, go.link(index, one.label), " ", tag(answer.outcome || "not_seen"), answer.note ? ` ${answer.note}` : "", (answer.photos || []).length ? ` · ${answer.photos.length} photo${answer.photos.length > 1 ? "s" : ""}` : "");
    })),
    el("section", { class: "panel" }, el("h2", {}, "Sign"),
      unread ? el("p", { class: "problem" }, "Read the last report first. ", go.link("before", "To the last report")) : null,
      el("label", {}, "When you looked, by this device's clock", looked),
      el("label", {}, "For trip (empty: for none)", el("input", { value: draft.trip || "", maxlength: "64", autocomplete: "off",
        onchange: (event) => go.keep(() => { draft.trip = event.target.value.trim(); }) })),
      el("p", {}, `You sign as ${member} that you looked at the unit and that what you wrote is what you saw. This device's clock says ${onDevice(now)}. What is signed is not edited any more.`),
      el("div", { class: "acts" }, el("button", { type: "button", class: "main", disabled: Boolean(faults.length || unread), onclick: (event) => { event.target.disabled = true; go.sign(looked.value); } }, "Sign"),
        el("button", { type: "button", onclick: () => go.to(items.length - 1) }, "Back"),
        el("button", { type: "button", class: "grave", onclick: go.discard }, "Throw this draft away"))),
  ];
}
