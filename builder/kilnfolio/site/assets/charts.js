/* Charts that read their values out, to a pointer, a finger and the arrow keys. The values are those of
   the tables behind a chart, or are written on its parts; without this script both are there to read. */
(function () {
  "use strict";

  function tidy(text) { return text.replace(/\s+/g, " ").trim(); }

  function heading(cell) {
    var copy = cell.cloneNode(true);
    copy.querySelectorAll(".unit").forEach(function (unit) { unit.remove(); });
    var unit = cell.querySelector(".unit"), words = cell.dataset.read || tidy(copy.textContent).replace(/ ±$/, "");
    // a word is lowered, an abbreviation or a board's tag is not: "dry bulb", "EMC", "S1"
    words = words.replace(/\b[A-Z][a-z]+/g, function (word) { return word.toLowerCase(); });
    return { words: words, unit: unit ? tidy(unit.textContent) : "" };
  }

  function rows(table) {
    var heads = Array.from(table.tHead.rows[0].cells).map(heading);
    return Array.from(table.tBodies[0].rows).map(function (row) {
      var time = row.querySelector("time"), parts = [];
      Array.from(row.cells).forEach(function (cell, place) {
        if (place && tidy(cell.textContent) !== "\u2013") {
          parts.push(heads[place].words + " " + tidy(cell.textContent) + (heads[place].unit ? "\u00a0" + heads[place].unit : ""));
        }
      });
      return { at: Date.parse(time.dateTime), when: tidy(time.textContent), words: parts.join(", ") };
    }).sort(function (a, b) { return a.at - b.at; });
  }

  // moments of the first table; of every other table what held at that moment
  function clockStops(svg) {
    var tables = Array.from(document.querySelectorAll('[data-behind="' + svg.querySelector("title").id.replace(/-title$/, "") + '"]'));
    if (!tables.length) { return []; }
    var start = Date.parse(svg.dataset.from), length = svg.dataset.days * 864e5;
    var line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "ink");
    var others = tables.slice(1).map(rows);
    return rows(tables[0]).map(function (row) {
      var x = +svg.dataset.left + svg.dataset.width * Math.min(Math.max((row.at - start) / length, 0), 1);
      return {
        x: x,
        words: function () {
          var held = others.map(function (list) {
            var last = list.filter(function (other) { return other.at <= row.at; }).pop();
            return last ? "; weighed " + last.when + ": " + last.words : "";
          });
          return row.when + ": " + row.words + held.join("");
        },
        mark: function () {
          line.setAttribute("d", "M" + x + " " + svg.dataset.top + "V" + svg.dataset.foot);
          svg.append(line);
        },
        unmark: function () { line.remove(); },
      };
    });
  }

  function spokenStops(svg) {
    return Array.from(svg.querySelectorAll("[data-read]")).map(function (part) {
      return {
        part: part,
        words: function () { return part.dataset.read; },
        mark: function () { part.classList.add("read"); },
        unmark: function () { part.classList.remove("read"); },
      };
    });
  }

  function nearest(stops, x) {
    var best = 0;
    stops.forEach(function (stop, place) {
      if (Math.abs(stop.x - x) < Math.abs(stops[best].x - x)) { best = place; }
    });
    return best;
  }

  function makeReadable(svg) {
    var figure = svg.closest("figure"), line = figure && figure.querySelector(".readout");
    var holder = svg.closest("[tabindex]");
    if (!line || !holder) { return; }
    var invitation = line.textContent, stops = null, now = -1;

    function ready() {
      stops = stops || (svg.dataset.readout === "clock" ? clockStops(svg) : spokenStops(svg));
      return stops.length;
    }

    function read(place) {
      if (now >= 0) { stops[now].unmark(); }
      now = place;
      if (now < 0) { line.textContent = invitation; return; }
      stops[now].mark();
      line.textContent = stops[now].words();
    }

    function point(event) {
      if (!ready()) { return; }
      var place;
      if (svg.dataset.readout === "clock") {
        var spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
        place = nearest(stops, spot.x);
      } else {
        place = stops.findIndex(function (stop) { return stop.part === event.target; });
      }
      if (place >= 0 && place !== now) { read(place); }
    }

    function key(event) {
      if (event.ctrlKey || event.altKey || event.metaKey || !ready()) { return; }
      var moves = { ArrowRight: now + 1, ArrowLeft: now < 0 ? stops.length - 1 : now - 1, Home: 0, End: stops.length - 1 };
      if (svg.dataset.readout === "stops") { moves.ArrowDown = moves.ArrowRight; moves.ArrowUp = moves.ArrowLeft; }
      if (event.key === "Escape") { read(-1); return; }
      if (!(event.key in moves)) { return; }
      event.preventDefault();
      read(Math.min(Math.max(moves[event.key], 0), stops.length - 1));
    }

    svg.addEventListener("pointermove", point);
    svg.addEventListener("pointerdown", point);
    holder.addEventListener("keydown", key);
  }

  document.querySelectorAll("svg[data-readout]").forEach(makeReadable);
}());
