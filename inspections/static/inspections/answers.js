/* What a person has answered: is it whole, and how does it go to the service. Reads no page and no store.

   The service checks everything again; this only says it while the person still stands at the unit. */

export const OUTCOMES = ["sound", "wear", "defect", "not_seen"];

export const itemsOf = (form) =>
  form.groups.flatMap((group) =>
    group.items.map((item, index) => ({ ...item, group: group.title, groupCaution: index === 0 ? group.caution : "" })),
  );

export const numberOf = (text) => Number(String(text).trim().replace(",", ".").replace("−", "-"));

const typed = (answer, name) => ((answer.values || {})[name] || []).filter((one) => String(one.text).trim() !== "");

/* Sentences about what is missing or wrong in one item's answer. */
export function faultsOf(item, answer) {
  if (!answer || !answer.outcome) return [];
  const faults = [];
  if (answer.outcome === "defect" && (answer.note || "").trim().length < 3)
    faults.push("Say in the note what the defect is.");
  const seen = answer.outcome === "sound" || answer.outcome === "wear";
  for (const measure of item.measures) {
    const values = typed(answer, measure.name);
    if (!values.length && measure.required && seen) faults.push(`${measure.label}: this has to be measured.`);
    if (!values.length || measure.choices.length) continue;
    if (answer.outcome === "not_seen") faults.push("An item that was measured was seen.");
    if (values.some((one) => !Number.isFinite(numberOf(one.text)))) faults.push(`${measure.label}: type a number.`);
    else if (measure.many && values.length < measure.count)
      faults.push(`${measure.label}: measure at ${measure.count} places at least.`);
    else if (!measure.many && answer.outcome === "sound") faults.push(...outside(measure, values[0]));
  }
  return faults;
}

function outside(measure, one) {
  const value = numberOf(one.text);
  if (one.unit !== measure.units[0].send) return []; // limits are known in the reader's unit only
  const low = measure.low !== null && value < measure.low;
  const high = measure.high !== null && value > measure.high;
  return low || high
    ? [`${measure.label}: ${one.text} is outside ${measure.limits}. That is wear or a defect, not sound.`]
    : [];
}

/* `unfit`, `incomplete` or `fit`, as the service will find it. */
export function resultOf(form, answers) {
  const items = itemsOf(form);
  const outcome = (item) => (answers[item.key] || {}).outcome || "not_seen";
  if (items.some((item) => item.blocks && outcome(item) === "defect")) return "unfit";
  return items.some((item) => !item.if_fitted && outcome(item) === "not_seen") ? "incomplete" : "fit";
}

/* The body of the filing, without photos: their ids are known only after they were sent. */
export function bodyOf(draft, { performedAt, deviceAt }) {
  const observations = itemsOf(draft.form)
    .filter((item) => (draft.answers[item.key] || {}).outcome)
    .map((item) => {
      const answer = draft.answers[item.key];
      const values = {};
      for (const measure of item.measures) {
        const found = typed(answer, measure.name).map((one) => sent(measure, one));
        if (found.length) values[measure.name] = measure.many ? found : found[0];
      }
      return { item: item.key, outcome: answer.outcome, note: (answer.note || "").trim(), values };
    });
  return {
    sheet: draft.form.sheet,
    sheet_version: draft.form.sheet_version,
    unit: draft.unit,
    trip: draft.trip || null,
    performed_at: performedAt,
    observations,
    signature: { meaning: "performed", device_at: deviceAt, reviewed: draft.reviewed || null },
  };
}

function sent(measure, one) {
  if (measure.choices.length) return one.text;
  return one.unit ? { value: numberOf(one.text), unit: one.unit } : numberOf(one.text);
}
