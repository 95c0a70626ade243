/* Tables that can be sorted and filtered. Without this script they are whole and in a sensible order. */
(function () {
  "use strict";

  function worth(cell) {
    var text = cell.dataset.value || cell.textContent.trim();
    var number = parseFloat(text.replace(/\u2212/g, "-").replace(/[\u202f\u00a0 ]/g, ""));
    return { text: text, number: cell.dataset.value || !/^[\u2212+-]?[\d.]/.test(text) ? NaN : number };
  }

  function compare(a, b) {
    var blankA = a.text === "" || a.text === "\u2013", blankB = b.text === "" || b.text === "\u2013";
    if (blankA || blankB) { return blankA - blankB; }
    if (!isNaN(a.number) && !isNaN(b.number)) { return a.number - b.number; }
    return a.text.localeCompare(b.text, document.documentElement.lang, { numeric: true });
  }

  function sortBy(table, heading, place) {
    var falling = heading.getAttribute("aria-sort") === "ascending";
    table.querySelectorAll("th[aria-sort]").forEach(function (other) { other.removeAttribute("aria-sort"); });
    heading.setAttribute("aria-sort", falling ? "descending" : "ascending");
    var body = table.tBodies[0], rows = Array.from(body.rows).map(function (row) {
      return { row: row, worth: worth(row.cells[place]) };
    });
    rows.sort(function (a, b) { return falling ? compare(b.worth, a.worth) : compare(a.worth, b.worth); });
    rows.forEach(function (item) { body.append(item.row); });
  }

  function makeSortable(table) {
    Array.from(table.tHead.rows[0].cells).forEach(function (heading, place) {
      var button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.title = "Sort by this column";
      button.append.apply(button, Array.from(heading.childNodes));
      heading.append(button);
      button.addEventListener("click", function () { sortBy(table, heading, place); });
    });
  }

  function plain(text) {
    return text.normalize("NFKD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
  }

  function passes(row, field) {
    var wanted = plain(field.value.trim());
    if (!wanted) { return true; }
    if (field.dataset.filter === undefined) {
      var where = field.dataset.filterWords ? row.dataset[field.dataset.filterWords] || ""
        : row.textContent + " " + (row.dataset.text || "");
      return wanted.split(/\s+/).every(function (word) { return plain(where).indexOf(word) >= 0; });
    }
    var have = row.dataset[field.dataset.filter] || "";
    return field.dataset.match === "word" ? have.split(" ").indexOf(field.value) >= 0 : have === field.value;
  }

  function makeFilters(bar) {
    var holder = document.getElementById(bar.dataset.filters);
    var body = (holder.tBodies ? holder : holder.querySelector("table")).tBodies[0];
    var fields = Array.from(bar.querySelectorAll("input, select"));
    var count = document.createElement("span");
    count.className = "filter-count";
    count.setAttribute("role", "status");
    bar.append(count);
    function apply() {
      var shown = 0;
      Array.from(body.rows).forEach(function (row) {
        row.hidden = !fields.every(function (field) { return passes(row, field); });
        shown += !row.hidden;
      });
      count.textContent = shown + " of " + body.rows.length;
    }
    bar.addEventListener("input", apply);
    bar.hidden = false;
    apply();
  }

  document.querySelectorAll("table.sortable").forEach(makeSortable);
  document.querySelectorAll("[data-filters]").forEach(makeFilters);
}());
