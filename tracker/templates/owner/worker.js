{% load static %}"use strict";
/* Keeps one copy of the owner's page on this device, and shows it where there is no connection. What it may keep and when it
   must forget it says the header Owner-Copy of each answer. Forms are neither kept nor sent again: they go to the server or
   fail. Its page for no connection is told in: {{ language }} */
const COPY = "owner-copy", SHELL = "owner-shell-1";
const PAGE = "{% url 'owner-page' %}", OFFLINE = "{% url 'owner-offline' %}", STYLE = "{% static 'tracker/owner.css' %}";

let last = Promise.resolve();
const inTurn = (work) => (last = last.then(work, work));

self.addEventListener("install", (event) => event.waitUntil(prepare()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim().then(lookAfresh)));

async function prepare() {
  await (await caches.open(SHELL)).addAll([OFFLINE, STYLE]);
  await self.skipWaiting();
}

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== self.location.origin) return;
  if (event.request.mode === "navigate") event.respondWith(open(event, address));
  else if (address.pathname === STYLE) event.respondWith(style(event));
});

async function open(event, address) {
  let answer;
  try {
    answer = await fetch(event.request);
  } catch {
    return (address.pathname === PAGE && (await copy())) || (await caches.match(OFFLINE)) || Response.error();
  }
  // a page that says what was just done is no page to keep: the plain one is fetched instead
  if (address.pathname === PAGE && address.search && mayKeep(answer)) event.waitUntil(lookAfresh());
  else event.waitUntil(heed(answer.clone()));
  return answer;
}

async function style(event) { // the page and its style change together
  try {
    const answer = await fetch(event.request), kept = answer.clone();
    if (answer.ok) event.waitUntil(caches.open(SHELL).then((cache) => cache.put(STYLE, kept)));
    return answer;
  } catch {
    return (await caches.match(STYLE)) || Response.error();
  }
}

const mayKeep = (answer) => answer.ok && /^keep; until=\d+$/.test(answer.headers.get("Owner-Copy") || "");

async function lookAfresh() {
  try {
    await heed(await fetch(PAGE, { credentials: "same-origin" }));
  } catch { /* no connection: what is kept stays */ }
}

function heed(answer) {
  if (answer.headers.get("Owner-Copy") === "forget") return inTurn(() => caches.delete(COPY));
  return mayKeep(answer) ? inTurn(() => keep(answer)) : undefined;
}

async function keep(answer) {
  const page = (await answer.text()).replace(/name="key" value="[^"]*"/g, 'name="key" value=""');
  const headers = {};
  for (const name of ["Content-Type", "Content-Security-Policy", "Referrer-Policy", "Owner-Copy"])
    if (answer.headers.has(name)) headers[name] = answer.headers.get(name);
  await (await caches.open(COPY)).put(PAGE, new Response(page, { headers }));
}

async function copy() {
  if (!(await caches.has(COPY))) return undefined;
  const kept = await (await caches.open(COPY)).match(PAGE);
  if (!kept) return undefined;
  if (Number(kept.headers.get("Owner-Copy").split("=")[1]) * 1000 < Date.now()) {
    await caches.delete(COPY);
    return undefined;
  }
  const page = (await kept.text()).replace('id="seen" hidden', 'id="seen"').replaceAll("<form ", "<form inert ");
  return new Response(page, { headers: kept.headers });
}
