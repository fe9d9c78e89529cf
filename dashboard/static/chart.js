// Draws the panel's chart from the server's figure, in the colours of the theme, and moves its cursor.
"use strict";
(() => {
  let place = null;
  let range, words, summary, figure, cursor, drawnAt, tag, moved;

  // The figure comes with a panel's first coat, so it may not be there yet.
  const find = () => {
    const found = document.getElementById("chart");
    if (found === place) return;
    place = found;
    range = document.getElementById("cursor");
    words = document.getElementById("at-cursor");
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
  };

  // "@ink" in the figure stands for the token --ink of the page.
  const coloured = (value, style) => {
    if (typeof value === "string") return value.startsWith("@") ? style.getPropertyValue(`--${value.slice(1)}`).trim() : value;
    if (Array.isArray(value)) return value.map((item) => coloured(item, style));
    if (value && typeof value === "object")
      return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, coloured(item, style)]));
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

  const draw = () => {
    if (!figure) return;
    const { data, layout } = coloured(figure, getComputedStyle(document.documentElement));
    if (expired()) end(layout);
    if (moved) {
      const at = cursor[range.value].at;
      const line = { color: coloured("@link", getComputedStyle(document.documentElement)), width: 2 };
      layout.shapes.push({ type: "line", x0: at, x1: at, yref: "paper", y0: 0, y1: 1, line });
    }
    return Plotly.react(place, data, layout, { staticPlot: true, responsive: true, displayModeBar: false });
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

  const fetchFigure = async () => {
    find();
    if (!place) return;
    const answer = await fetch(place.dataset.chart, { cache: "no-store", headers: tag ? { "If-None-Match": tag } : {} });
    if (answer.status === 304 || !answer.ok) return;
    tag = answer.headers.get("ETag") ?? "";
    const told = await answer.json();
    const at = moved ? cursor[range.value].at : null;
    figure = told.figure;
    drawnAt = told.drawn_at;
    cursor = told.cursor;
    setCursor(at);
    await draw();
  };

  addEventListener("themechange", draw);
  addEventListener("expired", () => {
    if (!figure) return;
    setCursor(moved ? cursor[range.value].at : null);
    draw();
  });
  // A failed fetch is told by the header already ("lost touch"): the poll beside this one fails too.
  const refresh = () => fetchFigure().catch(() => undefined);
  addEventListener("polled", refresh);
  refresh();
})();
