/* Read-outs of charts, by mouse, touch and arrow keys. The values come from the tables behind a chart or from
   attributes of its parts; without this script the tables can still be read. */
(() => {
  "use strict";

  function tidy(text) {
    return text.replace(/\s+/g, " ").trim();
  }

  function heading(cell) {
    const copy = cell.cloneNode(true);
    copy.querySelectorAll(".unit").forEach((unit) => {
      unit.remove();
    });
    const unit = cell.querySelector(".unit");
    let words = cell.dataset.read || tidy(copy.textContent).replace(/ ±$/, "");
    // words become lower case, but not abbreviations or a board's tag: "dry bulb", "EMC", "S1"
    words = words.replace(/\b[A-Z][a-z]+/g, (word) => word.toLowerCase());
    return { words: words, unit: unit ? tidy(unit.textContent) : "" };
  }

  function rows(table) {
    const heads = Array.from(table.tHead.rows[0].cells).map(heading);
    return Array.from(table.tBodies[0].rows)
      .map((row) => {
        const time = row.querySelector("time");
        const parts = [];
        Array.from(row.cells).forEach((cell, place) => {
          if (place && tidy(cell.textContent) !== "\u2013") {
            parts.push(
              `${heads[place].words} ${tidy(cell.textContent)}${heads[place].unit ? `\u00a0${heads[place].unit}` : ""}`,
            );
          }
        });
        return {
          at: Date.parse(time.dateTime),
          when: tidy(time.textContent),
          words: parts.join(", "),
        };
      })
      .sort((a, b) => a.at - b.at);
  }

  // the times of the first table, with the latest row of every other table at each time
  function clockStops(svg) {
    const tables = Array.from(
      document.querySelectorAll(
        `[data-behind="${svg.querySelector("title").id.replace(/-title$/, "")}"]`,
      ),
    );
    if (!tables.length) {
      return [];
    }
    const start = Date.parse(svg.dataset.from);
    const length = svg.dataset.days * 864e5;
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "ink");
    const others = tables.slice(1).map(rows);
    return rows(tables[0]).map((row) => {
      const x =
        +svg.dataset.left + svg.dataset.width * Math.min(Math.max((row.at - start) / length, 0), 1);
      return {
        x: x,
        words: () => {
          const held = others.map((list) => {
            const last = list.filter((other) => other.at <= row.at).pop();
            return last ? `; weighed ${last.when}: ${last.words}` : "";
          });
          return `${row.when}: ${row.words}${held.join("")}`;
        },
        mark: () => {
          line.setAttribute("d", `M${x} ${svg.dataset.top}V${svg.dataset.foot}`);
          svg.append(line);
        },
        unmark: () => {
          line.remove();
        },
      };
    });
  }

  function partStops(svg) {
    return Array.from(svg.querySelectorAll("[data-read]")).map((part) => ({
      part: part,
      words: () => part.dataset.read,
      mark: () => {
        part.classList.add("read");
      },
      unmark: () => {
        part.classList.remove("read");
      },
    }));
  }

  function nearest(stops, x) {
    let best = 0;
    stops.forEach((stop, place) => {
      if (Math.abs(stop.x - x) < Math.abs(stops[best].x - x)) {
        best = place;
      }
    });
    return best;
  }

  function makeReadable(svg) {
    const figure = svg.closest("figure");
    const line = figure?.querySelector(".readout");
    const holder = svg.closest("[tabindex]");
    if (!line || !holder) {
      return;
    }
    const invitation = line.textContent;
    let stops = null;
    let now = -1;

    function ready() {
      stops = stops || (svg.dataset.readout === "clock" ? clockStops(svg) : partStops(svg));
      return stops.length;
    }

    function read(place) {
      if (now >= 0) {
        stops[now].unmark();
      }
      now = place;
      if (now < 0) {
        line.textContent = invitation;
        return;
      }
      stops[now].mark();
      line.textContent = stops[now].words();
    }

    function point(event) {
      if (!ready()) {
        return;
      }
      let place;
      if (svg.dataset.readout === "clock") {
        const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(
          svg.getScreenCTM().inverse(),
        );
        place = nearest(stops, spot.x);
      } else {
        place = stops.findIndex((stop) => stop.part === event.target);
      }
      if (place >= 0 && place !== now) {
        read(place);
      }
    }

    function key(event) {
      if (event.ctrlKey || event.altKey || event.metaKey || !ready()) {
        return;
      }
      const moves = {
        ArrowRight: now + 1,
        ArrowLeft: now < 0 ? stops.length - 1 : now - 1,
        Home: 0,
        End: stops.length - 1,
      };
      if (svg.dataset.readout === "stops") {
        moves.ArrowDown = moves.ArrowRight;
        moves.ArrowUp = moves.ArrowLeft;
      }
      if (event.key === "Escape") {
        read(-1);
        return;
      }
      if (!(event.key in moves)) {
        return;
      }
      event.preventDefault();
      read(Math.min(Math.max(moves[event.key], 0), stops.length - 1));
    }

    svg.addEventListener("pointermove", point);
    svg.addEventListener("pointerdown", point);
    holder.addEventListener("keydown", key);
  }

  document.querySelectorAll("svg[data-readout]").forEach(makeReadable);
})();
