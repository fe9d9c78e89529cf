// Keeps an open page true: its own clock, "not known" past good_until without any server, and what is new in its place.
"use strict";
(() => {
  const CHASE_POLL_MS = 500;
  const CHASE_MS = 10000;
  const body = document.body;
  let base = Number(body.dataset.now);
  let rate = Number(body.dataset.rate);
  let ticked = performance.now();
  let dated = Date.now();
  // When the shop last told a page its time, by the device's clock.
  const TOLD = "told-at";
  const toldAt = () => {
    try {
      return Number(localStorage.getItem(TOLD));
    } catch {
      return 0; // storage is shut off: what the page itself carries has to do
    }
  };
  const noteTold = () => {
    try {
      localStorage.setItem(TOLD, Date.now());
    } catch {
      // storage is shut off: as above
    }
  };
  // A page that this device kept is as old as the device's clock says; of no known age if that was set back since.
  const kept = Number(body.dataset.kept);
  let ageless = kept > 0 && Math.max(kept, toldAt()) > dated;
  let unsure = kept > 0; // the shop has not told its time yet
  if (kept) base += rate * Math.max(0, dated - kept);
  let swapped = -1e9;

  // performance.now() may stand still while a phone sleeps, Date.now() may be set: the later one is the safe one.
  const now = () => base + rate * Math.max(performance.now() - ticked, Date.now() - dated);

  const clock = (at) =>
    new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: body.dataset.zone }).format(at);

  // With its day if that is not today.
  const when = (at) => {
    const day = (of) =>
      new Intl.DateTimeFormat("en-GB", { weekday: "short", day: "numeric", month: "short", timeZone: body.dataset.zone })
        .format(of)
        .replace(",", "");
    return day(at) === day(now()) ? clock(at) : `${day(at)} ${clock(at)}`;
  };

  const rebase = (answer) => {
    const sent = Number(answer.headers.get("Coldshed-Now"));
    if (!sent) return;
    noteTold();
    base = sent;
    rate = Number(answer.headers.get("Coldshed-Rate"));
    ticked = performance.now();
    dated = Date.now();
    ageless = false;
    unsure = false;
  };

  const speak = (text) => {
    document.getElementById("spoken").textContent = text;
  };

  const expire = () => {
    for (const strip of document.querySelectorAll("[data-good-until]")) {
      if (strip.dataset.expired || (!ageless && now() < Number(strip.dataset.goodUntil))) continue;
      strip.dataset.expired = "yes";
      for (const name of ["act", "go", "care", "wait"]) strip.classList.remove(name);
      strip.classList.add("not-known");
      const told = CSS.escape(strip.dataset.strip);
      for (const part of strip.querySelectorAll(".fresh")) part.hidden = true;
      for (const part of document.querySelectorAll(`.fresh[data-of="${told}"]`)) part.hidden = true;
      for (const part of strip.querySelectorAll(".stale")) part.hidden = false;
      speak(`${strip.dataset.name}: ${strip.querySelector(".stale .headline").textContent}`);
      dispatchEvent(new Event("expired"));
    }
  };

  const headline = (strip) => strip.querySelector(".fresh .headline")?.textContent ?? "";

  // Takes a strip's new content in place; a strip never changes its place while the page is seen.
  const takeStrip = (old, fresh) => {
    const changed = headline(old) !== headline(fresh);
    if (old.isEqualNode(fresh)) return;
    const focused = old.contains(document.activeElement) ? (document.activeElement.matches(".do") ? ".do" : ".open") : "";
    const height = old.getBoundingClientRect().height;
    const folded = old.classList.contains("folded");
    for (const name of [...old.getAttributeNames()]) if (!fresh.hasAttribute(name)) old.removeAttribute(name);
    for (const { name, value } of [...fresh.attributes]) old.setAttribute(name, value);
    old.replaceChildren(...fresh.childNodes);
    if (focused) old.querySelector(focused)?.focus({ preventScroll: true });
    if (changed) {
      old.classList.add("changed");
      speak(`${old.dataset.name}: ${headline(old)}`);
    }
    if (folded) old.classList.add("folded"); // its button comes with the new order
    if (folded) old.querySelector(".do")?.remove();
    if (old.matches(".strip") && height) hold(old, height); // one that is filtered out has none
    if (Math.abs(old.getBoundingClientRect().height - height) > 0.5) swapped = performance.now();
  };

  // While it is seen a strip keeps its height, so that none below it moves: it is filled up, or says less of why.
  const hold = (strip, height) => {
    strip.style.minHeight = `${height}px`;
    for (const less of ["tight", "tighter"]) if (strip.getBoundingClientRect().height > height + 0.5) strip.classList.add(less);
  };

  const takeStrips = (page) => {
    const list = document.querySelector(".strips");
    const fresh = [...page.querySelectorAll(".strips > .strip")];
    if (!list) {
      if (fresh.length) location.reload();
      return;
    }
    for (const strip of fresh) {
      const old = document.getElementById(strip.id);
      if (old) takeStrip(old, strip);
      else list.append(strip.cloneNode(true));
    }
    offerOrder([...list.children], fresh);
  };

  // The order has changed, and why: the strip that is first now, or whose place differs first.
  const offerOrder = (shown, fresh) => {
    const button = document.getElementById("resort");
    const ids = fresh.map((strip) => strip.id);
    const at = ids.findIndex((id, i) => id !== shown[i]?.id);
    const gone = shown.find((strip) => !ids.includes(strip.id));
    button.hidden = at < 0 && !gone;
    if (button.hidden) return;
    const { dataset } = button;
    const [text, strip] = gone ? [dataset.gone, gone] : [at === 0 ? dataset.first : dataset.up, fresh[at]];
    button.textContent = text.replace("{name}", strip.dataset.name.split(" · ")[0]);
  };

  // Puts a part's new content in its place; focus goes to the same control, or to the part if that control is gone.
  const replace = (old, fresh) => {
    const focused = old.contains(document.activeElement) ? document.activeElement : null;
    old.replaceWith(fresh);
    if (!focused) return;
    const same = ["data-seen", "data-take-back", "data-log", "href"]
      .filter((name) => focused.hasAttribute(name))
      .map((name) => fresh.querySelector(`[${name}="${CSS.escape(focused.getAttribute(name))}"]`))[0];
    if (!same) fresh.tabIndex = -1;
    (same ?? fresh).focus({ preventScroll: true });
  };

  const take = (text) => {
    const page = new DOMParser().parseFromString(text, "text/html");
    const rung = document.querySelector("[data-alarm]")?.dataset.alarm;
    for (const old of document.querySelectorAll("[data-live]")) {
      const fresh = page.querySelector(`[data-live="${old.dataset.live}"]`);
      if (!fresh || old.isEqualNode(fresh)) continue;
      if (old.matches("[data-strip]")) takeStrip(old, fresh);
      else replace(old, document.adoptNode(fresh));
    }
    for (const old of document.querySelectorAll("[data-has]")) {
      const fresh = page.getElementById(old.id);
      if (fresh && fresh.dataset.has !== old.dataset.has) old.replaceWith(document.adoptNode(fresh));
    }
    if (page.getElementById("resort")) takeStrips(page);
    const alarm = document.querySelector("[data-alarm]");
    if (alarm && alarm.dataset.alarm !== rung) document.getElementById("rings").textContent = alarm.textContent;
    expire();
    showPending();
    return page;
  };

  // Strips that have been acted on and wait for the answer that knows of it: panel -> when it was logged, until when.
  const pending = new Map();
  const showPending = () => {
    for (const [panel, { since, limit }] of pending) {
      const strip = document.querySelector(`[data-strip="${CSS.escape(panel)}"]`);
      const over = !strip || Number(strip.dataset.workedOut) >= since || performance.now() > limit;
      if (over) pending.delete(panel);
      if (!over && !strip.classList.contains("pending")) hold(strip, strip.getBoundingClientRect().height);
      strip?.classList.toggle("pending", !over);
      for (const button of document.querySelectorAll(`[data-log][data-panel="${CSS.escape(panel)}"]`))
        if (over) button.removeAttribute("aria-disabled");
        else button.setAttribute("aria-disabled", "true");
    }
  };

  const pend = async (panel, since) => {
    const chasing = pending.size > 0;
    pending.set(panel, { since, limit: performance.now() + CHASE_MS });
    showPending();
    if (pending.has(panel)) speak(body.dataset.working);
    while (pending.size && !chasing) {
      await new Promise((done) => setTimeout(done, CHASE_POLL_MS));
      await window.coldshed.poll();
      showPending();
    }
  };

  expire();
  body.classList.remove("unread");
  setInterval(expire, 250);

  window.coldshed = {
    now, rebase, expire, take, hold, pend, speak, clock, when,
    steady: () => performance.now() - swapped > 400,
    rate: () => rate,
    age: () => (unsure ? Infinity : 0) + Math.max(performance.now() - ticked, Date.now() - dated), // ms since the shop last told its time
    // By a clock that has been put right since: something is said to be too old that is not.
    misjudged: () => [...document.querySelectorAll("[data-expired]")].some((one) => now() < Number(one.dataset.goodUntil)),
  };
})();
