// Sends the taps of the browser's database, in order; the id that each tap made lets the log absorb what comes twice.
"use strict";
(() => {
  const ANSWER_MS = 5000;
  const CLOCK_AGE_MS = 60000;
  const CLOCKS_DIFFER_MS = 60000;
  const taps = window.coldshedTaps;
  const list = document.getElementById("unsent-list");
  const kinds = new Set([...list.querySelector("template").content.children].map((one) => one.dataset.kind));
  const among = "BroadcastChannel" in window ? new BroadcastChannel("coldshed-taps") : null;
  const waiting = new Map(); // id -> who taps and waits for the answer on this page

  const told = (message) => {
    among?.postMessage(message);
    dispatchEvent(new CustomEvent("outbox", { detail: message }));
  };

  const drop = async (one) => {
    await taps.drop(one);
    told({ id: one.entry.id });
    drain();
  };

  const change = async (one, changes) => {
    await taps.change(one, changes);
    told({ id: one.entry.id });
    drain();
  };

  // When it was tapped, by the time since then on this phone's clock, counted back from the shop's. It differs from
  // what was noted if the phone's clock was changed: then a person is asked.
  const mayBeSent = async (one) => {
    if (one.entry.at === undefined || one.given) return "yes";
    const { now, age, rate, poll } = window.coldshed;
    if (age() > CLOCK_AGE_MS) await poll();
    if (age() > CLOCK_AGE_MS) return "not now";
    const reckoned = Math.round(now() - rate() * (Date.now() - one.phone));
    if (Math.abs(reckoned - one.entry.at) <= CLOCKS_DIFFER_MS * rate()) return "yes";
    await change(one, { asks: reckoned });
    return "asked";
  };

  const post = async ({ url, entry }) => {
    const answer = await fetch(url, {
      method: "POST",
      headers: taps.heads("application/json"),
      body: JSON.stringify(entry),
      signal: AbortSignal.timeout(ANSWER_MS),
    });
    const said = await answer.json();
    if (!answer.ok && !said.error) throw new Error(`status ${answer.status}`); // somebody else's answer
    const passing = answer.status >= 500 || [401, 408, 429].includes(answer.status);
    return { said, ok: answer.ok, passing };
  };

  // False: nobody answers, later ones wait.
  const deliver = async (one) => {
    const mine = waiting.get(one.entry.id);
    const may = await mayBeSent(one);
    if (may === "asked") mine?.late(false);
    if (may !== "yes") return may === "asked";
    let answer;
    try {
      answer = await post(one);
    } catch (problem) {
      mine?.late(problem.name === "TimeoutError");
      return false;
    }
    if (answer.ok) {
      await taps.drop(one);
      told({ id: one.entry.id, entry: one.entry, answer: answer.said, here: true });
      return true;
    }
    const why = `${answer.said.error.what} ${answer.said.error.do}`;
    const { door } = answer.said;
    if (mine && !mine.left && ["sign in", "sign"].includes(door)) {
      mine.fail(Object.assign(new Error(why), { door })); // it stays here meanwhile
      return false;
    }
    if (mine && !mine.left) {
      await drop(one); // whoever tapped is told here and now
      mine.fail(Object.assign(new Error(why), { refused: !answer.passing }));
      return true;
    }
    if (answer.passing) return false;
    await taps.refuse(one, why);
    told({ id: one.entry.id, refused: why });
    return true;
  };

  let again = false;
  let sending = false;
  const drain = async () => {
    again = true;
    if (sending || !(await taps.opened)) return;
    sending = true;
    try {
      while (again) {
        again = false;
        for (let one = await taps.claim(); one; one = await taps.claim())
          if (!(await deliver(one))) {
            for (const other of waiting.values()) other.late(false); // they wait behind this one
            return void (await taps.release());
          }
      }
    } catch (problem) {
      if (!problem.unkept) throw problem; // whoever taps next is told that nothing is kept
    } finally {
      sending = false;
      dispatchEvent(new CustomEvent("outbox", { detail: { idle: true } }));
    }
  };

  const hear = ({ id, answer, refused }) => {
    const mine = waiting.get(id);
    if (mine && answer) mine.done(answer);
    else if (mine && refused) mine.fail(Object.assign(new Error(refused), { refused: true }));
  };
  addEventListener("outbox", ({ detail }) => hear(detail));
  among?.addEventListener("message", ({ data }) => {
    dispatchEvent(new CustomEvent("outbox", { detail: { ...data, here: false } }));
  });

  const newWait = (id) => {
    const mine = { left: false };
    mine.answer = new Promise((done, fail) => Object.assign(mine, { done, fail })).finally(() => waiting.delete(id));
    mine.answer.catch(() => undefined); // told where it is waited for
    return mine;
  };

  // The answer to an entry. Throws what is refused, and, where nobody answered, an error that is `kept`, whose `sent` is
  // the answer still to come. Throws an error that is `unkept` where the browser keeps nothing.
  const send = async (url, entry, name, given) => {
    await taps.put(url, entry, name, given);
    const mine = waiting.get(entry.id) ?? newWait(entry.id);
    waiting.set(entry.id, mine);
    mine.left = false;
    const nobody = new Promise((late) => {
      mine.late = late;
      setTimeout(late, ANSWER_MS, true);
    });
    told({ id: entry.id });
    drain();
    const late = await Promise.race([mine.answer, nobody]);
    if (typeof late !== "boolean") return late;
    mine.left = true;
    told({ id: entry.id });
    const text = late ? list.dataset.notAnswered : list.dataset.kept;
    throw Object.assign(new Error(text), { kept: true, sent: mine.answer });
  };

  addEventListener("polled", drain);

  window.coldshedOutbox = {
    send, drop, change,
    every: taps.every,
    keeps: (url, entry) => url === "/api/events" && kinds.has(entry.kind),
    isDecision: (url, entry) => url.endsWith("/decisions") || ["demoulded", "released", "scrapped"].includes(entry.kind),
    stateOf: (id) => waiting.has(id) && (waiting.get(id).left ? "left" : "waits"), // false: not tapped on this page
  };
})();
