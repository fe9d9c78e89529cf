// Shows what is not yet sent: its number in the header, a line on the strip it was tapped for, and a list in which what
// was not taken can be opened, sent after all or thrown away.
"use strict";
(() => {
  const { every, drop, change, stateOf } = window.coldshedOutbox;
  const { show: toast, tap } = window.coldshedLog;
  const { clock, hold, pend } = window.coldshed;
  const list = document.getElementById("unsent-list");
  const lines = list.querySelector("ul");
  const button = document.getElementById("unsent");
  const words = list.dataset;
  const JUST_MS = 1000;

  const did = (kind) => list.querySelector("template").content.querySelector(`[data-kind="${CSS.escape(kind)}"]`).textContent;
  const lineOf = ({ entry, phone }) => {
    const felt = entry.body?.words ? `: ${entry.body.words.join(", ")}` : "";
    return words.line.replace("{did}", did(entry.kind)).replace("{at}", clock(entry.at ?? phone)) + felt;
  };
  const many = (count, one, more) => (count === 1 ? one : more.replace("{n}", count));

  const make = (name, text, more = {}) => Object.assign(document.createElement(name), { textContent: text, ...more });
  const act = (text, does) => {
    const made = make("button", text, { type: "button", className: "do" });
    made.addEventListener("click", () => does(made));
    return made;
  };
  const throwAway = (one) =>
    act(words.drop, (made) => {
      if (made.textContent === words.dropSure) drop(one);
      made.textContent = words.dropSure;
    });

  // What a person may do about one of them. A time that is chosen is said by that person, not by a clock.
  const actsOf = (one) => {
    const made = [];
    if (one.asks)
      for (const at of [one.entry.at, one.asks])
        made.push(act(clock(at), () => change(one, { asks: undefined, given: true, entry: { ...one.entry, at } })));
    if (one.held) made.push(act(words.send, () => change(one, { held: undefined })));
    if (one.refused) {
      const href = one.entry.panel ? `/panels/${encodeURIComponent(one.entry.panel)}` : "/more/alarms";
      made.push(make("a", words.open, { href, className: "do" }));
    }
    if (one.refused || one.held || one.asks) made.push(throwAway(one));
    return made;
  };

  const saysOf = (one) => {
    if (one.by && one.by !== (document.body.dataset.visitor ?? "")) return words.other.replace("{name}", one.by);
    if (one.refused) return words.refused.replace("{why}", one.refused);
    return one.held ? words.held : one.asks ? words.when : words.waits;
  };

  const itemOf = (one) => {
    const item = make("li", "");
    const says = make("p", "", { className: "unsent-says" });
    says.append(make("strong", `${one.name || words.anAlarm}: ${lineOf(one)}`), make("span", saysOf(one)));
    const acts = make("div", "", { className: "unsent-acts" });
    acts.append(...actsOf(one));
    item.append(says, acts);
    return item;
  };

  const showList = (taps) => {
    const focused = lines.contains(document.activeElement);
    lines.replaceChildren(...taps.map(itemOf));
    if (focused) list.focus();
    if (!taps.length && list.open) list.close();
  };

  // On each strip what was tapped for it; its verdict stays as it was. The same is not tapped twice.
  const showStrips = (taps) => {
    for (const strip of document.querySelectorAll("[data-strip]")) {
      const mine = taps.filter(({ entry }) => entry.panel === strip.dataset.strip);
      const short = (one) => (one.refused || one.held || one.asks ? words.stuck : saysOf(one));
      const text = mine.map((one) => `${lineOf(one)}: ${short(one)}`).join(". ");
      let note = strip.querySelector(".unsent-note");
      if (!text && !note) continue;
      const { height } = strip.getBoundingClientRect();
      if (!note) (strip.querySelector(".text") ?? strip).append((note = make("span", "", { className: "unsent-note" })));
      if (!text) note.remove();
      else if (note.textContent !== text) note.textContent = text;
      strip.classList.toggle("unsent-strip", text !== "");
      if (text && strip.matches(".strip")) hold(strip, height);
    }
    for (const one of document.querySelectorAll("[data-log], [data-seen]")) {
      const { log, panel, seen } = one.dataset;
      const kept = taps.some(({ entry, refused }) =>
        refused ? false : seen ? entry.alarm === seen : entry.kind === log && entry.panel === panel);
      if (kept) one.setAttribute("aria-disabled", "true");
      else if (one.dataset.kept) one.removeAttribute("aria-disabled");
      if (kept) one.dataset.kept = "yes";
      else delete one.dataset.kept;
    }
  };

  const show = async () => {
    let taps;
    try {
      taps = await every();
    } catch (problem) {
      if (problem.unkept) return; // nothing is kept in this browser: there is nothing to show
      throw problem;
    }
    // One that was tapped just now, here or in another tab, will be answered before anybody has read this.
    const young = ({ phone }) => Math.abs(Date.now() - phone) < JUST_MS;
    if (taps.some((one) => !stateOf(one.entry.id) && young(one))) setTimeout(show, JUST_MS);
    taps = taps.filter((one) => stateOf(one.entry.id) === "left" || (!stateOf(one.entry.id) && !young(one)));
    const stuck = taps.filter((one) => one.refused || one.held || one.asks).length;
    button.hidden = taps.length === 0;
    button.textContent = stuck ? many(stuck, words.stuckOne, words.stuckMany) : many(taps.length, words.one, words.many);
    showList(taps);
    showStrips(taps);
  };

  // Sent at last, and the page where it was tapped is no more.
  const done = [];
  const sayDone = () => {
    if (!done.length) return;
    const [{ entry, answer }] = done;
    const undo = entry.panel && entry.kind !== "withdrawn" && done.length === 1;
    const text = done.length === 1 ? words.doneOne.replace("{said}", answer.said) : words.doneMany.replace("{n}", done.length);
    toast(text, undo ? () => tap({ kind: "withdrawn", panel: entry.panel, event: answer.event }) : null);
    done.length = 0;
  };

  addEventListener("outbox", ({ detail }) => {
    if (detail.idle) return sayDone();
    show();
    if (!detail.answer || !detail.here) return;
    if (detail.entry.panel) pend(detail.entry.panel, detail.answer.recorded);
    if (stateOf(detail.id)) return;
    done.push(detail);
  });
  addEventListener("polled", show);
  button.addEventListener("click", () => list.showModal());
  list.querySelector("[data-shut]").addEventListener("click", () => list.close());
  show();
})();
