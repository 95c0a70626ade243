/* A register: the page contains its newest rows; the first filter, sorting or "show more" fetches the rest.
   The address holds the filter and the order, so that it can be shared. */
(() => {
  "use strict";

  const STEP = 50; // rows drawn at once, so that the browser does not lay out thousands that nobody looks at
  const MONTHS =
    "January February March April May June July August September October November December".split(
      " ",
    );
  const DASH = "\u2013";
  const NBSP = "\u00a0";
  const MINUS = "\u2212";

  function plain(text) {
    return text
      .normalize("NFKD")
      .replace(/[\u0300-\u036f]/g, "")
      .toLowerCase();
  }

  // sort key in natural order: "kiln 9" before "kiln 10"
  function sortKey(text) {
    return plain(text).replace(/\d+/g, (digits) => digits.padStart(9, "0"));
  }

  /* ---- the whole register, column by column ---------------------------------------------------------- */

  class Rows {
    constructor(parts) {
      this.parts = parts;
      this.firsts = [];
      this.count = 0;
      parts.forEach((part) => {
        this.firsts.push(this.count);
        this.count += part.rows;
      });
      this.joined = {};
      this.orders = {};
    }

    // distinct words and the index of each row's, or numbers, NaN for none
    column(key) {
      if (this.joined[key]) {
        return this.joined[key];
      }
      let kept;
      const firsts = this.firsts;
      if (this.parts[0].columns[key].words) {
        const places = new Map();
        kept = { words: [], codes: new Uint32Array(this.count) };
        this.parts.forEach((part, place) => {
          const column = part.columns[key];
          const first = firsts[place];
          const global = column.words.map((word) => {
            if (!places.has(word)) {
              places.set(word, kept.words.push(word) - 1);
            }
            return places.get(word);
          });
          for (let row = 0; row < part.rows; row += 1) {
            kept.codes[first + row] = global[column.codes[row]];
          }
        });
      } else {
        kept = { numbers: new Float64Array(this.count) };
        this.parts.forEach((part, place) => {
          part.columns[key].forEach((number, row) => {
            kept.numbers[firsts[place] + row] = number === null ? NaN : number;
          });
        });
      }
      this.joined[key] = kept;
      return kept;
    }

    at(row) {
      let place = this.firsts.length - 1;
      while (this.firsts[place] > row) {
        place -= 1;
      }
      return { part: this.parts[place], row: row - this.firsts[place] };
    }

    // the rank of each row by a column; blanks come last
    order(key) {
      if (this.orders[key]) {
        return this.orders[key];
      }
      const column = this.parts[0].columns[key];
      this.orders[key] =
        typeof column === "string" ? this.orderOfTexts(key) : this.orderOfKinds(this.column(key));
      return this.orders[key];
    }

    // numbers of charges and lots: nearly all are distinct and already in order
    orderOfTexts(key) {
      let texts = this.parts.flatMap((part) => part.columns[key].split("\n"));
      let last = 0;
      if (texts.some((text) => text.length !== texts[0].length)) {
        texts = texts.map(sortKey);
      }
      const ranks = new Uint32Array(this.count);
      Array.from(texts.keys())
        .sort((a, b) => (texts[a] < texts[b] ? -1 : texts[a] > texts[b] ? 1 : 0))
        .forEach((row, place, rows) => {
          if (place && texts[row] !== texts[rows[place - 1]]) {
            last += 1;
          }
          ranks[row] = last;
        });
      return { last: last + 1, ranks: ranks };
    }

    orderOfKinds(column) {
      const words = column.words?.map(sortKey);
      const places = new Map();
      const kinds = words
        ? Array.from(new Set(words)).sort()
        : Float64Array.from(new Set(column.numbers)).sort(); // NaN, for no number, sorts last
      kinds.forEach((value, rank) => {
        places.set(value, rank);
      });
      const ranks = words?.map((word) => places.get(word));
      return {
        last: Number.isNaN(kinds[kinds.length - 1]) ? kinds.length - 1 : kinds.length,
        ranks: words
          ? column.codes.map((code) => ranks[code])
          : Uint32Array.from(column.numbers, (value) => places.get(value)),
      };
    }

    // counting sort by rank: rows of equal rank keep their order in both directions
    sorted(rows, key, falling) {
      const order = this.order(key);
      const last = order.last;
      const starts = new Uint32Array(last + 2);
      const found = new Uint32Array(rows.length);
      function place(row) {
        const rank = order.ranks[row];
        return falling && rank < last ? last - 1 - rank : rank;
      }
      rows.forEach((row) => {
        starts[place(row) + 1] += 1;
      });
      for (let rank = 1; rank < starts.length; rank += 1) {
        starts[rank] += starts[rank - 1];
      }
      rows.forEach((row) => {
        const rank = place(row);
        found[starts[rank]] = row;
        starts[rank] += 1;
      });
      return found;
    }
  }

  /* ---- filters ------------------------------------------------------------------------------------------ */

  function keepCodes(rows, key, mask, test) {
    const column = rows.column(key);
    const passes = column.words.map(test);
    for (let row = 0; row < rows.count; row += 1) {
      mask[row] &= passes[column.codes[row]];
    }
  }

  function keepDays(rows, key, mask, test) {
    const days = rows.column(key).numbers;
    for (let row = 0; row < rows.count; row += 1) {
      mask[row] &= test(days[row]);
    }
  }

  // every word must occur in the row: in its number or in one of its words
  function keepWords(rows, searched, mask, wanted) {
    plain(wanted)
      .split(/\s+/)
      .forEach((word) => {
        const held = new Uint8Array(rows.count);
        searched.forEach((key) => {
          const column = rows.column(key);
          const passes = column.words.map((text) => plain(text).indexOf(word) >= 0);
          for (let row = 0; row < rows.count; row += 1) {
            held[row] |= passes[column.codes[row]];
          }
        });
        rows.parts.forEach((part, place) => {
          part.find(word).forEach((row) => {
            held[rows.firsts[place] + row] = 1;
          });
        });
        for (let row = 0; row < rows.count; row += 1) {
          mask[row] &= held[row];
        }
      });
  }

  function passing(rows, fields, searched) {
    const mask = new Uint8Array(rows.count).fill(1);
    const found = [];
    fields.forEach((field) => {
      const wanted = field.value.trim();
      const key = field.dataset.filter;
      if (!wanted) {
        return;
      }
      switch (field.dataset.match) {
        case "any":
          keepWords(rows, searched, mask, wanted);
          break;
        case "word":
          keepCodes(rows, key, mask, (text) => text.split(" ").indexOf(wanted) >= 0);
          break;
        case "from":
          keepDays(rows, key, mask, (day) => day >= Date.parse(wanted) / 864e5);
          break;
        case "until":
          keepDays(rows, key, mask, (day) => day <= Date.parse(wanted) / 864e5);
          break;
        default:
          keepCodes(rows, key, mask, (text) => text === wanted);
      }
    });
    for (let row = 0; row < rows.count; row += 1) {
      if (mask[row]) {
        found.push(row);
      }
    }
    return found;
  }

  /* ---- cells ---------------------------------------------------------------------------------------------- */

  const POINT = new Intl.NumberFormat(document.documentElement.lang).format(0.5)[1];

  function figure(value, decimals) {
    return value === null
      ? DASH
      : (value < 0 ? MINUS : "") + Math.abs(value).toFixed(decimals).replace(".", POINT);
  }

  function element(name, className, content) {
    const made = document.createElement(name);
    if (className) {
      made.className = className;
    }
    if (content !== undefined) {
      made.append(content);
    }
    return made;
  }

  function cell(heading, at) {
    const key = heading.dataset.key;
    const value = at.part.value(at.row, key);
    if (heading.dataset.form === "link") {
      const link = element("a", "whole", value);
      const head = element("th", "", link);
      link.href = document.body.dataset.root + window.kilnfolioRows.page(at.part, at.row);
      head.scope = "row";
      return head;
    }
    if (heading.dataset.form === "outcome") {
      const look = at.part.value(at.row, "outcome").replace(/ /g, "-");
      return element("td", "words", element("span", `outcome outcome-${look}`, value));
    }
    if (heading.dataset.encoding === "day") {
      const date = new Date(value * 864e5);
      const words = `${date.getUTCDate() + NBSP + MONTHS[date.getUTCMonth()]} ${date.getUTCFullYear()}`;
      return element("td", "words", element("span", "fact", words));
    }
    return heading.dataset.encoding === "number"
      ? element("td", "", figure(value, +heading.dataset.decimals))
      : element("td", "words", value);
  }

  // a spreadsheet would run a cell that starts like a formula
  function csvCell(heading, at) {
    let value = at.part.value(at.row, heading.dataset.key);
    if (heading.dataset.encoding === "day") {
      return window.kilnfolioRows.isoDay(value);
    }
    if (heading.dataset.encoding === "number") {
      return value === null ? "" : value.toFixed(+heading.dataset.decimals);
    }
    value = value.replace(/[\s\u202f\u00a0]+/g, " ").trim();
    if (/^[=+@\t\r-]/.test(value)) {
      value = `'${value}`;
    }
    return /[",\n]/.test(value) ? `"${value.replace(/"/g, '""')}"` : value;
  }

  /* ---- the page -------------------------------------------------------------------------------------------- */

  function start(bar, table) {
    const kind = bar.dataset.register;
    const body = table.tBodies[0];
    const headings = Array.from(table.tHead.rows[0].cells);
    const names = headings.map((heading) =>
      plain(heading.textContent)
        .replace(/[^a-z0-9]+/g, "-")
        .replace(/^-|-$/g, ""),
    );
    const fields = Array.from(bar.querySelectorAll("input, select"));
    let rows = null;
    let searched = [];
    let matching = [];
    let shown = STEP;
    let sorted = -1;
    let falling = false;
    let request = 0;
    const count = element("span", "filter-count");
    const more = element("button", "more", "Show more");
    const take = element("button", "", "Download as CSV");

    function fetch() {
      if (rows) {
        return Promise.resolve();
      }
      count.textContent = "reading …";
      const api = window.kilnfolioRows;
      return Promise.all([api.manifest(), api.loadAll(kind)]).then((found) => {
        searched = found[0][kind].searched;
        rows = new Rows(found[1]);
        prepare(headings.map((heading) => heading.dataset.key));
      });
    }

    // compute the orders one at a time while the browser is idle
    function prepare(keys) {
      if (!keys.length) {
        return;
      }
      (window.requestIdleCallback || setTimeout)(() => {
        rows.order(keys[0]);
        prepare(keys.slice(1));
      });
    }

    function draw() {
      const drawn = Array.from(matching.slice(0, shown), (row) => {
        const at = rows.at(row);
        const line = document.createElement("tr");
        line.append.apply(
          line,
          headings.map((heading) => cell(heading, at)),
        );
        return line;
      });
      body.replaceChildren.apply(body, drawn);
      showCount(matching.length, rows.count, Math.min(shown, matching.length));
    }

    function showCount(found, all, drawn) {
      more.hidden = drawn >= found;
      count.textContent = `${found} of ${all}${drawn < found ? `, the first ${drawn} shown` : ""}`;
    }

    function show() {
      request += 1;
      const mine = request;
      bar.setAttribute("aria-busy", "true");
      return fetch().then(
        () => {
          if (mine !== request) {
            return;
          } // superseded by a newer request
          matching = passing(rows, fields, searched);
          headings.forEach((heading) => {
            heading.removeAttribute("aria-sort");
          });
          if (sorted >= 0) {
            headings[sorted].setAttribute("aria-sort", falling ? "descending" : "ascending");
            matching = rows.sorted(matching, headings[sorted].dataset.key, falling);
          }
          draw();
          bar.removeAttribute("aria-busy");
        },
        (error) => {
          bar.removeAttribute("aria-busy");
          count.textContent = `${error.message}. The lists by year below are whole.`;
        },
      );
    }

    /* the address: #species=quercus-rubra&sort=started&order=falling */
    function write() {
      const said = new URLSearchParams();
      fields.forEach((field) => {
        if (field.value.trim()) {
          said.set(field.name, field.value.trim());
        }
      });
      if (sorted >= 0) {
        said.set("sort", names[sorted]);
        if (falling) {
          said.set("order", "falling");
        }
      }
      history.replaceState(null, "", `#${said}`);
    }

    function read() {
      const asked = location.hash.slice(1);
      if (!asked || asked.indexOf("=") < 0) {
        return;
      } // an anchor in the page, not a filter
      const said = new URLSearchParams(asked);
      fields.forEach((field) => {
        field.value = said.get(field.name) || "";
      });
      sorted = names.indexOf(said.get("sort"));
      falling = said.get("order") === "falling";
      show();
    }

    headings.forEach((heading, place) => {
      const button = element("button", "sort");
      button.type = "button";
      button.title = "Sort by this column";
      button.append(...heading.childNodes);
      heading.append(button);
      button.addEventListener("click", () => {
        falling = sorted === place && !falling;
        sorted = place;
        shown = STEP;
        write();
        show();
      });
    });
    take.type = more.type = "button";
    take.addEventListener("click", () => {
      (rows ? Promise.resolve() : show()).then(() => {
        const lines = Array.from(matching, (row) => {
          const at = rows.at(row);
          return headings.map((heading) => csvCell(heading, at)).join(",");
        });
        const head = headings
          .map((heading) => heading.textContent.replace(/\s+/g, " ").trim())
          .join(",");
        const link = document.createElement("a");
        link.href = URL.createObjectURL(
          new Blob([`\ufeff${[head].concat(lines).join("\r\n")}\r\n`], { type: "text/csv" }),
        );
        link.download = `${kind}.csv`;
        link.click();
        setTimeout(() => {
          URL.revokeObjectURL(link.href);
        }, 1000);
      });
    });
    more.addEventListener("click", () => {
      shown += STEP;
      show();
    });
    count.setAttribute("role", "status");
    bar.append(count, take);
    (table.closest(".scroll-x") || table).after(more);
    bar.addEventListener("input", () => {
      shown = STEP;
      write();
      show();
    });
    bar.hidden = false;
    showCount(+bar.dataset.total, +bar.dataset.total, body.rows.length);
    window.addEventListener("hashchange", read);
    read();
  }

  document.querySelectorAll("[data-register]").forEach((bar) => {
    start(bar, document.getElementById("register"));
  });
})();
