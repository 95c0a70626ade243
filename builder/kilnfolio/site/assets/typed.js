// Answers typed into the practice problems: read with their unit, held against the figure worked at
// build and against what the usual mistakes give. Progress stays on this device, in its own store.
(function () {
  "use strict";
  var sets = window.practiceNumbers, units = window.practiceUnits, mistakes = window.practiceMistakes;
  var STORE = "kilnfolio-practice";
  if (!sets || !units) { return; }

  /** Reads "12,5 %" or "3.1 kg" as a figure in the unit of the key; null where it is none. */
  function read(words, key, unit) {
    var found = /^\s*([+\-\u2212]?\d+(?:[.,]\d+)?|[+\-\u2212]?[.,]\d+)\s*(.*?)\s*$/.exec(words.replace(/(\d)[ \u00a0\u202f](?=\d{3})/g, "$1"));
    if (!found) { return null; }
    var number = Number(found[1].replace("\u2212", "-").replace(",", ".")), word = found[2] || unit;
    var table = units[key], line = table[word] || table[word.toLowerCase()] || (word === "percent" && table["%"]);
    if (!line && word === "°") { line = table["°C"]; }
    if (!line && (word === "deg C" || word === "c")) { line = table["°C"]; }
    return line ? number * line[0] + line[1] : undefined;
  }

  function judge(words, typed) {
    var value = typed[1], near = typed[2], unit = typed[3];
    var number = read(words, typed[4], unit);
    if (number === null) { return ["wrong", "Type a number" + (unit ? ", as in 12.5 " + unit : "") + "."]; }
    if (number === undefined) { return ["wrong", "That unit does not fit here. Known: " + Object.keys(units[typed[4]]).join(", ") + "."]; }
    if (Math.abs(number - value) <= near) { return ["right", "Right."]; }
    // a mistake is looked for as loosely as the answer itself
    var like = typed[5].filter(function (one) { return Math.abs(number - one[0]) <= Math.max(near, 0.004 * Math.abs(one[0])); })[0];
    if (like) { return ["wrong", mistakes[like[1]]]; }
    if (value && Math.abs(number / value - 100) < 0.5) { return ["wrong", "A hundred times too large: a percentage was left as it was."]; }
    if (value && Math.abs(number / value - 0.01) < 0.00005) { return ["wrong", "A hundred times too small: a fraction where a percentage belongs."]; }
    if (value && Math.abs(number / value + 1) < 0.004) { return ["wrong", "Right in size, with the wrong sign."]; }
    return ["wrong", Math.abs(number - value) <= 4 * near ? "Close, but not within rounding. Keep every figure until the end." : "Not yet. Read the hint, and set it out line by line."];
  }

  // --- progress on this device --------------------------------------------------------------------
  function stored() {
    try { return JSON.parse(localStorage.getItem(STORE)) || {}; } catch (error) { return {}; }
  }
  function keep(kind, allRight) {
    var all = stored(), one = all[kind] || { tries: 0, right: 0 };
    one.tries += 1;
    if (allRight) { one.right += 1; one.last = new Date().toISOString().slice(0, 10); }
    all[kind] = one;
    try { localStorage.setItem(STORE, JSON.stringify(all)); } catch (error) { /* a private window keeps nothing */ }
    progress();
  }

  function element(name, words, attributes) {
    var made = document.createElement(name);
    if (words) { made.textContent = words; }
    Object.keys(attributes || {}).forEach(function (key) { made.setAttribute(key, attributes[key]); });
    return made;
  }

  // --- one form ------------------------------------------------------------------------------------
  function fill(form) {
    var kind = form.dataset.kind, problem = document.getElementById(kind);
    var typed = sets[kind][Number(problem.dataset.set || 0)].typed;
    form.textContent = "";
    typed.forEach(function (one, place) {
      var name = kind + "-typed-" + place, field = element("div", "", { class: "field" });
      field.append(
        element("label", one[0], { for: name }),
        element("input", "", { id: name, type: "text", inputmode: "text", autocomplete: "off", "aria-describedby": name + "-said" }),
        element("span", one[3], { class: "unit" }),
        element("p", "", { class: "said meta", id: name + "-said", role: "status" })
      );
      form.append(field);
    });
    if (typed.length) { form.append(element("button", "Check my answer", { type: "submit" })); }
  }

  function check(form) {
    var kind = form.dataset.kind, problem = document.getElementById(kind);
    var typed = sets[kind][Number(problem.dataset.set || 0)].typed, all = true;
    form.querySelectorAll(".field").forEach(function (field, place) {
      var input = field.querySelector("input"), said = field.querySelector(".said");
      var found = judge(input.value, typed[place]);
      said.className = "said " + found[0];
      said.textContent = found[1];
      input.setAttribute("aria-invalid", String(found[0] !== "right"));
      if (found[0] !== "right") { all = false; }
    });
    keep(kind, all);
  }

  document.querySelectorAll("form.typed").forEach(function (form) {
    fill(form);
    form.addEventListener("submit", function (event) { event.preventDefault(); check(form); });
    new MutationObserver(function () { fill(form); }).observe(document.getElementById(form.dataset.kind), { attributes: true, attributeFilter: ["data-set"] });
  });

  // --- the record the trainer signs ----------------------------------------------------------------
  var panel = document.getElementById("progress"), topics = panel ? JSON.parse(panel.dataset.topics) : [];
  function rows() {
    var all = stored();
    return topics.map(function (topic) {
      var kinds = topic[1], done = kinds.filter(function (kind) { return (all[kind] || {}).right > 0; });
      var tries = kinds.reduce(function (sum, kind) { return sum + ((all[kind] || {}).tries || 0); }, 0);
      var last = kinds.map(function (kind) { return (all[kind] || {}).last || ""; }).sort().pop();
      return { topic: topic[0], solved: done.length, problems: kinds.length, tries: tries, last: last };
    });
  }

  function progress() {
    if (!panel) { return; }
    var table = element("table", "", { class: "given" }), body = element("tbody"), name = (panel.querySelector("input") || {}).value || "";
    var head = element("tr");
    ["Topic", "Solved", "Tries", "Last"].forEach(function (words) { head.append(element("th", words, { scope: "col" })); });
    var top = element("thead"); top.append(head);
    rows().forEach(function (row) {
      var line = element("tr");
      line.append(element("th", row.topic, { scope: "row" }), element("td", row.solved + " of " + row.problems), element("td", String(row.tries)), element("td", row.last || "–"));
      body.append(line);
    });
    table.append(element("caption", "Problems solved by typing the answer, on this device", { class: "visually-hidden" }), top, body);
    panel.textContent = "";
    panel.setAttribute("aria-labelledby", "progress-title");
    var box = element("details"), label = element("label", "Trainee ", {}), input = element("input", "", { type: "text", autocomplete: "name" });
    input.value = name;
    label.append(input);
    var buttons = element("p", "", { class: "problem-tools" });
    [["Print the record", print], ["Save the record", save], ["Forget it", forget]].forEach(function (one) {
      var button = element("button", one[0], { type: "button" });
      button.addEventListener("click", one[1]);
      buttons.append(button);
    });
    var sign = element("div", "", { class: "sign" });
    ["Trainee: ______________________________", "Trainer: ______________________________", "Date: ______________________________"].forEach(function (words) { sign.append(element("p", words)); });
    box.open = panel.dataset.open === "yes";
    box.addEventListener("toggle", function () { panel.dataset.open = box.open ? "yes" : "no"; });
    box.append(element("summary", "My progress"), table, label, buttons,
      element("p", "It is kept in this browser only. The trainer signs what was shown, not what was typed at home.", { class: "meta help" }), sign);
    panel.append(element("h2", "Record of practice", { id: "progress-title", class: "visually-hidden" }), box);
  }

  function print() {
    var box = panel.querySelector("details");
    box.open = true;
    document.body.classList.add("print-record");
    window.print();
    document.body.classList.remove("print-record");
  }
  function save() {
    var record = { format: 1, what: "record of practice", trainee: panel.querySelector("input").value, saved: new Date().toISOString(), topics: rows(), problems: stored(), signed: { trainer: "", on: "" } };
    var link = element("a", "", { href: URL.createObjectURL(new Blob([JSON.stringify(record, null, 2)], { type: "application/json" })), download: "record-of-practice.json" });
    link.click();
    URL.revokeObjectURL(link.href);
  }
  function forget() {
    if (!window.confirm("Forget every answer on this device?")) { return; }
    try { localStorage.removeItem(STORE); } catch (error) { /* nothing was kept */ }
    progress();
  }

  window.practiceJudge = judge;
  progress();
}());
