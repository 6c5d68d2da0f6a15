/* What pages do beyond their markup. Everything works without it. */
"use strict";

// A refresh that fails says so, instead of leaving an old answer standing as if it were new.
document.addEventListener("htmx:afterRequest", (event) => {
  const stale = document.getElementById("stale");
  if (stale) {
    const status = event.detail.xhr ? event.detail.xhr.status : 0;
    stale.hidden = event.detail.successful || status === 304;
  }
});

// A page of this site may have said that something waits on this device to be sent: signing out would delay it.
document.addEventListener("submit", (event) => {
  if (!event.target.matches("[data-sign-out]")) return;
  const waiting = Number(localStorage.getItem("waiting"));
  const words = `${waiting} signed inspection${waiting > 1 ? "s have" : " has"} not been sent from this device. `
    + "It stays here and is sent when you sign in again. Sign out now?";
  if (waiting > 0 && !confirm(words)) { event.preventDefault(); return; }
  if (!window.caches || !navigator.locks) return;
  event.preventDefault();
  const button = event.target.querySelector("button");
  button.disabled = true; // a second press would send the form before the pages are gone
  forgetPages().finally(() => {
    button.disabled = false;
    event.target.submit();
  });
});

// A page that is kept for places without a connection carries the name of whoever was signed in; its files do not.
// Workers keep pages under the same lock. It is held until this page is left, and by then the session has ended: nothing
// is kept for this person after the removal. Whoever does not get the lock in time removes what there is.
const PATIENCE_MS = 15000;

function forgetPages() {
  return new Promise((done) => {
    const signal = AbortSignal.timeout(PATIENCE_MS);
    const remove = () => removePages().finally(done);
    const untilLeft = () => remove().then(() => new Promise(() => undefined));
    navigator.locks.request("kept-page", { signal }, untilLeft).catch(remove);
  });
}

async function removePages() {
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const kept of await cache.keys()) {
      if (!new URL(kept.url).pathname.startsWith("/static/")) await cache.delete(kept);
    }
  }
}

// Where scripts run, an inspection is walked item by item.
for (const link of document.querySelectorAll("a[data-walk]")) link.href = link.dataset.walk;
