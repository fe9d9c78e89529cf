// The browser's own database of taps that the shop's computer has not answered: they outlive the page and the phone's
// sleep. Its transactions stand in line over all tabs, so that one page at a time sends.
"use strict";
(() => {
  const LEASE_MS = 12000; // a page that sends and falls asleep is followed by another after this
  const visitor = () => document.body.dataset.visitor ?? ""; // who is signed in here, if anybody has to be
  const page = [...crypto.getRandomValues(new Uint32Array(2))].join("-");

  const opened = new Promise((done) => {
    let asked;
    try {
      asked = indexedDB.open("coldshed", 1);
    } catch {
      return done(null); // shut off: a tap that is not answered has to be tapped again
    }
    asked.onupgradeneeded = () => {
      const taps = asked.result.createObjectStore("tap", { keyPath: "n", autoIncrement: true });
      taps.createIndex("id", "entry.id", { unique: true });
      asked.result.createObjectStore("sender");
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = asked.onblocked = () => done(null);
  });

  // One transaction over both stores: those of all tabs stand in line. `work` may leave a value in what it is given.
  const within = async (work) => {
    const base = await opened;
    if (!base) throw Object.assign(new Error("nothing is kept here"), { unkept: true });
    return new Promise((done, fail) => {
      const made = {};
      const all = base.transaction(["tap", "sender"], "readwrite", { durability: "strict" });
      all.oncomplete = () => done(made.value);
      all.onabort = () => fail(Object.assign(new Error(String(all.error)), { unkept: true }));
      work(all.objectStore("tap"), all.objectStore("sender"), made);
    });
  };

  const every = () =>
    within((taps, _, made) => {
      taps.getAll().onsuccess = ({ target }) => (made.value = target.result);
    });

  // name: what it was tapped for, as a person calls it; given: its time was said by a person, not by a clock.
  const put = (url, entry, name, given) =>
    within((taps) => {
      taps.index("id").getKey(entry.id).onsuccess = ({ target }) => {
        if (target.result === undefined) taps.add({ url, entry, name, given: Boolean(given), by: visitor(), phone: Date.now() });
      };
    });

  // What is sent next. What somebody has to decide on first stands aside; what came after it on its panel waits.
  const nextOf = (taps) => {
    const stuck = new Set();
    for (const one of taps) {
      if (one.by && one.by !== visitor()) continue; // it is sent in the name of whoever tapped it, or not at all
      if (one.asks) stuck.add(one.entry.panel);
      else if (!one.refused && !one.held && !(one.entry.panel && stuck.has(one.entry.panel))) return one;
    }
    return null;
  };

  // The next one, and the right to send it for a while; null: there is none, or another page sends.
  const claim = () =>
    within((taps, sender, made) => {
      made.value = null;
      sender.get("now").onsuccess = ({ target }) => {
        const left = target.result ? target.result.until - Date.now() : 0;
        const taken = target.result && target.result.page !== page && left > 0 && left <= LEASE_MS;
        taps.getAll().onsuccess = ({ target: { result } }) => {
          const next = nextOf(result);
          if (taken) {
            if (next) setTimeout(() => dispatchEvent(new Event("polled")), LEASE_MS);
            return;
          }
          made.value = next;
          if (next) sender.put({ page, until: Date.now() + LEASE_MS }, "now");
          else sender.delete("now");
        };
      };
    });

  const release = () => within((_, sender) => sender.delete("now"));

  const drop = (one) => within((taps) => taps.delete(one.n));
  const change = (one, changes) => within((taps) => taps.put({ ...one, ...changes }));

  // The server's no. What was undone meanwhile goes with its undoing; what came after it on its panel is held back.
  const refuse = (one, why) =>
    within((taps) => {
      taps.getAll().onsuccess = ({ target: { result } }) => {
        const undoing = result.find(({ entry }) => entry.kind === "withdrawn" && entry.event === one.entry.id);
        if (undoing) {
          taps.delete(undoing.n);
          taps.delete(one.n);
          return;
        }
        taps.put({ ...one, refused: why });
        for (const later of result)
          if (later.n > one.n && one.entry.panel && later.entry.panel === one.entry.panel && !later.refused)
            taps.put({ ...later, held: true });
      };
    });

  // Sent with what is tapped: the shop takes nothing from a page of somebody else than is signed in by now.
  const heads = (type) => ({ "Content-Type": type, "Coldshed-Visitor": encodeURIComponent(visitor()) });

  window.coldshedTaps = { heads, opened, every, put, claim, release, drop, change, refuse };
})();
