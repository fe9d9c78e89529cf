// Draws the panel's chart from the server's figure, in the colours of the theme, moves its cursor and saves a picture.
"use strict";
(() => {
  const PICTURE = { width: 1200, height: 880, top: 84, bottom: 136, line: 22 };
  let place = null;
  let range, words, summary, figure, cursor, drawnAt, tag, moved, probe, picture;
  let printing = false;
  // Parts of the chart by name: one that has not changed is not sent again.
  const blocks = new Map();

  // The figure comes with a panel's first coat, so it may not be there yet.
  const find = () => {
    const found = document.getElementById("chart");
    if (found === place) return;
    place = found;
    range = document.getElementById("cursor");
    words = document.getElementById("at-cursor");
    probe = document.getElementById("chart-colour");
    summary = words?.textContent;
    figure = null;
    cursor = [];
    tag = "";
    moved = false;
    range?.addEventListener("input", () => {
      moved = true;
      say();
      draw();
    });
    document.getElementById("save-picture")?.addEventListener("click", savePicture);
  };

  // "@ink" in the figure stands for the token --ink, as the page's theme or the system's own colours have it.
  const token = (name, light) => {
    probe.classList.toggle("as-light", light);
    probe.style.color = `var(--${name})`;
    return getComputedStyle(probe).color;
  };
  const coloured = (value, light) => {
    if (typeof value === "string") return value.startsWith("@") ? token(value.slice(1), light) : value;
    if (Array.isArray(value)) return typeof value[0] === "number" ? value : value.map((item) => coloured(item, light));
    if (value && typeof value === "object")
      return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, coloured(item, light)]));
    return value;
  };

  const expired = () => Boolean(document.querySelector(".answer[data-expired]"));

  // Past good_until nothing is said of what lies ahead: the chart ends where it was drawn, and its flag says when.
  const end = (layout) => {
    layout.xaxis.range = [layout.xaxis.range[0], drawnAt];
    layout.shapes = layout.shapes.filter((shape) => shape.xref === "x domain" || shape.x0 <= drawnAt);
    layout.annotations = layout.annotations.filter((note) => note.xref || note.x <= drawnAt);
    for (const note of layout.annotations)
      if (note.name === "now") Object.assign(note, { text: window.coldshed.clock(drawnAt), xanchor: "right" });
  };

  const shown = (light) => {
    const made = coloured(figure, light);
    if (expired()) end(made.layout);
    return made;
  };

  const draw = async () => {
    if (!figure || !window.Plotly) return;
    const { data, layout } = shown(printing);
    if (moved) {
      const at = cursor[range.value].at;
      const line = { color: token("link", printing), width: 2 };
      layout.shapes.push({ type: "line", x0: at, x1: at, yref: "paper", y0: 0, y1: 1, line });
    }
    await Plotly.react(place, data, layout, { staticPlot: true, responsive: true, displayModeBar: false });
    place.dataset.drawn = drawnAt;
    performance.mark("chart drawn");
  };

  // The chart as a file: its own drawing in light, with the panel's name above, and below what its lines are and are not.
  const savePicture = async () => {
    if (!figure) return;
    const { width, height, top, bottom, line } = PICTURE;
    const { data, layout } = shown(true);
    const place = { showarrow: false, xref: "paper", yref: "paper", x: 0, xanchor: "left" };
    const title = { text: picture.title, y: 1, yanchor: "bottom", yshift: 40, font: { size: 20, weight: 800 } };
    const below = picture.below.map((text, n) => ({ text, y: 0, yanchor: "top", yshift: -30 - n * line }));
    layout.annotations.push(...[title, ...below].map((note) => ({ ...place, ...note })));
    layout.paper_bgcolor = token("strip", true);
    layout.margin = { l: 60, r: 30, t: top, b: bottom };
    const href = await Plotly.toImage({ data, layout }, { format: "png", width, height, scale: 2 });
    const link = document.createElement("a");
    Object.assign(link, { href, download: picture.name });
    link.click();
  };

  const say = () => {
    words.textContent = moved ? cursor[range.value].say : summary;
    range.setAttribute("aria-valuetext", words.textContent);
  };

  const upTo = (at) => Math.max(0, cursor.findLastIndex((row) => row.at <= at));

  const setCursor = (at) => {
    range.max = expired() ? upTo(drawnAt) : cursor.length - 1;
    const same = cursor.findIndex((row) => row.at === at);
    range.value = moved && same >= 0 ? same : upTo(window.coldshed.now());
    say();
  };

  // The server names every block and sends those that this page does not have yet.
  const take = (told) => {
    const whole = told.blocks.map((block) => (typeof block === "string" ? blocks.get(block) : block));
    blocks.clear();
    for (const block of whole) blocks.set(block.id, block);
    told.data.forEach((trace, n) => {
      if (trace.meta === "whole") return;
      const parts = whole.map((block) => block.of[n]).filter(Boolean);
      trace.x = parts.flatMap((part) => part[0]);
      trace.y = parts.flatMap((part) => part[1]);
    });
    figure = { data: told.data, layout: told.layout };
    cursor = whole.flatMap((block) => block.rows).map(([at, text]) => ({ at, say: text }));
    drawnAt = told.drawn_at;
    picture = told.picture;
  };

  const fetchFigure = async () => {
    find();
    if (!place) return;
    const have = [...blocks.keys()].join(",");
    const headers = tag ? { "If-None-Match": tag } : {};
    const answer = await fetch(place.dataset.chart + (have && `?have=${have}`), { cache: "no-store", headers });
    if (answer.status === 304 || !answer.ok) return;
    tag = answer.headers.get("ETag") ?? "";
    const told = await answer.json();
    const at = moved ? cursor[range.value].at : null;
    take(told);
    setCursor(at);
    // The drawing library may still be on its way: it is the last of the page's scripts.
    if (!window.Plotly) await new Promise((done) => addEventListener("DOMContentLoaded", done, { once: true }));
    await draw();
  };

  // A failed fetch is told by the header already ("lost touch"): the poll beside this one fails too.
  let underway = null;
  const refresh = () => {
    underway ??= fetchFigure()
      .catch(() => undefined)
      .finally(() => (underway = null));
  };
  addEventListener("themechange", draw);
  for (const query of ["(forced-colors: active)", "print"])
    matchMedia(query).addEventListener("change", (event) => {
      if (query === "print") printing = event.matches;
      draw();
    });
  addEventListener("expired", () => {
    if (!figure) return;
    setCursor(moved ? cursor[range.value].at : null);
    draw();
  });
  addEventListener("polled", refresh);
  refresh();
})();
