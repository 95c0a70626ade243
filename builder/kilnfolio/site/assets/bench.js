/* kilnfolio: the bench. Reads the sliders, calls the functions of wood.js, calculators.js, charge-run.js and
   charge-review.js, and shows the results. It has no formulas and no constants of its own: units and sliders are
   those of training/knobs.py. */

(() => {
  "use strict";

  const holder = document.getElementById("bench-data");
  if (!holder) return;
  const data = JSON.parse(holder.textContent);
  const { measure, number } = window.kilnfolio.numbers;
  const sums = window.kilnfolio.makeCalculators({ constants: data.constants });
  const air = {
    relativeHumidity: sums.relativeHumidity,
    wetBulb: sums.wetBulb,
    vapourPressureOfBulbs: sums.vapourPressureOfBulbs,
    standard: data.standard_pressure_pa,
  };
  const bench = window.kilnfolio.makeChargeRun(data, air, sums);
  const { review } = window.kilnfolio.makeChargeReview(data, bench, { air, wood: sums });
  const byId = (id) => document.getElementById(id);
  const setText = (id, words) => {
    byId(id).textContent = words;
  };

  /* ---- units: the reader's; inside, all is metric ------------------------------------------------ */

  const built = document.body.dataset.units === "us" ? 1 : 0; // units in which the page was written
  let system = window.kilnfolio.units.customary() ? 1 : 0;
  const unitOf = (of) => data.units[of][system];
  const onScale = (of, value) => unitOf(of).times * value + unitOf(of).plus;
  const offScale = (of, value) => (value - unitOf(of).plus) / unitOf(of).times;
  const shown = (of, value, decimals = unitOf(of).decimals) =>
    measure(onScale(of, value), unitOf(of).unit, decimals);
  const temperature = (celsius, decimals) => shown("temperature", celsius, decimals);
  const difference = (kelvin, decimals) => shown("difference", kelvin, decimals);

  /* What is shown again when the units change. */
  const redraw = [];
  window.kilnfolio.units.follow((chosen) => {
    system = chosen === "us" ? 1 : 0;
    for (const again of redraw) again();
  });

  /* The sheets of loads: set-points, and the units over their columns. */
  function writeSheets() {
    for (const cell of document.querySelectorAll("[data-of]")) {
      const { of, amount } = cell.dataset;
      cell.textContent = amount
        ? number(onScale(of, Number(amount)), system ? 0 : 1)
        : unitOf(of).unit;
    }
  }
  redraw.push(writeSheets);
  if (system !== built) writeSheets();

  /* Connect a slider to the value shown beside it; return a function that reads it. Other units move its handle to
     their nearest step and leave its value as it is, until someone moves it. */
  function slider(id, change) {
    const input = byId(id);
    const { of, ranges } = data.knobs[id];
    const at = data.units[of][built];
    let value = (ranges[built].value - at.plus) / at.times;
    const show = () => {
      const range = ranges[system];
      setText(`${id}-out`, inSteps(onScale(of, value), unitOf(of).unit, range.decimals));
    };
    const fit = () => {
      const range = ranges[system];
      input.min = range.least;
      input.max = range.most;
      input.step = range.step;
      input.value = onScale(of, value);
      show();
    };
    input.addEventListener("input", () => {
      value = offScale(of, Number(input.value));
      show();
      change();
    });
    redraw.push(fit);
    fit();
    return () => value;
  }

  /* A number of inches without zeros at its end. */
  const inSteps = (value, unit, decimals) =>
    measure(value, unit, decimals > 1 ? shortest(value, decimals) : decimals);
  const shortest = (value, most) =>
    (String(Number(value.toFixed(most))).split(".")[1] || "").length;

  /* ---- air -------------------------------------------------------------------------------------- */

  const humidity = (dry, wet) => sums.relativeHumidity(dry, wet, air.standard);
  const emcOf = (dry, wet) => sums.equilibriumMoistureContent(dry, humidity(dry, wet));
  const orNull = (sum) => {
    try {
      return sum();
    } catch {
      return null;
    }
  };

  function beginAir() {
    const [left, foot, width, height] = data.figures.emc;
    const chart = byId("bench-air").querySelector("svg");
    const dot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
    dot.setAttribute("r", "6");
    dot.setAttribute("class", "fill");
    chart.append(dot);
    let dry;
    let depression;
    let error;
    const show = () => {
      if (!error) return;
      const d = dry();
      const wet = d - depression();
      const rh = orNull(() => humidity(d, wet));
      setText("air-wet", temperature(wet));
      if (rh === null || rh > 98) {
        const reason = rh === null ? "no such air" : "too near saturation";
        for (const id of ["air-rh", "air-emc", "air-emc-range", "air-dew"]) setText(id, reason);
        dot.setAttribute("visibility", "hidden");
        return;
      }
      const emc = sums.equilibriumMoistureContent(d, rh);
      const ends = [wet - error(), Math.min(wet + error(), d)].map((w) =>
        orNull(() => emcOf(d, w)),
      );
      setText("air-rh", measure(rh, "%", 0));
      setText("air-emc", measure(emc, "%", 1));
      setText(
        "air-emc-range",
        `${ends.map((one) => (one === null || one > 30 ? "–" : number(one, 1))).join(" to ")} %`,
      );
      setText("air-dew", temperature(sums.dewPoint(d, rh)));
      dot.setAttribute("visibility", emc <= 30 ? "visible" : "hidden");
      dot.setAttribute("cx", String(left + (rh / 100) * width));
      dot.setAttribute("cy", String(foot - (Math.min(emc, 30) / 30) * height));
    };
    dry = slider("air-dry", show);
    depression = slider("air-depression", show);
    error = slider("air-error", show);
    redraw.push(show);
    show();
  }

  /* ---- a board drying ---------------------------------------------------------------------------- */

  function beginBoard() {
    const path = byId("bench-board").querySelector("svg path.controlling");
    const knobs = {};
    const show = () => {
      if (!knobs.day) return;
      const board = bench.newBoard(knobs.thickness(), Number(byId("board-wood").value));
      const emc = knobs.emc();
      const temp = knobs.temperature();
      let profile = new Array(data.board.cells).fill(data.drying.green);
      let worst = 0;
      let now = 0;
      let checks = null;
      for (let hour = 0; hour < 24 * knobs.day(); hour += 4) {
        const next = bench.advance(board, profile, 4, temp, emc);
        profile = next.profile;
        now = bench.gradient(board, profile, next.face, data.drying.tangential);
        worst = Math.max(worst, now);
        if (bench.mean(profile) > data.run.wet && now > data.drying.checks) checks ??= hour + 4;
      }
      const half = profile.length / 2;
      setText("board-mean", measure(bench.mean(profile), "%", 1));
      setText("board-shell", measure(bench.mean(profile.slice(0, half)), "%", 1));
      setText("board-core", measure(bench.mean(profile.slice(half)), "%", 1));
      setText("board-gradient", `${number(now, 2)} and ${measure(worst, "%", 2)}`);
      setText(
        "board-says",
        checks
          ? `On day ${number(checks / 24, 1)}, while the board was wet, its gradient index passed ${measure(data.drying.checks, "%", 0)}: on the bench, checks threaten from here.`
          : `While the board was wet, its gradient index stayed under ${measure(data.drying.checks, "%", 0)}.`,
      );
      const both = [...profile, ...profile.slice().reverse()];
      path.setAttribute(
        "d",
        both
          .map(
            (mc, i) =>
              `${i ? "L" : "M"}${(46 + ((i + 0.5) / both.length) * 460).toFixed(1)} ${(284 - (Math.min(mc, 100) / 100) * 240).toFixed(1)}`,
          )
          .join(""),
      );
    };
    byId("board-wood").addEventListener("change", show);
    for (const name of ["thickness", "temperature", "emc", "day"])
      knobs[name] = slider(`board-${name}`, show);
    show();
  }

  /* ---- a board in a log -------------------------------------------------------------------------- */

  const figures = window.kilnfolio.makeFigures(data, sums, air.standard);

  function beginCut() {
    const svg = byId("bench-cut").querySelector("svg");
    const green = Array.from(svg.querySelectorAll(".green"));
    const dried = Array.from(svg.querySelectorAll(".dried"));
    [...green.slice(1), ...dried.slice(1)].forEach((one) => {
      one.remove();
    });
    const knobs = {};
    const show = () => {
      if (!knobs.mc) return;
      const totals = byId("cut-wood").value.split(" ").map(Number);
      const shrinkages = totals.map((total) =>
        sums.shrinkageAt(total, knobs.mc(), data.constants.fibre_saturation_pct),
      );
      const board = [knobs.x(), knobs.y(), knobs.width(), knobs.thickness()];
      const heart = Math.abs(board[1]) <= board[3] / 2 && Math.abs(board[0]) <= board[2] / 2;
      dried[0].setAttribute("visibility", heart ? "hidden" : "visible");
      const [before, after] = figures.boardPaths(...board, shrinkages);
      green[0].setAttribute("d", before);
      dried[0].setAttribute("d", after);
      if (heart) {
        for (const id of ["cut-loss", "cut-thinner", "cut-cup"]) setText(id, "–");
        setText(
          "cut-says",
          "The board holds the pith: round it the shrinkages cannot both be had, and it splits.",
        );
        return;
      }
      const shape = figures.boardShape(...board, shrinkages);
      setText(
        "cut-loss",
        `${measure(shape.width, "%", 1)}, ${shown("thickness", (shape.width * board[2]) / 100)}`,
      );
      setText(
        "cut-thinner",
        `${measure(shape.thickness, "%", 1)}, ${shown("thickness", (shape.thickness * board[3]) / 100)}`,
      );
      setText("cut-cup", shown("thickness", shape.cup));
      setText(
        "cut-says",
        shape.cup > 0.25
          ? "It cups away from the heart: the outer face goes hollow."
          : "It stays nearly flat.",
      );
    };
    byId("cut-wood").addEventListener("change", show);
    for (const name of ["x", "y", "width", "thickness", "mc"])
      knobs[name] = slider(`cut-${name}`, show);
    redraw.push(show);
    show();
  }

  /* ---- the air of a stack ------------------------------------------------------------------------ */

  function beginStack() {
    const knobs = {};
    const names = ["flow", "bypass", "sticker", "width", "loss", "depression"];
    const show = () => {
      if (!knobs.depression) return;
      const load = { ...data.load };
      for (const name of names) load[name] = knobs[name]();
      const found = figures.stackAir(load);
      setText("stack-speed", shown("speed", found.speed));
      setText("stack-water", shown("daily-water", found.water));
      setText("stack-drop", difference(found.drop));
      setText("stack-entering", measure(found.entering, "%", 1));
      setText("stack-leaving", measure(found.leaving, "%", 1));
      byId("stack-cool").setAttribute(
        "d",
        `M90 180L450 ${(180 + Math.min(100, (found.drop / load.depression) * 100)).toFixed(1)}`,
      );
      setText(
        "stack-says",
        found.drop >= load.depression - 0.05
          ? "The air leaves saturated: the boards on the far side stand in it and stain."
          : found.drop > load.depression / 2
            ? "The air loses more than half its depression on the way: the far side dries behind, until the fans turn."
            : "Both sides of the load have nearly the same air.",
      );
    };
    for (const name of names) knobs[name] = slider(`stack-${name}`, show);
    redraw.push(show);
    show();
  }

  /* ---- the survey -------------------------------------------------------------------------------- */

  function beginSurvey() {
    const knobs = {};
    const svg = byId("bench-survey").querySelector("svg");
    const dot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
    dot.setAttribute("r", "6");
    dot.setAttribute("class", "fill");
    svg.append(dot);
    const show = () => {
      if (!knobs.confidence) return;
      const read = knobs.readings();
      const failures = Math.min(knobs.failures(), read - 1);
      const sure = knobs.confidence();
      const share = 100 * sums.shareShown(read, failures, sure / 100);
      dot.setAttribute("cx", String(46 + (read / 200) * 460));
      dot.setAttribute("cy", String(284 - (share / 100) * 240));
      setText(
        "survey-says",
        `${failures} of ${read} pieces outside: ${number(100 * (1 - failures / read), 1)} % were within. ` +
          `At ${sure} % confidence you may claim ${number(share, 1)} % of the lot, and no more.`,
      );
    };
    for (const name of ["readings", "failures", "confidence"])
      knobs[name] = slider(`survey-${name}`, show);
    show();
  }

  /* ---- a charge ---------------------------------------------------------------------------------- */

  function beginCharge() {
    let run = null;
    let ended = null; // what the load became, as run and with every step a day earlier
    const controls = byId("charge-controls");
    const dials = {
      dry: { field: byId("charge-dry"), of: "temperature", least: 20, most: 110, step: 0.5 },
      depression: {
        field: byId("charge-depression"),
        of: "difference",
        least: 0.3,
        most: 40,
        step: 0.1,
      },
    };
    const heldBack = {
      heating: "the heating is at its limit, and the kiln stays colder than set",
      vents: "the vents are open and the air outdoors is moist, so the kiln stays moister than set",
      spray: "dry air leaks in and the spray is at its limit, so the kiln stays drier than set",
    };
    const offer = (name, value) => {
      const { field, of } = dials[name];
      field.value = onScale(of, value).toFixed(system ? 0 : 1);
    };
    const label = () => {
      for (const { field, of, least, most, step } of Object.values(dials)) {
        field.labels[0].querySelector(".unit").textContent = unitOf(of).unit;
        field.min = system ? Math.ceil(onScale(of, least)) : least;
        field.max = system ? Math.floor(onScale(of, most)) : most;
        field.step = system ? 1 : step;
      }
    };
    label();
    /* A typed value is converted; so are readings, but the log keeps what it said. */
    redraw.push(() => {
      const other = 1 - system;
      for (const [name, { field, of }] of Object.entries(dials)) {
        const { times, plus } = data.units[of][other];
        if (field.value !== "") offer(name, (Number(field.value) - plus) / times);
      }
      label();
      if (run) draw();
      if (ended) conclude();
    });
    const note = (words) => {
      const line = document.createElement("p");
      line.textContent = (run ? `Day ${number(run.hour / 24, 1)}: ` : "") + words;
      byId("charge-log").prepend(line);
    };

    function draw() {
      const last = run.log[run.log.length - 1];
      const taken = run.weighings[run.weighings.length - 1];
      setText("charge-day", number(run.hour / 24, 1));
      if (last) {
        setText("charge-reads-dry", temperature(last[1]));
        setText("charge-reads-wet", temperature(last[2]));
        const emc = orNull(() => emcOf(last[1], last[2]));
        setText("charge-reads-emc", emc === null ? "–" : measure(emc, "%", 1));
      }
      const outside = run.outside(0);
      byId("charge-outdoors").parentElement.hidden = !outside;
      byId("charge-held").parentElement.hidden = !outside;
      if (outside) {
        setText(
          "charge-outdoors",
          `${temperature(outside.temp)}, ${measure(outside.humidity, "%", 0)}`,
        );
        setText("charge-held", run.limits.join(", ") || "nothing");
      }
      setText(
        "charge-controlling",
        taken
          ? `${measure(taken.controlling, "%", 1)} on day ${number(taken.hour / 24, 1)}`
          : "not weighed",
      );
      const days = Math.max(10, run.hour / 24);
      const x = (hour) => 46 + (hour / 24 / days) * 480;
      const y = (mc) => 220 - (Math.min(mc, 100) / 100) * 206;
      byId("charge-line").setAttribute(
        "d",
        run.weighings
          .map(
            (one, i) =>
              `${i ? "L" : "M"}${x(one.hour).toFixed(1)} ${y(one.controlling).toFixed(1)}`,
          )
          .join(""),
      );
      const marks = byId("charge-marks");
      marks.textContent = "";
      const label = (words, left, top, anchor) => {
        const made = document.createElementNS("http://www.w3.org/2000/svg", "text");
        made.setAttribute("class", "axis");
        made.setAttribute("x", left);
        made.setAttribute("y", top);
        made.setAttribute("text-anchor", anchor);
        made.textContent = words;
        marks.append(made);
      };
      for (const mc of [0, 20, 40, 60, 80, 100]) label(String(mc), 40, y(mc) + 4, "end");
      for (let part = 0; part <= 4; part += 1) {
        const day = (days * part) / 4;
        label(number(day, Number.isInteger(day) ? 0 : 1), 46 + 120 * part, 236, "middle");
      }
    }

    function start() {
      const seed = Math.max(
        0,
        Math.min(4294967295, Math.floor(Number(byId("charge-seed").value) || 0)),
      );
      run = new bench.Run(data.scenarios[byId("charge-scenario").value], seed);
      byId("charge-log").textContent = "";
      byId("charge-result").textContent = "";
      ended = null;
      controls.disabled = false;
      offer("dry", run.scenario.steps[0].dry_bulb);
      offer("depression", run.scenario.steps[0].depression);
      note(
        `${run.scenario.boards} boards loaded, ${run.scenario.samples} of them sample boards. The kiln stands at ${temperature(run.dry, 0)}.`,
      );
      weigh();
    }

    const setAir = () => {
      const asked = (name) => offScale(dials[name].of, Number(dials[name].field.value));
      const taken = (name) => asked(name) >= dials[name].least && asked(name) <= dials[name].most;
      const ends = (name, words, decimals) =>
        `${number(onScale(dials[name].of, dials[name].least), decimals)} to ${words(dials[name].most, 0)}`;
      if (!taken("dry") || !taken("depression")) {
        note(
          `The kiln takes a dry bulb of ${ends("dry", temperature, 0)} and a depression of ${ends("depression", difference, 1)}.`,
        );
        return;
      }
      const [dry, depression] = [asked("dry"), asked("depression")];
      run.setAir(dry, depression);
      note(`air set to ${temperature(dry)}, ${difference(depression)} depression.`);
    };
    const weigh = () => {
      const taken = run.weigh();
      note(
        `samples ${taken.mcs.map((mc) => number(mc, 1)).join(", ")} %; controlling MC ${measure(taken.controlling, "%", 1)}.`,
      );
      draw();
      return taken;
    };
    const wait = (hours) => {
      const before = run.limits;
      run.wait(hours);
      draw();
      for (const limit of run.limits) if (!before.includes(limit)) note(`${heldBack[limit]}.`);
      if (run.hour >= 24 * run.scenario.longest_days) {
        note("the charge is broken off: the kiln is needed.");
        finish();
      }
    };

    /* Let days pass, weighing the samples each morning, until the sheet requires a change. */
    function next() {
      const due = (taken) =>
        run.scenario.steps.filter(
          (step) => step.until_mc !== null && taken.controlling <= step.until_mc,
        ).length;
      const before = run.weighings.length ? due(run.weighings[run.weighings.length - 1]) : 0;
      for (let day = 0; day < 14 && !controls.disabled; day += 1) {
        const held = run.limits.length;
        wait(24);
        if (controls.disabled) return;
        const taken = weigh();
        if (run.limits.length > held) return;
        if (due(taken) > before) {
          note("a trigger of the sheet has been reached.");
          return;
        }
        if (Math.min(...taken.mcs) <= run.scenario.target - run.scenario.target_within) {
          note("the driest sample is at the low end of the target.");
          return;
        }
      }
    }

    /* The charge's own review by the mill's checks. */
    function reviewed({ scenario, seed, decisions, log }) {
      const made = (name, words, ...children) => {
        const one = document.createElement(name);
        one.append(...(words ? [words] : []), ...children);
        return one;
      };
      const title = made("h3", "The review by the mill’s checks");
      if (!log.length)
        return [title, made("p", "The kiln was never run: there is nothing to review.")];
      const words = system ? window.kilnfolio.makeCustomaryFirst(data.amounts) : (text) => text;
      const item = (check, page, message, look) => {
        const link = made("a", check);
        link.href = page;
        const said = made("span", message ? `: ${words(message)}` : "");
        link.lang = said.lang = "en"; // as in the records
        const line = made("li", "", link, said);
        if (!look) return line;
        const badge = made("span", look === "fail" ? "Fail" : "Question");
        badge.className = `outcome outcome-${look}`;
        line.prepend(badge, " ");
        return line;
      };
      const folded = (summary, lines) =>
        made("details", "", made("summary", summary), made("ul", "", ...lines));
      const found = review(scenario, seed, decisions);
      const open = found.filter((one) => one.outcome === "fail" || one.outcome === "question");
      const said = (outcome) =>
        found
          .filter((one) => one.outcome === outcome)
          .map((one) => item(one.title, one.page, one.message));
      const [passed, unknown, idle] = ["pass", "no data", "not applicable"].map(said);
      const order = (one) => (one.outcome === "fail" ? 0 : 1);
      open.sort((a, b) => order(a) - order(b));
      return [
        title,
        open.length
          ? made(
              "ul",
              "",
              ...open.map((one) => item(one.title, one.page, one.message, one.outcome)),
            )
          : made("p", "No check failed, and none has a question."),
        folded(`Checks passed: ${passed.length}`, passed),
        folded(`Checks without data: ${unknown.length}`, unknown),
        folded(`Checks that do not apply: ${idle.length}`, idle),
        folded(
          `Checks left to the saved record: ${data.left.length}`,
          data.left.map(([, check, page]) => item(check, page)),
        ),
        made(
          "p",
          "Those go by the sheet, the kiln’s record, the form of the log, or a survey that the bench does not have. Run kilnfolio practice practice-charge.json on the saved charge, or kilnfolio check on the record it writes.",
        ),
      ];
    }

    function finish() {
      controls.disabled = true;
      const earlier = bench.replay(run.scenario, run.seed, bench.stepsEarlier(run.decisions));
      ended = [run.outcome(), earlier.outcome()];
      conclude();
      draw();
    }

    function conclude() {
      const [end, earlier] = ended;
      const rows = [
        ["Days", number(end.days, 1), number(earlier.days, 1)],
        ["Mean MC", measure(end.mean, "%", 1), measure(earlier.mean, "%", 1)],
        [
          "Wettest and driest board",
          `${number(end.wettest, 1)} and ${measure(end.driest, "%", 1)}`,
          `${number(earlier.wettest, 1)} and ${measure(earlier.driest, "%", 1)}`,
        ],
        [
          "Boards within the target",
          measure(100 * end.in_target, "%", 0),
          measure(100 * earlier.in_target, "%", 0),
        ],
        [
          "Boards counted as checked",
          measure(100 * end.checked, "%", 0),
          measure(100 * earlier.checked, "%", 0),
        ],
        [
          "Boards overheated while wet",
          measure(100 * end.overheated, "%", 0),
          measure(100 * earlier.overheated, "%", 0),
        ],
        [
          "Highest gradient index while wet",
          measure(end.peak_gradient, "%", 2),
          measure(earlier.peak_gradient, "%", 2),
        ],
        [
          "Fastest loss between weighings",
          measure(end.fastest_loss, "points/day", 1),
          measure(earlier.fastest_loss, "points/day", 1),
        ],
        [
          "Hours with a sound wick",
          measure(100 * end.wick_sound, "%", 0),
          measure(100 * earlier.wick_sound, "%", 0),
        ],
        ["Water removed", shown("mass", end.water_kg), shown("mass", earlier.water_kg)],
        ["Energy", measure(end.energy_kwh, "kWh", 0), measure(earlier.energy_kwh, "kWh", 0)],
        ["Cost, in the mill’s money", number(end.cost, 0), number(earlier.cost, 0)],
        ["Rating, of 100", number(end.rating, 0), number(earlier.rating, 0)],
      ];
      const table = document.createElement("table");
      table.className = "given";
      table.innerHTML =
        '<caption>How it ended</caption><thead><tr><th scope="col">What</th><th scope="col">Yours</th><th scope="col">Every step a day earlier</th></tr></thead>';
      const body = document.createElement("tbody");
      rows.forEach((row) => {
        const line = document.createElement("tr");
        row.forEach((words, place) => {
          const cell = document.createElement(place ? "td" : "th");
          if (!place) cell.scope = "row";
          cell.textContent = words;
          line.append(cell);
        });
        body.append(line);
      });
      table.append(body);
      const save = document.createElement("button");
      save.type = "button";
      save.textContent = "Save what was done";
      save.addEventListener("click", () => {
        const file = {
          format: 1,
          what: "charge run for practice",
          scenario: byId("charge-scenario").value,
          seed: run.seed,
          decisions: run.decisions,
          outcome: end,
        };
        const link = document.createElement("a");
        link.href = URL.createObjectURL(
          new Blob([JSON.stringify(file, null, 1)], { type: "application/json" }),
        );
        link.download = "practice-charge.json";
        link.click();
        URL.revokeObjectURL(link.href);
      });
      byId("charge-result").replaceChildren(table, save, ...reviewed(run));
    }

    byId("charge-start").addEventListener("click", start);
    byId("charge-set").addEventListener("click", setAir);
    byId("charge-wick").addEventListener("click", () => {
      run.changeWick();
      note("a clean wet wick put on.");
    });
    byId("charge-weigh").addEventListener("click", weigh);
    byId("charge-next").addEventListener("click", next);
    byId("charge-finish").addEventListener("click", finish);
    controls.querySelectorAll("[data-wait]").forEach((button) => {
      button.addEventListener("click", () => wait(Number(button.dataset.wait)));
    });
  }

  document.documentElement.classList.add("scripted");
  beginAir();
  beginBoard();
  beginCut();
  beginStack();
  beginSurvey();
  if (byId("bench-charge")) beginCharge(); // a mill may have no scenario to run
})();
