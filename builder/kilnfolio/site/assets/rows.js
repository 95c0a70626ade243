/* The rows of the registers, for the registers' own pages and for search. Parts are fetched when needed, as script
   files, because a page opened from file:// can fetch nothing else. */
(() => {
  "use strict";

  const ROOT = document.body.dataset.root || "";
  const DAY = 864e5;
  const asked = new Map();
  const parts = new Map();

  function script(address) {
    if (!asked.has(address)) {
      asked.set(
        address,
        new Promise((resolve, reject) => {
          const element = document.createElement("script");
          element.src = ROOT + address;
          element.onload = resolve;
          element.onerror = () => {
            asked.delete(address);
            reject(new Error(`${address} cannot be read`));
          };
          document.head.append(element);
        }),
      );
    }
    return asked.get(address);
  }

  function manifest() {
    return script("register/manifest.js").then(() => window.KILNFOLIO_REGISTER);
  }

  /* ---- a part: some rows, newest first, column by column ------------------------------------------- */

  class Part {
    constructor(kind, data) {
      this.kind = kind;
      this.rows = data.rows;
      this.columns = data.columns;
      this.split = {};
    }

    value(row, key) {
      const column = this.columns[key];
      if (typeof column === "string") {
        this.split[key] = this.split[key] || column.split("\n");
        return this.split[key][row];
      }
      return column.words ? column.words[column.codes[row]] : column[row];
    }

    // numbers in the form used to compare them: only letters and digits, in capitals, one per line
    numbers() {
      if (!this.plain) {
        this.plain = `\n${plainNumber(this.columns.number)}\n`;
        this.starts = new Uint32Array(this.rows);
        for (let row = 0, place = 1; row < this.rows; row += 1) {
          this.starts[row] = place;
          place = this.plain.indexOf("\n", place) + 1;
        }
      }
      return this.plain;
    }

    rowAt(place) {
      let low = 0;
      let high = this.rows - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (this.starts[middle] <= place) {
          low = middle;
        } else {
          high = middle - 1;
        }
      }
      return low;
    }

    // every row whose number contains these letters and digits
    find(text) {
      const number = plainNumber(text);
      return number ? rowsWith(this, number).map((hit) => hit.row) : [];
    }
  }

  function plainNumber(text) {
    return text.replace(/[^\p{L}\p{N}\n]/gu, "").toUpperCase();
  }

  function load(kind, shards) {
    return Promise.all(
      shards.map((shard) => {
        const name = `${kind}-${shard[0]}`;
        if (parts.has(name)) {
          return parts.get(name);
        }
        return script(`register/${name}.js`).then(() => {
          if (!parts.has(name)) {
            parts.set(name, new Part(kind, window.KILNFOLIO_ROWS[name]));
            delete window.KILNFOLIO_ROWS[name];
          }
          return parts.get(name);
        });
      }),
    );
  }

  function loadAll(kind) {
    return manifest().then((known) => load(kind, known[kind].shards));
  }

  /* ---- a number, or its beginning ------------------------------------------------------------------ */

  // "lot 26-014" searches for 26014 among lots
  function asNumber(question) {
    const match = /^\s*(?:(lot|charge)s?\b)?(.*)$/iu.exec(question);
    const number = plainNumber(match[2]);
    return number.length > 1
      ? { kind: match[1] ? `${match[1].toLowerCase()}s` : "", number: number }
      : null;
  }

  function byNumber(question) {
    const wanted = asNumber(question);
    if (!wanted) {
      return Promise.resolve([]);
    }
    return manifest()
      .then((known) => {
        const kinds = Object.keys(known).filter((kind) => !wanted.kind || kind === wanted.kind);
        return Promise.all(kinds.map((kind) => byNumberIn(known, kind, wanted.number)));
      })
      .then((found) => found.flat());
  }

  function byNumberIn(known, kind, number) {
    const shards = known[kind].shards;
    const fitting = shards.filter(
      (shard) =>
        shard[2].slice(0, number.length) <= number && number <= shard[3].slice(0, number.length),
    );
    return load(kind, fitting)
      .then((loaded) => {
        const found = loaded.flatMap((part) => rowsWith(part, `\n${number}`));
        // if no number starts with it, the letters before the digits may have been left out
        if (found.length || !/\d.*\d.*\d/.test(number) || /\p{L}{5}/u.test(number)) {
          return found;
        }
        return load(kind, shards).then((all) => all.flatMap((part) => rowsWith(part, number)));
      })
      .then((found) => found.sort((a, b) => b.exact - a.exact));
  }

  function rowsWith(part, text) {
    const plain = part.numbers();
    const found = [];
    const line = text[0] === "\n" ? 1 : 0;
    for (let place = plain.indexOf(text); place >= 0; ) {
      const row = part.rowAt(place + line);
      found.push({
        part: part,
        row: row,
        exact: Boolean(line) && plain[place + text.length] === "\n",
      });
      if (row + 1 === part.rows) {
        break;
      }
      place = plain.indexOf(text, part.starts[row + 1] - line);
    }
    return found;
  }

  /* ---- words that describe a charge or lot ------------------------------------------------------------- */

  const MONTHS =
    "January February March April May June July August September October November December".split(
      " ",
    );

  function monthWords(month) {
    return `${month.slice(0, 4)} ${MONTHS[month.slice(5) - 1]} ${month.slice(5)}`;
  }

  // Rows that match every unit of a question; a unit matches if all words of one of its alternatives do. A register
  // is only loaded if its words could match every unit.
  function byWords(units, matches) {
    return units.length
      ? manifest()
          .then((known) =>
            Promise.all(
              Object.keys(known).map((kind) => {
                const phrases = known[kind].words.concat(known[kind].months.map(monthWords));
                const possible = units.every((ways) =>
                  ways.some((way) =>
                    way.every((word) => phrases.some((text) => matches(word, text))),
                  ),
                );
                return !possible
                  ? []
                  : loadAll(kind).then((loaded) =>
                      loaded.flatMap((part) =>
                        matchingRows(part, known[kind].searched, units, matches),
                      ),
                    );
              }),
            ),
          )
          .then((found) => found.flat())
      : Promise.resolve([]);
  }

  function matchingRows(part, searched, units, matches) {
    const first = Math.min.apply(null, part.columns.day);
    let row;
    const known = new Map();
    function rowsHolding(word) {
      if (known.has(word)) {
        return known.get(word);
      }
      const held = new Uint8Array(part.rows);
      const days = [];
      searched.forEach((key) => {
        const column = part.columns[key];
        const passes = column.words.map((text) => matches(word, text));
        for (row = 0; row < part.rows; row += 1) {
          held[row] |= passes[column.codes[row]];
        }
      });
      for (row = 0; row < part.rows; row += 1) {
        const day = part.columns.day[row];
        if (days[day - first] === undefined) {
          days[day - first] = matches(word, monthWords(isoDay(day).slice(0, 7)));
        }
        held[row] |= days[day - first];
      }
      known.set(word, held);
      return held;
    }
    const total = new Uint8Array(part.rows).fill(1);
    units.forEach((unit) => {
      const any = new Uint8Array(part.rows);
      unit.forEach((way) => {
        const all = new Uint8Array(part.rows).fill(1);
        way.map(rowsHolding).forEach((held) => {
          for (row = 0; row < part.rows; row += 1) {
            all[row] &= held[row];
          }
        });
        for (row = 0; row < part.rows; row += 1) {
          any[row] |= all[row];
        }
      });
      for (row = 0; row < part.rows; row += 1) {
        total[row] &= any[row];
      }
    });
    const found = [];
    for (row = 0; row < part.rows; row += 1) {
      if (total[row]) {
        found.push({ part: part, row: row, exact: false });
      }
    }
    return found;
  }

  function isoDay(day) {
    return new Date(day * DAY).toISOString().slice(0, 10);
  }

  function page(part, row) {
    return `${part.kind}/${part.value(row, "number")}.html`;
  }

  window.kilnfolioRows = {
    manifest: manifest,
    loadAll: loadAll,
    byNumber: byNumber,
    byWords: byWords,
    isoDay: isoDay,
    page: page,
  };
})();
