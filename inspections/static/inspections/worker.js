/* The service worker of the inspection pages (scope /inspections/). The service writes KEPT before this text: the
   version, the address of the shell and its files. It keeps the page that walks a sheet, nothing of any unit, and it
   touches nothing but GET. */
/* global KEPT */
"use strict";

const CACHE = `inspections-${KEPT.version}`;

self.addEventListener("install", (event) => {
  event.waitUntil(
    (async () => {
      const cache = await caches.open(CACHE);
      await cache.addAll(KEPT.assets.map((address) => new Request(address, { cache: "reload" })));
      await keepShell();
      await self.skipWaiting();
    })(),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys())
        if (name.startsWith("inspections-") && name !== CACHE) await caches.delete(name);
      await self.clients.claim();
    })(),
  );
});

/* The shell as the signed-in person sees it; a redirect to the sign-in page is no shell. Signing out waits for the lock
   and holds it until the session has ended (page.js), so what was asked for before is never kept after. */
const LONGEST_MS = 10000; // nobody waits longer than that to sign out

const keepShell = () =>
  navigator.locks.request("kept-page", async () => {
    const signal = AbortSignal.timeout(LONGEST_MS);
    const response = await fetch(KEPT.shell, { cache: "reload", credentials: "same-origin", signal });
    if (!response.ok || response.redirected) return false;
    await (await caches.open(CACHE)).put(KEPT.shell, response);
    return true;
  });

/* A page of the inspections was opened: whoever is signed in now gets a shell of their own. The answer says whether it
   is kept; without a connection the old one stays. */
self.addEventListener("message", (event) => {
  if (event.data !== "keep") return;
  const kept = keepShell().catch(() => false);
  event.waitUntil(kept.then((done) => event.ports[0]?.postMessage(done)));
});

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (request.mode === "navigate") event.respondWith(soonOrKept(request, KEPT.shell));
  else if (KEPT.assets.includes(address.pathname)) event.respondWith(soonOrKept(request, address.pathname));
});

/* Pages and files come from the service while it answers; from the device when it does not, or not soon. Without a
   connection the kept shell stands in for any page of the scope. */
const SOON_MS = 4000;

async function soonOrKept(request, key) {
  const asked = fetch(request);
  const kept = await caches.match(key);
  if (!kept) return asked;
  const late = new Promise((resolve) => setTimeout(resolve, SOON_MS, kept));
  return Promise.race([asked.catch(() => kept), late]);
}
