// Keeps a log that was posted where there is no signal on this phone, and sends it until the server repeats its key.
// Without it, or where a browser has no worker or no store, the Log page posts as any form does.
"use strict";

const bar = document.querySelector("[data-unsent]");
const ME = bar?.dataset.author;
const SEND = bar?.dataset.send;
const PAGES = "log-pages";
const FILES = "files";
const DAY = 24 * 60 * 60 * 1000;

// ---- the store: one row a log, under its key; a row is on the medium before anybody is told so

let opened = null;
function store() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("unsent", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("logs", { keyPath: "key" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

async function ask(mode, call) {
  const database = await store();
  return new Promise((resolve, reject) => {
    const work = database.transaction("logs", mode, { durability: "strict" });
    const asked = call(work.objectStore("logs"));
    work.oncomplete = () => resolve(asked.result);
    work.onabort = work.onerror = () => reject(work.error);
  });
}

const allLogs = () => ask("readonly", (logs) => logs.getAll());
const keep = (log) => ask("readwrite", (logs) => logs.put(log));
const forget = (key) => ask("readwrite", (logs) => logs.delete(key));

function forgetTyped(key) {
  try {
    for (const name of Object.keys(sessionStorage)) {
      if (name.startsWith("typed-log:") && sessionStorage.getItem(name).includes(key)) sessionStorage.removeItem(name);
    }
  } catch {
    // without storage nothing was kept
  }
}

// ---- what is said of it, on every page

const told = []; // what became of logs sent from this page
const time = (at) => new Date(at).toLocaleString([], { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
const logs = (number) => `${number} ${number === 1 ? "log" : "logs"}`;

function line(words, href, link) {
  const row = document.createElement("p");
  row.textContent = words;
  if (href) {
    const lead = document.createElement("a");
    lead.href = href;
    lead.textContent = link;
    row.append(" ", lead);
  }
  return row;
}

// What the server refused of this person stays said on every Log page until it is mended or set aside.
async function tellRefused() {
  try {
    const answer = await fetch(`${SEND}?refused`, { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(15000) });
    if (!answer.ok) return;
    const who = await answer.json();
    if (who.author !== ME) return;
    for (const one of who.refused) {
      const isHere = new URL(one.href, location).search === location.search;
      if (isHere || told.some((other) => other.href === one.href)) continue;
      told.push(needsYou(one.pond, one.at, one.why, one.href));
    }
    await show();
  } catch {
    // no signal: it is told where there is one
  }
}

function needsYou(pond, at, why, href) {
  return { words: `Needs you: pond ${pond || "?"}, typed ${time(at)}, is on the server but not booked. ${why}`, href, link: "Mend it" };
}

async function show(now = "") {
  const waiting = (await allLogs()).sort((one, other) => one.at - other.at);
  const mine = waiting.filter((log) => log.author === ME);
  const others = waiting.filter((log) => log.author !== ME);
  const rows = told.map((one) => line(one.words, one.href, one.link));
  if (mine.length) {
    const oldest = Date.now() - mine[0].at;
    const age = oldest > 3 * DAY ? " Three days and more: bring this phone to a signal today." : oldest > DAY ? " A day and more." : "";
    const ponds = [...new Set(mine.map((log) => log.pond))].join(", ");
    rows.push(line(`On this phone only: ${logs(mine.length)} (pond ${ponds}), the oldest of ${time(mine[0].at)}.${age} ${now}`));
  }
  for (const author of new Set(others.map((log) => log.author))) {
    const number = others.filter((log) => log.author === author).length;
    rows.push(line(`On this phone only: ${logs(number)} of ${author}, who must sign in here to send ${number === 1 ? "it" : "them"}.`));
  }
  bar.querySelector("[data-said]").replaceChildren(...rows);
  bar.querySelector("[data-send-now]").hidden = !mine.length;
  bar.querySelector("[data-copy]").hidden = !waiting.length;
  bar.hidden = !rows.length;
  bar.classList.toggle("waits", waiting.length > 0);
  return mine;
}

// ---- sending: one window at a time, oldest first; only an answer that repeats the key ends a wait

let tries = 0;
let again = 0;

function retry() {
  clearTimeout(again);
  const seconds = Math.min(300, 2 ** (tries + 1)) * (0.75 + Math.random() / 2);
  tries += 1;
  again = setTimeout(send, seconds * 1000);
}

async function sendOne(log, token) {
  const body = new URLSearchParams(log.typed);
  const headers = { "X-CSRFToken": token };
  const options = { method: "POST", body, headers, redirect: "manual", signal: AbortSignal.timeout(30000) };
  const answer = await (await fetch(SEND, options)).json();
  if (answer.key !== log.key || !["saved", "refused"].includes(answer.state)) throw new Error("another's answer");
  await forget(log.key);
  forgetTyped(log.key);
  const at = new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  told.push(
    answer.state === "saved"
      ? { words: `On the server, ${at}: pond ${log.pond}, typed ${time(log.at)}.${answer.why ? ` Look at this: ${answer.why}` : ""}`, href: answer.href, link: "See the move" }
      : needsYou(log.pond, log.at, answer.why, answer.href),
  );
}

async function send() {
  await navigator.locks.request("unsent", { ifAvailable: true }, async (isMine) => {
    if (!isMine) return;
    const mine = await show();
    if (!mine.length) return;
    let who;
    try {
      const answer = await fetch(SEND, { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(15000) });
      if (answer.type === "opaqueredirect" || answer.status === 403) {
        await show("Sign in to send.");
        return;
      }
      who = await answer.json();
    } catch {
      await show("No signal: it is sent by itself when there is one.");
      retry();
      return;
    }
    if (who.author !== ME) return;
    let isLeft = false;
    for (const [number, log] of mine.entries()) {
      await show(`Sending ${number + 1} of ${mine.length}.`);
      try {
        // Not while a page is posting it.
        await navigator.locks.request(`log ${log.key}`, { ifAvailable: true }, (isFree) => isFree && sendOne(log, who.token));
      } catch {
        isLeft = true; // one that the server cannot answer does not hold up the next
      }
    }
    await show(isLeft ? "The server gave no answer to it; it is tried again." : "");
    if (isLeft) retry();
    else tries = 0;
  });
}

// ---- the Log page: kept on the phone first, then posted as any form is, if the server can be reached

async function reachesServer() {
  try {
    await fetch(SEND, { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(4000) });
    return true;
  } catch {
    return false;
  }
}

// A page kept on the phone is opened many times, perhaps days later: each log is one of its own, of its own day.
function renew(form) {
  form.elements.key.value = crypto.randomUUID();
  const day = form.elements.day;
  const now = new Date();
  const today = [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
  if (day?.value === form.dataset.today && day.value !== today) {
    day.value = today;
    form.before(line(`This page is of ${form.dataset.today}: what the book holds may have changed since. The day below is this phone's day.`));
  }
}

function mind(form) {
  // A wet thumb presses twice: the second press would be answered as a log sent again.
  let isUnderWay = false;
  window.addEventListener("pageshow", (event) => { if (event.persisted) isUnderWay = false; });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (isUnderWay) return;
    isUnderWay = true;
    const key = form.elements.key.value;
    const typed = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken");
    // Held until this page is left: what it posts is sent from nowhere else meanwhile.
    await new Promise((isHeld) => {
      navigator.locks.request(`log ${key}`, { ifAvailable: true }, () => { isHeld(); return new Promise(() => {}); });
    });
    try {
      await keep({ key, author: ME, pond: form.elements.pond.value, typed, at: Date.now() });
    } catch {
      form.submit(); // nothing can be kept here: post as any form does
      return;
    }
    navigator.storage?.persist?.();
    if (await reachesServer()) {
      form.submit();
      return;
    }
    forgetTyped(key);
    location.assign("/log/");
  });
}

// The Log's pages and their files are laid by for the bank, at most every six hours.
async function layBy() {
  const pages = await caches.open(PAGES);
  const files = await caches.open(FILES);
  const own = [...document.querySelectorAll("link[rel=stylesheet], link[rel=icon], script[src], img[src]")];
  const needed = new Set(own.map((one) => one.href || one.src));
  await files.addAll([...needed]);
  const last = Number(localStorage.getItem("log-laid-by") || 0);
  const isRecent = Date.now() - last < DAY / 4 && (await pages.match("/log/"));
  let listed = document;
  if (!document.querySelector(".pond-keys")) {
    // Opened from a pond's own page: which ponds there are stands on the first page of the Log.
    if (isRecent) return;
    const answer = await fetch("/log/", { redirect: "manual" });
    if (!answer.ok) return;
    listed = new DOMParser().parseFromString(await answer.text(), "text/html");
  }
  const addresses = [...listed.querySelectorAll(".pond-keys a")].map((lead) => new URL(lead.getAttribute("href"), location)).map((url) => `${url.pathname}?pond=${encodeURIComponent(url.searchParams.get("pond"))}`);
  const isFresh = isRecent && addresses.length === Number(localStorage.getItem("log-laid-by-ponds"));
  if (isFresh || !addresses.length) return;
  for (const address of ["/log/", "/log/no-signal/", ...addresses]) {
    const answer = await fetch(address, { redirect: "manual" });
    if (!answer.ok) return;
    const text = await answer.clone().text();
    await pages.put(address, answer);
    const found = [...text.matchAll(/(?:href|src)="([^"]+\.(?:css|js|svg)(?:\?[^"]*)?)"/g)].map((match) => new URL(match[1], location).href);
    for (const one of found) if (!needed.has(one)) await files.add(one);
    for (const one of found) needed.add(one);
  }
  for (const kept of await files.keys()) if (!needed.has(kept.url)) await files.delete(kept);
  localStorage.setItem("log-laid-by", String(Date.now()));
  localStorage.setItem("log-laid-by-ponds", String(addresses.length));
}

async function start() {
  const posted = document.querySelector("[data-posted]")?.dataset.posted;
  const sentBack = document.querySelector("form[data-sent-back]")?.dataset.sentBack;
  for (const key of [posted, sentBack]) if (key) await forget(key);
  // What waits here is sent by itself: it is not offered to be typed again.
  for (const log of await allLogs()) forgetTyped(log.key);
  const form = document.querySelector("form[data-kept-as]");
  const offer = document.querySelector("[data-kept]");
  if (form && offer && !sessionStorage.getItem(`typed-log:${form.dataset.keptAs}`)) offer.hidden = true;
  bar.querySelector("[data-send-now]").addEventListener("click", () => { tries = 0; send(); });
  bar.querySelector("[data-copy]").addEventListener("click", async () => {
    const copy = new Blob([JSON.stringify(await allLogs(), null, 1)], { type: "application/json" });
    const lead = document.createElement("a");
    lead.href = URL.createObjectURL(copy);
    lead.download = "unsent-logs.json";
    lead.click();
    URL.revokeObjectURL(lead.href);
  });
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") send(); });
  await send();
}

// Signing out takes the kept pages off the phone; logs that wait stay, and are said first.
async function minded(event) {
  const form = event.target;
  if (form.dataset.minded) return;
  event.preventDefault();
  const waiting = await allLogs();
  const words = `${logs(waiting.length)} wait on this phone only and will stay there until you sign in here again. Sign out all the same?`;
  if (waiting.length && !window.confirm(words)) {
    window.dispatchEvent(new PageTransitionEvent("pageshow", { persisted: true })); // takes the locks off the buttons
    return;
  }
  await Promise.all([caches.delete(PAGES), caches.delete(FILES)]);
  localStorage.removeItem("log-laid-by");
  form.dataset.minded = "yes";
  form.submit();
}

if (bar && "serviceWorker" in navigator && "indexedDB" in window && navigator.locks && crypto.randomUUID) {
  navigator.serviceWorker.register(bar.dataset.worker, { scope: "/" }).catch(() => {});
  const form = document.querySelector("form[data-log][data-today]");
  if (form && !form.hasAttribute("data-sent-back")) renew(form);
  if (form) mind(form);
  for (const out of document.querySelectorAll("form[data-sign-out]")) out.addEventListener("submit", minded);
  if (document.querySelector(".pond-keys, form[data-log]")) start().then(tellRefused).then(layBy).catch(() => {});
  else start().catch(() => {});
}
