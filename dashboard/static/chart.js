// Draws the panel's chart from the server's figure, in the colours of the theme, and moves its cursor.
"use strict";
(() => {
  const place = document.getElementById("chart");
  const range = document.getElementById("cursor");
  const words = document.getElementById("at-cursor");
  const summary = words.textContent;
  let figure = null;
  let cursor = [];
  let tag = "";
  let moved = false;

  // "@ink" in the figure stands for the token --ink of the page.
  const coloured = (value, style) => {
    if (typeof value === "string") return value.startsWith("@") ? style.getPropertyValue(`--${value.slice(1)}`).trim() : value;
    if (Array.isArray(value)) return value.map((item) => coloured(item, style));
    if (value && typeof value === "object")
      return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, coloured(item, style)]));
    return value;
  };

  const draw = () => {
    if (!figure) return;
    const { data, layout } = coloured(figure, getComputedStyle(document.documentElement));
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

  const nearest = () => {
    const now = window.coldshed.now();
    return Math.max(0, cursor.findLastIndex((row) => row.at <= now));
  };

  const fetchFigure = async () => {
    const answer = await fetch(place.dataset.chart, { cache: "no-store", headers: tag ? { "If-None-Match": tag } : {} });
    if (answer.status === 304 || !answer.ok) return;
    tag = answer.headers.get("ETag") ?? "";
    const told = await answer.json();
    const at = moved ? cursor[range.value].at : null;
    figure = told.figure;
    cursor = told.cursor;
    range.max = cursor.length - 1;
    const same = cursor.findIndex((row) => row.at === at);
    range.value = moved && same >= 0 ? same : nearest();
    say();
    await draw();
  };

  range.addEventListener("input", () => {
    moved = true;
    say();
    draw();
  });
  addEventListener("themechange", draw);
  // A failed fetch is told by the header already ("lost touch"): the poll beside this one fails too.
  const refresh = () => fetchFigure().catch(() => undefined);
  addEventListener("polled", refresh);
  refresh();
})();
