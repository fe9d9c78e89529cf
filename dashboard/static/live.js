// Keeps an open page in touch. One stream tells all tabs of a browser that something has changed; each seen tab then
// asks what. Without a stream a page asks every few seconds. A page that is not seen neither listens nor asks.
"use strict";
(() => {
  const TICK_MS = 250;
  const POLL_MS = 5000;
  const MINUTE_MS = 60000;
  const ANSWER_MS = 4000;
  const DEAF_MS = 25000; // two and a half beats of the stream
  const SLEPT_MS = 5000;
  const FIRST_WAIT_MS = 2000;
  const LONGEST_WAIT_MS = 30000;
  const FIRST_STREAM_WAIT_MS = 5000;
  const LONGEST_STREAM_WAIT_MS = 300000;
  const CLOCKS_DIFFER_MS = 2000;
  const { body } = document;
  const { now, rebase, expire, take, when, rate, misjudged } = window.coldshed;
  const version = document.currentScript.src.split("/static/")[1].split("/")[0];
  const tab = [...crypto.getRandomValues(new Uint32Array(2))].join("-");
  let tag = body.dataset.tag;
  let lost = null; // since when, by the shop's clock
  let unanswered = 0; // polls in a row
  let pollAt = performance.now() + POLL_MS;
  let heard = -Infinity; // when the stream last said something, in this tab or in another
  let source = null;
  let opened = 0;
  let refused = 0; // streams in a row that said nothing
  let openAt = Infinity;
  let ticked = Date.now();

  const grown = (first, times, longest) => Math.min(longest, first * 2 ** times) * (0.75 + Math.random() / 2);
  const listening = () => performance.now() - heard < DEAF_MS;

  // out: the shop answers, but whoever looks is signed out.
  const touch = (answered, out = false) => {
    unanswered = answered ? 0 : unanswered + 1;
    lost = answered ? null : (lost ?? now());
    const mark = document.getElementById("lost");
    mark.hidden = answered;
    mark.textContent = answered ? "" : (out ? body.dataset.out : body.dataset.lost).replace("{}", when(lost));
  };

  // A newer program answers: the page is loaded anew, once, unless somebody has begun to fill something in.
  const busy = () => "edited" in document.documentElement.dataset || document.querySelector("dialog[open]");
  const renew = (told) => {
    if (!told || told === version || busy()) return;
    try {
      if (sessionStorage.getItem("renewed") === told) return;
      sessionStorage.setItem("renewed", told);
    } catch {
      return; // storage is shut off: it could load anew without end
    }
    location.reload();
  };

  // With a stream: at the turn of each minute, when clock and ages in the header change.
  const nextPoll = () => {
    if (lost !== null) return grown(FIRST_WAIT_MS, unanswered - 1, LONGEST_WAIT_MS);
    const turn = (MINUTE_MS - (now() % MINUTE_MS)) / rate();
    return listening() ? Math.max(POLL_MS, turn + Math.random() * FIRST_WAIT_MS) : POLL_MS;
  };

  // A page that says there is no such page is answered so again, and has lost nothing.
  const missing = document.querySelector("[data-missing]") !== null;

  const ask = async () => {
    let out = false;
    try {
      const answer = await fetch(location.href.split("#")[0], {
        cache: "no-store",
        headers: tag ? { "If-None-Match": tag } : {},
        signal: AbortSignal.timeout(ANSWER_MS),
      });
      out = answer.status === 401;
      const stillMissing = missing && [403, 404].includes(answer.status);
      if (answer.status !== 304 && !answer.ok && !stillMissing) throw new Error(`status ${answer.status}`);
      rebase(answer);
      if (answer.ok) {
        const page = take(await answer.text());
        tag = answer.headers.get("ETag") ?? "";
        // Somebody else has signed in meanwhile. What is half filled in stays; the shop asks before it takes that.
        if (!busy() && page.body.dataset.visitor !== body.dataset.visitor) location.reload();
      } else if (answer.status === 304 && misjudged()) {
        tag = ""; // it is taken whole
        poll();
      }
      touch(true);
      dispatchEvent(new Event("polled"));
      renew(answer.headers.get("Coldshed-Version"));
    } catch {
      touch(false, out); // the header says since when; the next poll tries again
    }
    pollAt = performance.now() + nextPoll();
  };

  // One at a time; who asks meanwhile shares the one that begins after this.
  let running = Promise.resolve();
  let waiting = null;
  const poll = () => {
    waiting ??= running.then(() => {
      waiting = null;
      return ask();
    });
    running = waiting;
    return running;
  };

  const among = "BroadcastChannel" in window ? new BroadcastChannel("coldshed-live") : null;
  const tell = (kind, told) => among?.postMessage({ kind, tab, ...told });

  const hear = (kind, told) => {
    const first = !listening();
    heard = performance.now();
    refused = 0;
    const differ = told && Math.abs(told.now - now()) > CLOCKS_DIFFER_MS * rate();
    if (!document.hidden && (first || kind === "changed" || differ)) poll();
  };

  const close = () => {
    if (!source) return;
    source.close();
    source = null;
    heard = -Infinity;
    tell("left");
  };

  const open = () => {
    source = new EventSource("/api/changes");
    opened = performance.now();
    openAt = opened + grown(FIRST_STREAM_WAIT_MS, refused, LONGEST_STREAM_WAIT_MS);
    refused += 1;
    for (const kind of ["changed", "beat"])
      source.addEventListener(kind, ({ data }) => {
        const told = JSON.parse(data);
        hear(kind, told);
        tell(kind, told);
      });
    source.addEventListener("error", () => {
      close();
      poll(); // tells at once whether the shop's computer is gone or only the stream
    });
  };

  // Of two tabs that opened a stream at the same moment one gives way; who listens to another's opens none.
  among?.addEventListener("message", ({ data: { kind, tab: other, ...told } }) => {
    if (kind === "who") {
      if (source && listening()) tell("beat");
    } else if (kind === "left") {
      heard = source ? heard : -Infinity;
      openAt = Math.max(Math.min(openAt, performance.now() + 4 * TICK_MS * Math.random()), performance.now());
    } else {
      if (source && other < tab) {
        source.close();
        source = null;
      }
      hear(kind, told.now ? told : null);
    }
  });

  // Begins to listen: is there a stream in another tab? If nobody answers, this one opens it.
  const begin = () => {
    heard = source ? heard : -Infinity;
    openAt = performance.now() + TICK_MS * (1 + Math.random());
    tell("who");
  };

  const wake = () => {
    expire();
    begin();
    return poll();
  };

  setInterval(() => {
    const slept = Date.now() - ticked > SLEPT_MS;
    ticked = Date.now();
    if (document.hidden) return;
    if (slept) wake();
    const at = performance.now();
    if (source && at - Math.max(opened, heard) > DEAF_MS) close(); // it hangs without an end
    if (!source && lost === null && !listening() && at >= openAt) open();
    if (at >= pollAt) {
      pollAt = at + ANSWER_MS + POLL_MS;
      poll();
    }
  }, TICK_MS);

  const resort = document.getElementById("resort");
  const sortAnew = async () => {
    await poll();
    if (lost === null) location.reload();
  };
  resort?.addEventListener("click", sortAnew);
  document.addEventListener("visibilitychange", async () => {
    expire();
    if (document.hidden) return close();
    await wake();
    if (resort && !resort.hidden && lost === null) location.reload(); // sorted anew only when nobody was looking
  });
  addEventListener("pagehide", close);
  addEventListener("pageshow", (event) => event.persisted && wake());
  addEventListener("online", wake);
  addEventListener("offline", poll);
  if (!document.hidden) begin();
  if (body.dataset.kept) {
    lost = Number(body.dataset.now);
    touch(false);
    pollAt = 0;
  }

  Object.assign(window.coldshed, { poll, lost: () => lost !== null });
})();
