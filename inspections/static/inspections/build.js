/* Makes elements. Text is always text: nothing of what a person or the service wrote is read as markup. */

export function el(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (key === "value" || key === "checked") made[key] = value;
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ""));
  return made;
}

const MARKS = {
  sound: "✓",
  wear: "~",
  defect: "✕",
  not_seen: "?",
  fit: "✓",
  unfit: "✕",
  incomplete: "?",
  stop: "✕",
  attend: "!",
  watch: "·",
};

export const words = (name) => String(name).replaceAll("_", " ");

export function tag(word) {
  return el(
    "span",
    { class: `tag tag-${word}` },
    el("span", { class: "tag-mark", "aria-hidden": "true" }, MARKS[word] || ""),
    words(word),
  );
}

const AT = { weekday: "short", day: "2-digit", month: "short", hour: "2-digit", minute: "2-digit" };

/* A moment in the reader's own time zone, as on every other page. */
export function when(text) {
  const zone = document.querySelector("[data-zone]");
  return new Date(text).toLocaleString("en-GB", { ...AT, timeZone: zone ? zone.dataset.zone : undefined });
}

/* A moment by the clock of this device, whatever zone it is set to. */
export const onDevice = (at) => at.toLocaleString("en-GB", AT);

/* A key nobody else has. `randomUUID` is there over TLS only; a trial in a yard's own network may do without. */
export function newKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}
