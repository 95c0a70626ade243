/* A register: its newest rows stand in the page; with the first filter, order or "show more" the rest is fetched.
   The address carries the filter and the order, so that it can be sent to somebody. */
(function () {
  "use strict";

  var STEP = 50; // rows drawn at once: more would make the browser lay out thousands for nobody
  var MONTHS = ("January February March April May June July August September October November December").split(" ");
  var DASH = "\u2013", NBSP = "\u00a0", MINUS = "\u2212";

  function plain(text) {
    return text.normalize("NFKD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
  }

  // words ordered as people count: "kiln 9" before "kiln 10"
  function counted(text) {
    return plain(text).replace(/\d+/g, function (digits) { return digits.padStart(9, "0"); });
  }

  /* ---- the whole register, column by column ---------------------------------------------------------- */

  function Rows(parts) {
    this.parts = parts;
    this.firsts = [];
    this.count = 0;
    parts.forEach(function (part) { this.firsts.push(this.count); this.count += part.rows; }, this);
    this.joined = {};
    this.orders = {};
  }

  // distinct words with a number for each row, or numbers, NaN where there is none
  Rows.prototype.column = function (key) {
    if (this.joined[key]) { return this.joined[key]; }
    var kept, firsts = this.firsts;
    if (this.parts[0].columns[key].words) {
      var places = new Map();
      kept = { words: [], codes: new Uint32Array(this.count) };
      this.parts.forEach(function (part, place) {
        var column = part.columns[key], first = firsts[place];
        var global = column.words.map(function (word) {
          if (!places.has(word)) { places.set(word, kept.words.push(word) - 1); }
          return places.get(word);
        });
        for (var row = 0; row < part.rows; row += 1) { kept.codes[first + row] = global[column.codes[row]]; }
      });
    } else {
      kept = { numbers: new Float64Array(this.count) };
      this.parts.forEach(function (part, place) {
        part.columns[key].forEach(function (number, row) {
          kept.numbers[firsts[place] + row] = number === null ? NaN : number;
        });
      });
    }
    this.joined[key] = kept;
    return kept;
  };

  Rows.prototype.at = function (row) {
    var place = this.firsts.length - 1;
    while (this.firsts[place] > row) { place -= 1; }
    return { part: this.parts[place], row: row - this.firsts[place] };
  };

  // the rank of each row in the order of a column; what is blank has the last rank of all
  Rows.prototype.order = function (key) {
    if (this.orders[key]) { return this.orders[key]; }
    var column = this.parts[0].columns[key];
    this.orders[key] = typeof column === "string" ? this.orderOfTexts(key) : this.orderOfKinds(this.column(key));
    return this.orders[key];
  };

  // numbers of charges and lots: nearly all differ, and nearly all stand in order already
  Rows.prototype.orderOfTexts = function (key) {
    var texts = this.parts.flatMap(function (part) { return part.columns[key].split("\n"); }), last = 0;
    if (texts.some(function (text) { return text.length !== texts[0].length; })) { texts = texts.map(counted); }
    var ranks = new Uint32Array(this.count);
    Array.from(texts.keys()).sort(function (a, b) { return texts[a] < texts[b] ? -1 : texts[a] > texts[b] ? 1 : 0; })
      .forEach(function (row, place, rows) {
        if (place && texts[row] !== texts[rows[place - 1]]) { last += 1; }
        ranks[row] = last;
      });
    return { last: last + 1, ranks: ranks };
  };

  Rows.prototype.orderOfKinds = function (column) {
    var words = column.words && column.words.map(counted), places = new Map();
    var kinds = words ? Array.from(new Set(words)).sort()
      : Float64Array.from(new Set(column.numbers)).sort(); // NaN, where there is no number, stands last
    kinds.forEach(function (value, rank) { places.set(value, rank); });
    var ranks = words && words.map(function (word) { return places.get(word); });
    return {
      last: Number.isNaN(kinds[kinds.length - 1]) ? kinds.length - 1 : kinds.length,
      ranks: words ? column.codes.map(function (code) { return ranks[code]; })
        : Uint32Array.from(column.numbers, function (value) { return places.get(value); }),
    };
  };

  // by counting how many rows have each rank: the rows of one rank keep their order, either way
  Rows.prototype.sorted = function (rows, key, falling) {
    var order = this.order(key), last = order.last, starts = new Uint32Array(last + 2);
    var found = new Uint32Array(rows.length);
    function place(row) {
      var rank = order.ranks[row];
      return falling && rank < last ? last - 1 - rank : rank;
    }
    rows.forEach(function (row) { starts[place(row) + 1] += 1; });
    for (var rank = 1; rank < starts.length; rank += 1) { starts[rank] += starts[rank - 1]; }
    rows.forEach(function (row) {
      var rank = place(row);
      found[starts[rank]] = row;
      starts[rank] += 1;
    });
    return found;
  };

  /* ---- filters ------------------------------------------------------------------------------------------ */

  function keepCodes(rows, key, mask, test) {
    var column = rows.column(key), passes = column.words.map(test);
    for (var row = 0; row < rows.count; row += 1) { mask[row] &= passes[column.codes[row]]; }
  }

  function keepDays(rows, key, mask, test) {
    var days = rows.column(key).numbers;
    for (var row = 0; row < rows.count; row += 1) { mask[row] &= test(days[row]); }
  }

  // every word stands somewhere in the row: in its number, or in one of its words
  function keepWords(rows, searched, mask, wanted) {
    plain(wanted).split(/\s+/).forEach(function (word) {
      var held = new Uint8Array(rows.count);
      searched.forEach(function (key) {
        var column = rows.column(key);
        var passes = column.words.map(function (text) { return plain(text).indexOf(word) >= 0; });
        for (var row = 0; row < rows.count; row += 1) { held[row] |= passes[column.codes[row]]; }
      });
      rows.parts.forEach(function (part, place) {
        part.find(word).forEach(function (row) { held[rows.firsts[place] + row] = 1; });
      });
      for (var row = 0; row < rows.count; row += 1) { mask[row] &= held[row]; }
    });
  }

  function passing(rows, fields, searched) {
    var mask = new Uint8Array(rows.count).fill(1), found = [];
    fields.forEach(function (field) {
      var wanted = field.value.trim(), key = field.dataset.filter;
      if (!wanted) { return; }
      switch (field.dataset.match) {
        case "any": keepWords(rows, searched, mask, wanted); break;
        case "word": keepCodes(rows, key, mask, function (text) { return text.split(" ").indexOf(wanted) >= 0; }); break;
        case "from": keepDays(rows, key, mask, function (day) { return day >= Date.parse(wanted) / 864e5; }); break;
        case "until": keepDays(rows, key, mask, function (day) { return day <= Date.parse(wanted) / 864e5; }); break;
        default: keepCodes(rows, key, mask, function (text) { return text === wanted; });
      }
    });
    for (var row = 0; row < rows.count; row += 1) { if (mask[row]) { found.push(row); } }
    return found;
  }

  /* ---- cells ---------------------------------------------------------------------------------------------- */

  function figure(value, decimals) {
    return value === null ? DASH : (value < 0 ? MINUS : "") + Math.abs(value).toFixed(decimals);
  }

  function element(name, className, content) {
    var made = document.createElement(name);
    if (className) { made.className = className; }
    if (content !== undefined) { made.append(content); }
    return made;
  }

  function cell(heading, at) {
    var key = heading.dataset.key, value = at.part.value(at.row, key);
    if (heading.dataset.form === "link") {
      var link = element("a", "", value), head = element("th", "", link);
      link.href = document.body.dataset.root + window.kilnfolioRows.page(at.part, at.row);
      head.scope = "row";
      return head;
    }
    if (heading.dataset.form === "outcome") {
      var look = at.part.value(at.row, "outcome").replace(/ /g, "-");
      return element("td", "words", element("span", "outcome outcome-" + look, value));
    }
    if (heading.dataset.encoding === "day") {
      var date = new Date(value * 864e5);
      var words = date.getUTCDate() + NBSP + MONTHS[date.getUTCMonth()] + " " + date.getUTCFullYear();
      return element("td", "words", element("span", "fact", words));
    }
    return heading.dataset.encoding === "number" ? element("td", "", figure(value, +heading.dataset.decimals))
      : element("td", "words", value);
  }

  // a spreadsheet would run a cell that begins like a formula
  function csvCell(heading, at) {
    var value = at.part.value(at.row, heading.dataset.key);
    if (heading.dataset.encoding === "day") { return window.kilnfolioRows.isoDay(value); }
    if (heading.dataset.encoding === "number") { return value === null ? "" : value.toFixed(+heading.dataset.decimals); }
    value = value.replace(/[\s\u202f\u00a0]+/g, " ").trim();
    if (/^[=+@\t\r-]/.test(value)) { value = "'" + value; }
    return /[",\n]/.test(value) ? '"' + value.replace(/"/g, '""') + '"' : value;
  }

  /* ---- the page -------------------------------------------------------------------------------------------- */

  function start(bar, table) {
    var kind = bar.dataset.register, body = table.tBodies[0];
    var headings = Array.from(table.tHead.rows[0].cells), names = headings.map(function (heading) {
      return plain(heading.textContent).replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "");
    });
    var fields = Array.from(bar.querySelectorAll("input, select"));
    var rows = null, searched = [], matching = [], shown = STEP, sorted = -1, falling = false, wish = 0;
    var count = element("span", "filter-count"), more = element("button", "more", "Show more");
    var take = element("button", "", "Download as CSV");

    function fetch() {
      if (rows) { return Promise.resolve(); }
      count.textContent = "reading …";
      var api = window.kilnfolioRows;
      return Promise.all([api.manifest(), api.every(kind)]).then(function (found) {
        searched = found[0][kind].searched;
        rows = new Rows(found[1]);
        prepare(headings.map(function (heading) { return heading.dataset.key; }));
      });
    }

    // every order is made ready while nobody waits for it, one at a time
    function prepare(keys) {
      if (!keys.length) { return; }
      (window.requestIdleCallback || setTimeout)(function () { rows.order(keys[0]); prepare(keys.slice(1)); });
    }

    function draw() {
      var drawn = Array.from(matching.slice(0, shown), function (row) {
        var at = rows.at(row), line = document.createElement("tr");
        line.append.apply(line, headings.map(function (heading) { return cell(heading, at); }));
        return line;
      });
      body.replaceChildren.apply(body, drawn);
      tell(matching.length, rows.count, Math.min(shown, matching.length));
    }

    function tell(found, all, drawn) {
      more.hidden = drawn >= found;
      count.textContent = found + " of " + all + (drawn < found ? ", the first " + drawn + " shown" : "");
    }

    function show() {
      var mine = wish += 1;
      bar.setAttribute("aria-busy", "true");
      return fetch().then(function () {
        if (mine !== wish) { return; } // asked again meanwhile
        matching = passing(rows, fields, searched);
        headings.forEach(function (heading) { heading.removeAttribute("aria-sort"); });
        if (sorted >= 0) {
          headings[sorted].setAttribute("aria-sort", falling ? "descending" : "ascending");
          matching = rows.sorted(matching, headings[sorted].dataset.key, falling);
        }
        draw();
        bar.removeAttribute("aria-busy");
      }, function (error) {
        bar.removeAttribute("aria-busy");
        count.textContent = error.message + ". The lists by year below are whole.";
      });
    }

    /* the address: #species=quercus-rubra&sort=started&order=falling */
    function write() {
      var said = new URLSearchParams();
      fields.forEach(function (field) { if (field.value.trim()) { said.set(field.name, field.value.trim()); } });
      if (sorted >= 0) { said.set("sort", names[sorted]); if (falling) { said.set("order", "falling"); } }
      history.replaceState(null, "", "#" + said);
    }

    function read() {
      var asked = location.hash.slice(1);
      if (!asked || asked.indexOf("=") < 0) { return; } // a place in the page, not a filter
      var said = new URLSearchParams(asked);
      fields.forEach(function (field) { field.value = said.get(field.name) || ""; });
      sorted = names.indexOf(said.get("sort"));
      falling = said.get("order") === "falling";
      show();
    }

    headings.forEach(function (heading, place) {
      var button = element("button", "sort");
      button.type = "button";
      button.title = "Sort by this column";
      button.append.apply(button, Array.from(heading.childNodes));
      heading.append(button);
      button.addEventListener("click", function () {
        falling = sorted === place && !falling;
        sorted = place;
        shown = STEP;
        write();
        show();
      });
    });
    take.type = more.type = "button";
    take.addEventListener("click", function () {
      (rows ? Promise.resolve() : show()).then(function () {
        var lines = Array.from(matching, function (row) {
          var at = rows.at(row);
          return headings.map(function (heading) { return csvCell(heading, at); }).join(",");
        });
        var head = headings.map(function (heading) { return heading.textContent.replace(/\s+/g, " ").trim(); }).join(",");
        var link = document.createElement("a");
        link.href = URL.createObjectURL(new Blob(["\ufeff" + [head].concat(lines).join("\r\n") + "\r\n"], { type: "text/csv" }));
        link.download = kind + ".csv";
        link.click();
        setTimeout(function () { URL.revokeObjectURL(link.href); }, 1000);
      });
    });
    more.addEventListener("click", function () { shown += STEP; show(); });
    count.setAttribute("role", "status");
    bar.append(count, take);
    (table.closest(".scroll-x") || table).after(more);
    bar.addEventListener("input", function () { shown = STEP; write(); show(); });
    bar.hidden = false;
    tell(+bar.dataset.total, +bar.dataset.total, body.rows.length);
    window.addEventListener("hashchange", read);
    read();
  }

  document.querySelectorAll("[data-register]").forEach(function (bar) {
    start(bar, document.getElementById("register"));
  });
}());
