// Keeps the shell on the phone, so that the page opens when the daemon is out of reach. Nothing of a
// visit is kept: what was measured at a customer's is not left on a phone.
"use strict";
const STORE = "shell-1";
const SHELL = ["/shell", "/page.css", "/page.js", "/icon.svg", "/app.webmanifest"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(STORE).then((store) => store.addAll(SHELL)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = (names) => Promise.all(names.filter((n) => n !== STORE).map((n) => caches.delete(n)));
  event.waitUntil(caches.keys().then(old).then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const path = new URL(request.url).pathname;
  if (request.method !== "GET") return;
  if (request.mode === "navigate") {
    event.respondWith(fetch(request).catch(() => caches.match("/shell")));
  } else if (SHELL.includes(path)) {
    // The daemon's own first: a new version is seen at once.
    event.respondWith(fetch(request).then(async (answer) => {
      if (answer.ok) await (await caches.open(STORE)).put(path, answer.clone());
      return answer;
    }).catch(() => caches.match(path)));
  }
});
