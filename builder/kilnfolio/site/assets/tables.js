/* Tables that can be sorted and filtered. The address holds the filter and the order, so that it can be shared.
   Without this script the tables are complete and in a sensible order. */
(() => {
  "use strict";

  const MOST = 300; // rows drawn at once, so that the browser does not lay out thousands that nobody looks at

  function plain(text) {
    return text
      .normalize("NFKD")
      .replace(/[\u0300-\u036f]/g, "")
      .toLowerCase();
  }

  function tidy(text) {
    return text.replace(/[\s\u202f\u00a0]+/g, " ").trim();
  }

  /* ---- order ---------------------------------------------------------------------------------- */

  const [GROUP, POINT] = ["group", "decimal"].map(
    (type) =>
      new Intl.NumberFormat(document.documentElement.lang)
        .formatToParts(12345.6)
        .find((part) => part.type === type).value,
  );

  function readNumber(text) {
    const bare = text.replace(/\u2212/g, "-").replace(/[\u202f\u00a0 ]/g, "");
    return parseFloat(bare.replaceAll(GROUP, "").replace(POINT, "."));
  }

  // sort key of a cell: its number, or its words with numbers padded, so that "kiln 10" comes after "kiln 9"
  function sortKey(cell) {
    const text = cell.dataset.value || cell.textContent.trim();
    if (text === "" || text === "\u2013") {
      return { blank: 1 };
    }
    const number = readNumber(text);
    if (!cell.dataset.value && /^[\u2212+-]?[\d.]/.test(text)) {
      return { blank: 0, number: number, text: "" };
    }
    return {
      blank: 0,
      number: NaN,
      text: plain(text).replace(/\d+/g, (digits) => digits.padStart(9, "0")),
    };
  }

  function compare(a, b) {
    if (a.blank || b.blank) {
      return a.blank - b.blank;
    }
    if (a.number < b.number || a.number > b.number) {
      return a.number - b.number;
    }
    return a.text < b.text ? -1 : a.text > b.text ? 1 : 0;
  }

  /* ---- filters -------------------------------------------------------------------------------- */

  function passes(row, field) {
    const wanted = plain(field.value.trim());
    if (!wanted) {
      return true;
    }
    if (field.dataset.filter === undefined) {
      let where = field.dataset.filterWords
        ? row.dataset[field.dataset.filterWords] || ""
        : `${row.textContent} ${row.dataset.text || ""}`;
      where = plain(where);
      return wanted.split(/\s+/).every((word) => where.indexOf(word) >= 0);
    }
    return (row.dataset[field.dataset.filter] || "") === field.value;
  }

  // the name of a field in the address
  function nameOf(field) {
    return field.dataset.filter || field.dataset.filterWords || "words";
  }

  /* ---- a table -------------------------------------------------------------------------------- */

  function makeRegister(table, bar) {
    const body = table.tBodies[0];
    const all = Array.from(body.rows);
    let order = all.slice();
    let matching = all;
    const headings = Array.from(table.tHead.rows[0].cells);
    const names = headings.map((cell) =>
      plain(tidy(cell.textContent))
        .replace(/[^a-z0-9]+/g, "-")
        .replace(/^-|-$/g, ""),
    );
    const fields = bar ? Array.from(bar.querySelectorAll("input, select")) : [];
    const keys = [];
    let sorted = -1;
    let falling = false;
    let shown = MOST;
    let count;
    let more;

    function draw() {
      body.replaceChildren.apply(body, matching.slice(0, shown));
      if (more) {
        more.hidden = matching.length <= shown;
      }
      if (count) {
        count.textContent =
          matching.length +
          " of " +
          all.length +
          (matching.length > shown ? `, the first ${shown} shown` : "");
      }
    }

    function filter() {
      const asked = fields.filter((field) => field.value.trim());
      matching = order.filter((row) => asked.every((field) => passes(row, field)));
      shown = MOST;
      draw();
    }

    function sort() {
      headings.forEach((heading) => {
        heading.removeAttribute("aria-sort");
      });
      order = all.slice();
      if (sorted >= 0) {
        headings[sorted].setAttribute("aria-sort", falling ? "descending" : "ascending");
        keys[sorted] =
          keys[sorted] || all.map((row) => ({ row: row, sortKey: sortKey(row.cells[sorted]) }));
        const keyed = keys[sorted].slice();
        keyed.sort((a, b) =>
          falling ? compare(b.sortKey, a.sortKey) : compare(a.sortKey, b.sortKey),
        );
        order = keyed.map((item) => item.row);
      }
    }

    /* the address: #species=quercus-rubra&sort=started&order=falling */
    function write() {
      const said = new URLSearchParams();
      fields.forEach((field) => {
        if (field.value.trim()) {
          said.set(nameOf(field), field.value.trim());
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
      if (asked && asked.indexOf("=") < 0) {
        return false;
      } // an anchor in the page, not a filter
      const said = new URLSearchParams(asked);
      fields.forEach((field) => {
        field.value = said.get(nameOf(field)) || "";
      });
      sorted = names.indexOf(said.get("sort"));
      falling = said.get("order") === "falling";
      return true;
    }

    function makeSortable() {
      headings.forEach((heading, place) => {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "sort";
        button.title = "Sort by this column";
        button.append(...heading.childNodes);
        heading.append(button);
        button.addEventListener("click", () => {
          falling = sorted === place && !falling;
          sorted = place;
          sort();
          filter();
          if (bar) {
            write();
          }
        });
      });
    }

    function makeBar() {
      count = document.createElement("span");
      count.className = "filter-count";
      count.setAttribute("role", "status");
      bar.append(count);
      bar.addEventListener("input", () => {
        filter();
        write();
      });
      bar.hidden = false;
    }

    function makeMore() {
      more = document.createElement("button");
      more.type = "button";
      more.className = "more";
      more.textContent = "Show more";
      (table.closest(".scroll-x") || table).after(more);
      more.addEventListener("click", () => {
        shown += MOST;
        draw();
      });
    }

    if (all.length > MOST) {
      makeMore();
    }
    if (table.classList.contains("sortable")) {
      makeSortable();
    }
    if (bar) {
      makeBar();
      window.addEventListener("hashchange", () => {
        if (read()) {
          sort();
          filter();
        }
      });
      read();
    }
    if (sorted >= 0) {
      sort();
    }
    filter();
  }

  const bars = new Map();
  document.querySelectorAll("[data-filters]").forEach((bar) => {
    const holder = document.getElementById(bar.dataset.filters);
    bars.set(holder.tBodies ? holder : holder.querySelector("table"), bar);
  });
  const tables = new Set(document.querySelectorAll("table.sortable"));
  bars.forEach((_, table) => {
    tables.add(table);
  });
  tables.forEach((table) => {
    makeRegister(table, bars.get(table));
  });
})();
