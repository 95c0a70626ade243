/* The rows of the registers, fetched part by part when somebody asks for them: for the registers' own pages and
   for search. The parts are script files because a page opened from file:// may fetch nothing else. */
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

  /* ---- a part: some rows, the newest first, column by column -------------------------------------- */

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

    // numbers as they are compared: letters and digits alone, in capitals, a line each
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

    // every row whose number holds these letters and digits
    find(text) {
      const number = plainNumber(text);
      return number ? begun(this, number).map((hit) => hit.row) : [];
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

  function every(kind) {
    return manifest().then((known) => load(kind, known[kind].shards));
  }

  /* ---- a number, or its beginning ------------------------------------------------------------------ */

  // "lot 26-014" asks for 26014 among lots
  function asNumber(question) {
    const said = /^\s*(?:(lot|charge)s?\b)?(.*)$/iu.exec(question);
    const number = plainNumber(said[2]);
    return number.length > 1
      ? { kind: said[1] ? `${said[1].toLowerCase()}s` : "", number: number }
      : null;
  }

  function numbered(question) {
    const wanted = asNumber(question);
    if (!wanted) {
      return Promise.resolve([]);
    }
    return manifest()
      .then((known) => {
        const kinds = Object.keys(known).filter((kind) => !wanted.kind || kind === wanted.kind);
        return Promise.all(kinds.map((kind) => numberedIn(known, kind, wanted.number)));
      })
      .then((found) => found.flat());
  }

  function numberedIn(known, kind, number) {
    const shards = known[kind].shards;
    const fitting = shards.filter(
      (shard) =>
        shard[2].slice(0, number.length) <= number && number <= shard[3].slice(0, number.length),
    );
    return load(kind, fitting)
      .then((loaded) => {
        const found = loaded.flatMap((part) => begun(part, `\n${number}`));
        // where nothing begins with it, perhaps the letters before the figures were left out
        if (found.length || !/\d.*\d.*\d/.test(number) || /\p{L}{5}/u.test(number)) {
          return found;
        }
        return load(kind, shards).then((all) => all.flatMap((part) => begun(part, number)));
      })
      .then((found) => found.sort((a, b) => b.exact - a.exact));
  }

  function begun(part, text) {
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

  // Rows of which every unit of a question is true; a unit is true where all words of one of its ways are. A kind
  // is loaded only where its words could answer every unit.
  function worded(units, matches) {
    return units.length
      ? manifest()
          .then((known) =>
            Promise.all(
              Object.keys(known).map((kind) => {
                const sayings = known[kind].words.concat(known[kind].months.map(monthWords));
                const possible = units.every((ways) =>
                  ways.some((way) =>
                    way.every((word) => sayings.some((text) => matches(word, text))),
                  ),
                );
                return !possible
                  ? []
                  : every(kind).then((loaded) =>
                      loaded.flatMap((part) =>
                        described(part, known[kind].searched, units, matches),
                      ),
                    );
              }),
            ),
          )
          .then((found) => found.flat())
      : Promise.resolve([]);
  }

  function described(part, searched, units, matches) {
    const first = Math.min.apply(null, part.columns.day);
    let row;
    const known = new Map();
    function holding(word) {
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
        way.map(holding).forEach((held) => {
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
    every: every,
    numbered: numbered,
    worded: worded,
    isoDay: isoDay,
    page: page,
  };
})();
