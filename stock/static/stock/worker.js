// Answers for the pages of the Log while there is no signal. It keeps nothing itself: the pages fill the two caches,
// and what was typed waits in unsent.js. Whatever it does not know goes to the network as if it were not here.
"use strict";

const PAGES = "log-pages";
const FILES = "files";
const PATIENCE = 8000; // a bar of signal that carries nothing is no signal

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

// A pond's Log page is kept under its pond alone, whatever else its address asks.
function keptAddress(url) {
  if (url.pathname !== "/log/") return null;
  const pond = url.searchParams.get("pond");
  if (url.searchParams.has("refused") || url.searchParams.has("task")) return pond ? `/log/?pond=${pond}` : null;
  return pond ? `/log/?pond=${encodeURIComponent(pond)}` : "/log/";
}

async function noSignal(url) {
  const pages = await caches.open(PAGES);
  const address = keptAddress(url);
  const kept = address && (await pages.match(address));
  return kept || (await pages.match("/log/no-signal/")) || Response.error();
}

async function page(request, url) {
  // Only what is kept has anything to fall back on. A post is never cut short: it may have arrived, its answer tells.
  const isKept = request.method === "GET" && keptAddress(url);
  try {
    return await fetch(request, isKept ? { signal: AbortSignal.timeout(PATIENCE) } : {});
  } catch {
    return noSignal(isKept ? url : new URL("/log/no-signal/", url));
  }
}

async function file(request) {
  const kept = await caches.match(request, { cacheName: FILES });
  try {
    return await fetch(request);
  } catch (failure) {
    if (kept) return kept;
    throw failure;
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (url.origin !== self.location.origin) return;
  if (event.request.mode === "navigate") {
    // Gone back to the answer of a post, which no browser keeps: the Log is opened anew, other pages ask by themselves.
    const isOldAnswer = event.request.method === "POST" && event.request.isHistoryNavigation;
    if (isOldAnswer && url.pathname === "/log/") event.respondWith(Response.redirect(url, 303));
    else if (!isOldAnswer) event.respondWith(page(event.request, url));
  }
  else if (["style", "script", "image"].includes(event.request.destination)) event.respondWith(file(event.request));
});
