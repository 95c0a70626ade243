// Answers typed into the practice problems: read with their unit and compared with the figure worked out by
// problems.js and with the results of common mistakes. Progress is stored on this device only.
(() => {
  "use strict";
  const shown = window.practiceShown;
  const STORE = "kilnfolio-practice";
  if (!shown) {
    return;
  }

  /** Reads "12,5 %" or "3.1 kg" as a figure in the unit asked for; null if it is not a number,
      undefined if the unit does not fit. */
  function read(words, table, unit) {
    const found = /^\s*([+\-\u2212]?\d+(?:[.,]\d+)?|[+\-\u2212]?[.,]\d+)\s*(.*?)\s*$/.exec(
      words.replace(/(\d)[ \u00a0\u202f](?=\d{3})/g, "$1"),
    );
    if (!found) {
      return null;
    }
    const number = Number(found[1].replace("\u2212", "-").replace(",", "."));
    const word = found[2] || unit;
    let line = table[word] || table[word.toLowerCase()] || (word === "percent" && table["%"]);
    if (!line && word === "°") {
      line = table[unit];
    }
    const degrees = /^(?:deg(?:rees)? ?)?([CF])$/i.exec(word);
    if (!line && degrees) {
      line = table[`°${degrees[1].toUpperCase()}`];
    }
    return line ? number * line[0] + line[1] : undefined;
  }

  function judge(words, typed) {
    const { value, near, unit, units } = typed;
    // a comma before three digits may stand for thousands or for a decimal point: either may be meant
    const thousands = read(words.replace(/(\d),(?=\d{3}(?!\d))/g, "$1"), units, unit);
    const number = read(words, units, unit) ?? thousands;
    if (number === null) {
      return ["wrong", `Type a number${unit ? `, as in 12.5 ${unit}` : ""}.`];
    }
    if (number === undefined) {
      return ["wrong", `That unit does not fit here. Known: ${Object.keys(units).join(", ")}.`];
    }
    if ([number, thousands].some((one) => Math.abs(one - value) <= near)) {
      return ["right", "Right."];
    }
    // mistakes are matched with the tolerance of the answer itself
    const like = typed.wrong.filter(
      (one) => Math.abs(number - one[0]) <= Math.max(near, 0.004 * Math.abs(one[0])),
    )[0];
    if (like) {
      return ["wrong", like[1]];
    }
    if (value && Math.abs(number / value - 100) < 0.5) {
      return ["wrong", "A hundred times too large: a percentage was left as it was."];
    }
    if (value && Math.abs(number / value - 0.01) < 0.00005) {
      return ["wrong", "A hundred times too small: a fraction where a percentage belongs."];
    }
    if (value && Math.abs(number / value + 1) < 0.004) {
      return ["wrong", "Right in size, with the wrong sign."];
    }
    return [
      "wrong",
      Math.abs(number - value) <= 4 * near
        ? "Close, but not within rounding. Keep every figure until the end."
        : "Not yet. Read the hint, and set it out line by line.",
    ];
  }

  // --- progress on this device --------------------------------------------------------------------
  function stored() {
    try {
      return JSON.parse(localStorage.getItem(STORE)) || {};
    } catch {
      return {};
    }
  }
  function keep(kind, allRight) {
    const all = stored();
    const one = all[kind] || { tries: 0, right: 0 };
    one.tries += 1;
    if (allRight) {
      one.right += 1;
      one.last = new Date().toISOString().slice(0, 10);
    }
    all[kind] = one;
    try {
      localStorage.setItem(STORE, JSON.stringify(all));
    } catch {
      /* a private window has no storage */
    }
    progress();
  }

  function element(name, words, attributes) {
    const made = document.createElement(name);
    if (words) {
      made.textContent = words;
    }
    Object.keys(attributes || {}).forEach((key) => {
      made.setAttribute(key, attributes[key]);
    });
    return made;
  }

  // --- answers, hidden until released ---------------------------------------------------------------
  const released = new URLSearchParams(location.search).get("answers") === "open";

  /** Hides the worked answer until an answer was typed or the trainer's address has released all. */
  function hideAnswer(kind, hidden) {
    const box = document.getElementById(kind).querySelector(".worked").closest("details");
    box.hidden = hidden && !released;
  }

  // --- one form ------------------------------------------------------------------------------------
  function fill(form) {
    const kind = form.dataset.kind;
    const typed = shown(kind).typed;
    form.textContent = "";
    typed.forEach((one, place) => {
      const name = `${kind}-typed-${place}`;
      const field = element("div", "", { class: "field" });
      field.append(
        element("label", one.label, { for: name }),
        element("input", "", {
          id: name,
          type: "text",
          inputmode: "text",
          autocomplete: "off",
          "aria-describedby": `${name}-said`,
        }),
        element("span", one.unit, { class: "unit" }),
        element("p", "", { class: "said meta", id: `${name}-said`, role: "status" }),
      );
      form.append(field);
    });
    hideAnswer(kind, typed.length > 0);
    if (typed.length) {
      form.append(element("button", "Check my answer", { type: "submit" }));
    }
  }

  function check(form) {
    const kind = form.dataset.kind;
    const typed = shown(kind).typed;
    let all = true;
    form.querySelectorAll(".field").forEach((field, place) => {
      const input = field.querySelector("input");
      const said = field.querySelector(".said");
      const found = judge(input.value, typed[place]);
      said.className = `said ${found[0]}`;
      said.textContent = found[1];
      input.setAttribute("aria-invalid", String(found[0] !== "right"));
      if (found[0] !== "right") {
        all = false;
      }
    });
    hideAnswer(kind, false);
    keep(kind, all);
  }

  document.querySelectorAll("form.typed").forEach((form) => {
    fill(form);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      check(form);
    });
    new MutationObserver(() => {
      fill(form);
    }).observe(document.getElementById(form.dataset.kind), {
      attributes: true,
      attributeFilter: ["data-set"],
    });
  });

  // --- the record the trainer signs ----------------------------------------------------------------
  const panel = document.getElementById("progress");
  const topics = panel ? JSON.parse(panel.dataset.topics) : [];
  function rows() {
    const all = stored();
    return topics.map((topic) => {
      const kinds = topic[1];
      const done = kinds.filter((kind) => all[kind]?.right > 0);
      const tries = kinds.reduce((sum, kind) => sum + (all[kind]?.tries || 0), 0);
      const last = kinds
        .map((kind) => all[kind]?.last || "")
        .sort()
        .pop();
      return {
        topic: topic[0],
        solved: done.length,
        problems: kinds.length,
        tries: tries,
        last: last,
      };
    });
  }

  function progress() {
    if (!panel) {
      return;
    }
    const table = element("table", "", { class: "given" });
    const body = element("tbody");
    const name = panel.querySelector("input")?.value || "";
    const head = element("tr");
    ["Topic", "Solved", "Tries", "Last"].forEach((words) => {
      head.append(element("th", words, { scope: "col" }));
    });
    const top = element("thead");
    top.append(head);
    rows().forEach((row) => {
      const line = element("tr");
      line.append(
        element("th", row.topic, { scope: "row" }),
        element("td", `${row.solved} of ${row.problems}`),
        element("td", String(row.tries)),
        element("td", row.last || "–"),
      );
      body.append(line);
    });
    table.append(
      element("caption", "Problems solved by typing the answer, on this device", {
        class: "visually-hidden",
      }),
      top,
      body,
    );
    const wide = element("div", "", {
      class: "scroll-x",
      tabindex: "0",
      role: "region",
      "aria-label": "Problems solved",
    });
    wide.append(table);
    panel.textContent = "";
    panel.setAttribute("aria-labelledby", "progress-title");
    const box = element("details");
    const label = element("label", "Trainee ", {});
    const input = element("input", "", { type: "text", autocomplete: "name" });
    input.value = name;
    label.append(input);
    const buttons = element("p", "", { class: "problem-tools" });
    [
      ["Print the record", print],
      ["Save the record", save],
      ["Forget it", forget],
    ].forEach((one) => {
      const button = element("button", one[0], { type: "button" });
      button.addEventListener("click", one[1]);
      buttons.append(button);
    });
    const sign = element("div", "", { class: "sign" });
    [
      "Trainee: ______________________________",
      "Trainer: ______________________________",
      "Date: ______________________________",
    ].forEach((words) => {
      sign.append(element("p", words));
    });
    box.open = panel.dataset.open === "yes";
    box.addEventListener("toggle", () => {
      panel.dataset.open = box.open ? "yes" : "no";
    });
    box.append(
      element("summary", "My progress"),
      wide,
      label,
      buttons,
      element(
        "p",
        "It is kept in this browser only. The trainer signs what was shown, not what was typed at home.",
        { class: "meta help" },
      ),
      sign,
    );
    panel.append(
      element("h2", "Record of practice", { id: "progress-title", class: "visually-hidden" }),
      box,
    );
  }

  function print() {
    const box = panel.querySelector("details");
    box.open = true;
    document.body.classList.add("print-record");
    window.print();
    document.body.classList.remove("print-record");
  }
  function save() {
    const record = {
      format: 1,
      what: "record of practice",
      trainee: panel.querySelector("input").value,
      saved: new Date().toISOString(),
      topics: rows(),
      problems: stored(),
      signed: { trainer: "", on: "" },
    };
    const link = element("a", "", {
      href: URL.createObjectURL(
        new Blob([JSON.stringify(record, null, 2)], { type: "application/json" }),
      ),
      download: "record-of-practice.json",
    });
    link.click();
    URL.revokeObjectURL(link.href);
  }
  function forget() {
    if (!window.confirm("Forget every answer on this device?")) {
      return;
    }
    try {
      localStorage.removeItem(STORE);
    } catch {
      /* nothing was stored */
    }
    progress();
  }

  window.practiceJudge = judge;
  progress();
})();
