/* The page: tables sort by their heads, pictures of maps open by a button, only tables that scroll can be focused, long parts are folded on the screen. */
(function () {
  "use strict";
  document.documentElement.classList.add("js");

  function value(cell) {
    const text = cell.textContent.trim(), figure = parseFloat(text.replace(/\u2212/g, "-").replace(/[,\s]/g, ""));
    if (cell.classList.contains("figure-cell")) return Number.isNaN(figure) ? null : figure;
    return text === "" ? null : text;
  }

  function compare(a, b) {
    if (a === null || b === null) return a === b ? 0 : a === null ? 1 : -1;
    return typeof a === "number" && typeof b === "number" ? a - b : String(a).localeCompare(String(b), undefined, { numeric: true });
  }

  function sortBy(head) {
    const table = head.closest("table"), body = table.tBodies[0], column = head.cellIndex;
    const down = head.getAttribute("aria-sort") === "ascending";
    table.querySelectorAll("thead th").forEach(function (other) { other.removeAttribute("aria-sort"); });
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const rows = Array.from(body.rows).map(function (row, place) { return { row: row, place: place, key: value(row.cells[column]) }; });
    rows.sort(function (a, b) {
      const blank = (a.key === null) - (b.key === null);       // blanks stay last either way
      return blank || (down ? compare(b.key, a.key) : compare(a.key, b.key)) || a.place - b.place;
    });
    rows.forEach(function (entry) { body.appendChild(entry.row); });
  }

  function fitFocus() {
    document.querySelectorAll(".table-scroll, .card, .formula, pre").forEach(function (box) {
      if (box.scrollWidth > box.clientWidth + 1) box.setAttribute("tabindex", "0");
      else box.removeAttribute("tabindex");
    });
  }

  // Folded parts are open in the file, for paper and for browsers without scripts.
  const opened = [];
  function folded() { return Array.from(document.querySelectorAll("details.folded")); }
  function shutAll() {
    folded().forEach(function (part) {
      part.open = false;
      part.addEventListener("toggle", fitFocus);
    });
  }
  function openForPrint() {
    folded().forEach(function (part) { if (!part.open) { opened.push(part); part.open = true; } });
  }
  function shutAfterPrint() {
    opened.splice(0).forEach(function (part) { part.open = false; });
  }

  document.addEventListener("click", function (event) {
    const head = event.target.closest && event.target.closest("thead button");
    if (head) return sortBy(head.closest("th"));
    const opener = event.target.closest && event.target.closest(".as-picture");
    if (!opener) return;
    const twin = document.getElementById(opener.getAttribute("aria-controls")), open = twin.classList.toggle("open");
    opener.setAttribute("aria-expanded", String(open));
  });
  document.addEventListener("DOMContentLoaded", function () { shutAll(); fitFocus(); });
  window.addEventListener("beforeprint", openForPrint);
  window.addEventListener("afterprint", shutAfterPrint);
  window.addEventListener("resize", fitFocus);
})();
