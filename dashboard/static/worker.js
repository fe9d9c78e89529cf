// Keeps the pages seen last, so that the round opens though the shop's computer cannot be reached. The shop is always
// asked first. A page that comes from here carries when it was asked for; page.js takes its age from that. Help is kept
// whole, without the alarms of that moment. Nothing else is kept: no answer to a tap, no record, no photo, no numbers.
"use strict";
const VERSION = "@VERSION@"; // these are filled in by serve
const FILES = `coldshed-files-${VERSION}`;
const PAGES = `coldshed-pages-${VERSION}`;
const HELP = `coldshed-help-${VERSION}`;
const NEEDED = @NEEDED@;
const HELP_PATHS = @HELP@;
const NOT_KEPT = "/not-kept";
// Pages that turn to "not known" by themselves, and the sheet to say what a thumb felt.
const MAY_BE_KEPT = /^\/($|panels\/(?!new$)[^/]+(\/thumb)?$)/;
const MOST = 30;
const ANSWER_MS = 5000;
const GATEWAY = [502, 504];

self.addEventListener("install", (event) => {
  const all = caches.open(FILES).then((files) => files.addAll([...NEEDED, NOT_KEPT]));
  event.waitUntil(all.then(() => self.skipWaiting()));
});

// What an older program kept goes; the pages that are open now are kept at once.
self.addEventListener("activate", (event) => {
  const begin = async () => {
    const old = (await caches.keys()).filter((name) => name.startsWith("coldshed-") && ![FILES, PAGES, HELP].includes(name));
    await Promise.all(old.map((name) => caches.delete(name)));
    await self.clients.claim();
    const open = (await self.clients.matchAll({ type: "window" })).map(({ url }) => url.split("#")[0]);
    await Promise.allSettled(open.filter(mayBeKept).map((url) => ask(event, new Request(url))));
    await keepHelp();
  };
  event.waitUntil(begin());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  if (NEEDED.includes(pathname)) event.respondWith(file(request));
  else if (request.mode === "navigate") event.respondWith(page(event));
  else if (isHelp(request.url) && request.destination === "image") // a page that asks anew must hear that it lost touch
    event.respondWith(fetch(request).catch(() => kept(request.url)));
  else if (mayBeKept(request.url)) event.respondWith(ask(event, request));
});

const isHelp = (url) => HELP_PATHS.includes(new URL(url).pathname);
const mayBeKept = (url) => MAY_BE_KEPT.test(new URL(url).pathname);

// Named by their content: one that is here never changes.
const file = async (request) => (await caches.match(request)) ?? fetch(request);

// The shop's answer, kept beside if it may be. Whoever is not let in any more has nothing kept.
const ask = async (event, request) => {
  const asked = Date.now();
  const answer = await fetch(request);
  if (mayBeKept(request.url)) {
    if (answer.ok && !answer.redirected && answer.headers.has("Coldshed-Now"))
      event.waitUntil(keep(request.url.split("#")[0], answer.clone(), asked));
    else if (answer.status === 401 || answer.status === 403) event.waitUntil(caches.delete(PAGES));
  }
  return answer;
};

// One after the other, so that a small computer has time for the round; what is missing is fetched when help is opened.
const keepHelp = async () => {
  const help = await caches.open(HELP);
  for (const path of HELP_PATHS) {
    if (await help.match(path)) continue;
    const asked = Date.now();
    const answer = await fetch(`${path}?kept=1`).catch(() => null);
    if (!answer?.ok || answer.redirected) return;
    if (path.startsWith("/help/pictures/")) await help.put(path, answer);
    else await help.put(path, await dated(answer, asked));
  }
};

const kept = async (url) =>
  (await (await caches.open(PAGES)).match(url)) ?? (await (await caches.open(HELP)).match(url, { ignoreSearch: true }));

// The same page, saying when it was asked for.
const dated = async (answer, asked) => {
  const headers = new Headers(answer.headers);
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  const text = (await answer.text()).replace("<body ", `<body class="unread" data-kept="${asked}" `);
  return new Response(text, { headers });
};

const keep = async (url, answer, asked) => {
  const pages = await caches.open(PAGES);
  await pages.delete(url);
  await pages.put(url, await dated(answer, asked));
  const every = await pages.keys();
  await Promise.all(every.slice(0, Math.max(0, every.length - MOST)).map((old) => pages.delete(old)));
};

// The shop's page, or, if it does not answer or not soon, the one that was kept.
const page = async (event) => {
  const here = await kept(event.request.url);
  if (isHelp(event.request.url)) event.waitUntil(keepHelp());
  const asked = ask(event, event.request).then((answer) => {
    if (GATEWAY.includes(answer.status)) throw new Error(`status ${answer.status}`);
    return answer;
  });
  event.waitUntil(asked.catch(() => undefined)); // told by the page that is shown
  if (!here) return asked.catch(() => caches.match(NOT_KEPT));
  const soon = new Promise((_, late) => setTimeout(() => late(new Error("late")), ANSWER_MS));
  return Promise.race([asked, soon]).catch(() => here);
};
