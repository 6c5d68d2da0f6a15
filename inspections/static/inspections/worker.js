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

/* The shell as the signed-in person sees it; a redirect to the sign-in page is no shell. */
async function keepShell() {
  const response = await fetch(KEPT.shell, { cache: "reload", credentials: "same-origin" });
  if (response.ok && !response.redirected) await (await caches.open(CACHE)).put(KEPT.shell, response);
}

/* A page of the inspections was opened: whoever is signed in now gets a shell of their own. */
self.addEventListener("message", (event) => {
  if (event.data === "keep") event.waitUntil(keepShell().catch(() => undefined)); // without a connection the old one stays
});

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request, address));
  else if (KEPT.assets.includes(address.pathname)) event.respondWith(asset(request, address));
});

/* Pages and files come from the service while it answers; from the device when it does not, or not soon. Without a
   connection the kept shell stands in for any page of the scope. */
const SOON_MS = 4000;

async function page(request, address) {
  const asked = fetch(request).then(async (response) => {
    if (address.pathname === KEPT.shell && response.ok && !response.redirected) {
      await (await caches.open(CACHE)).put(KEPT.shell, response.clone());
    }
    return response;
  });
  return soonOrKept(asked, KEPT.shell);
}

const asset = (request, address) => soonOrKept(fetch(request), address.pathname);

async function soonOrKept(asked, key) {
  const kept = await caches.match(key);
  if (!kept) return asked;
  const late = new Promise((resolve) => setTimeout(resolve, SOON_MS, kept));
  return Promise.race([asked.catch(() => kept), late]);
}
