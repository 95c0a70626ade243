/* kilnfolio: practice problems with new numbers each time.

   kilnfolio.makeProblems(data) draws a problem's numbers by a seed and works its answer out, as
   training/problem.py, expressions.py and expected.py do: the same seed gives the same problem. The data,
   written by the build, holds every problem as terms and no answer. It requires wood.js, air.js and
   calculators.js. */

(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;
  const { fixed, number, measure, wholeNumber } = kilnfolio.numbers;

  const { total } = kilnfolio.figures;
  const mean = (values) => total(values) / values.length;
  const deviation = (values) => {
    const middle = mean(values);
    return Math.sqrt(total(values.map((one) => (one - middle) ** 2)) / (values.length - 1));
  };

  /* ---- statistics: physics/survey.py ------------------------------------------------------------ */

  const density = (x) => Math.exp(-0.5 * x * x) / Math.sqrt(2 * Math.PI);

  /* The share of a standard normal between 0 and x: Abramowitz and Stegun, 26.2.11. */
  function normalHalf(x) {
    let term = x;
    let found = 0;
    for (let odd = 3; found + term !== found; odd += 2) {
      found += term;
      term *= (x * x) / odd;
    }
    return density(x) * found;
  }

  /* The share of Student's t between −x and x: Abramowitz and Stegun, 26.7.3 and 26.7.4. */
  function studentWithin(x, degrees) {
    const angle = Math.atan(x / Math.sqrt(degrees));
    const cosine = Math.cos(angle) ** 2;
    const odd = degrees % 2;
    let term = odd ? Math.cos(angle) : 1;
    let found = degrees === 1 ? 0 : term;
    for (let k = odd ? 3 : 2; k <= degrees - 2; k += 2) {
      term *= (cosine * (k - 1)) / k;
      found += term;
    }
    const part = Math.sin(angle) * found;
    return odd ? (2 / Math.PI) * (angle + part) : part;
  }

  /* The chance that chi-square exceeds a value: Abramowitz and Stegun, 26.4.4 and 26.4.5. */
  function chanceAbove(square, degrees) {
    const chi = Math.sqrt(square);
    let term = degrees % 2 ? chi : 1;
    let found = degrees === 1 ? 0 : term;
    for (let k = degrees % 2 ? 3 : 2; k <= degrees - 2; k += 2) {
      term *= square / k;
      found += term;
    }
    return degrees % 2
      ? 1 - 2 * normalHalf(chi) + 2 * density(chi) * found
      : Math.exp(-0.5 * square) * found;
  }

  function makeStatistics(risingRoot) {
    const normalAt = (share) =>
      share < 0.5
        ? -risingRoot((x) => normalHalf(x) - (0.5 - share), 0, 9)
        : risingRoot((x) => normalHalf(x) - (share - 0.5), 0, 9);

    function confidenceInterval(middle, sd, readings, confidence) {
      const t = risingRoot((x) => studentWithin(x, readings - 1) - confidence, 0, 1000);
      const half = (t * sd) / Math.sqrt(readings);
      return [middle - half, middle + half];
    }

    /* Half of the width about z that holds a share of a standard normal. */
    const signed = (x) => (x < 0 ? -normalHalf(-x) : normalHalf(x));
    const halfWidth = (z, share) =>
      risingRoot((r) => signed(z + r) - signed(z - r) - share, 0, z + 9);

    /* The exact two-sided factor; its integrand is smooth and even, so equal steps do. */
    function toleranceFactor(readings, share, confidence) {
      const step = 0.15;
      const points = [];
      for (let u = 0; u < 9; u += step) {
        const weight = (u ? 2 : 1) * step * density(u);
        points.push([weight, halfWidth(u / Math.sqrt(readings), share) ** 2]);
      }
      const excess = (k) =>
        total(
          points.map(
            ([weight, square]) =>
              weight * chanceAbove(((readings - 1) * square) / (k * k), readings - 1),
          ),
        ) - confidence;
      return risingRoot(excess, 0.1, 50);
    }

    return { normalAt, confidenceInterval, toleranceFactor };
  }

  /* ---- formulas that only problems use: review/formulas/ ---------------------------------------- */

  function controllingBoards(values) {
    const order = values.map((value, place) => [value, place]);
    order.sort((a, b) => b[0] - a[0] || a[1] - b[1]);
    return order.slice(0, Math.ceil(values.length / 2)).map((one) => one[1]);
  }

  function longestRun(interval, temperatures, threshold) {
    let best = 0;
    let length = 0;
    for (const temperature of temperatures) {
      length = temperature >= threshold ? length + 1 : 0;
      best = Math.max(best, length);
    }
    return Math.max(best - 1, 0) * interval;
  }

  function addFormulas(sums, given) {
    const { functions: F, putIns, term, risingRoot } = sums;
    const statistics = makeStatistics(risingRoot);
    const tolerance = (a) =>
      statistics.toleranceFactor(a.readings, a.share / 100, a.confidence / 100);
    const emcOfBulbs = (a) =>
      F.equilibrium_moisture_content({
        temperature: a.dry_bulb,
        relative_humidity: F.relative_humidity(a),
      });
    Object.assign(F, {
      wet_basis: (a) => (100 * a.mc) / (100 + a.mc),
      maximum_mc: (a) =>
        (100 * (given.cell_wall_gravity - a.basic_specific_gravity)) /
        (given.cell_wall_gravity * a.basic_specific_gravity),
      difference: (a) => a.a - a.b,
      standard_deviation: (a) => deviation(a.of),
      controlling_moisture_content: (a) =>
        mean(
          controllingBoards(a.of)
            .map((place) => a.of[place])
            .reverse(),
        ),
      emc_from_bulbs: emcOfBulbs,
      equalizing_start: (a) => a.target - a.below,
      equalizing_emc: (a) => a.target - a.below,
      conditioning_emc: (a) => a.target + a.above,
      thickness_scaled_rate: (a) =>
        a.rate * (given.four_quarter_mm / a.thickness) ** Math.log2(a.divisor),
      green_size: (a) => a.dry_size / (1 - a.shrinkage / 100),
      volume: (a) => a.pieces * (a.thickness * a.width * a.length) * 1e-9,
      longest_run_above: (a) => longestRun(a.interval, a.temperatures, a.threshold),
      mean_for_share_below: (a) => a.limit - statistics.normalAt(a.share / 100) * a.sd,
      confidence_interval: (a) =>
        statistics.confidenceInterval(a.mean, a.sd, a.readings, a.confidence / 100),
      tolerance_limits: (a) => {
        const reach = tolerance(a) * a.sd;
        return [a.mean - reach, a.mean + reach];
      },
    });
    const bare = (q) =>
      Object.fromEntries(Object.entries(q).map(([name, one]) => [name, one?.value]));
    Object.assign(putIns, {
      controlling_moisture_content: (q) => {
        const wettest = controllingBoards(q.of.map((one) => one.value)).map((i) => q.of[i]);
        return `(${term(wettest)}) ÷ ${wettest.length}`;
      },
      standard_deviation: (q) => {
        const middle = measure(mean(q.of.map((one) => one.value)), "%", 2);
        const [first, last] = [term(q.of[0]), term(q.of.at(-1))];
        return (
          `√{[(${first} − ${middle})² + … + (${last} − ${middle})²] ÷ ` + `(${q.of.length} − 1)}`
        );
      },
      emc_from_bulbs: (q) => {
        const value = F.relative_humidity(bare(q));
        const humidity = { of: "Percent", value, entered: "" };
        const emc = putIns.equilibrium_moisture_content({
          temperature: q.dry_bulb,
          relative_humidity: humidity,
        });
        return `RH = ${putIns.relative_humidity(q)} = ${measure(value, "%", 1)}; then EMC, ${emc}`;
      },
      conditioning_emc: (q) => `${term(q.target)} + ${term(q.above)} for a ${q.kind}`,
      longest_run_above: (q) =>
        `readings every ${term(q.interval)}: ${sums.listed(q.temperatures)}; held at or above ` +
        term(q.threshold),
      confidence_interval: (q) => {
        const half = F.confidence_interval(bare(q))[1] - q.mean.value;
        return (
          `${term(q.mean)} ± t × ${term(q.sd)} ÷ √${term(q.readings)}, t for ` +
          `${term(q.confidence)} = ${term(q.mean)} ± ${measure(half, "%", 2)}`
        );
      },
      tolerance_limits: (q) => `${term(q.mean)} ± ${number(tolerance(bare(q)), 2)} × ${term(q.sd)}`,
    });
    return F;
  }

  kilnfolio.problemFormulas = addFormulas;

  /* ---- terms: training/expressions.py ------------------------------------------------------------ */

  function inSteps(value, step) {
    const [digits, power = "0"] = String(step).split("e");
    const decimals = (digits.split(".")[1] || "").length - Number(power);
    const scale = 10 ** Math.max(decimals, 0);
    return (wholeNumber(value / step) * Math.round(step * scale)) / scale;
  }

  const DRAWS = {
    number: (chance, low, high, step) =>
      inSteps(low + step * chance.below(wholeNumber((high - low) / step) + 1), step),
    different: (chance, count, low, high, step) => {
      const places = [];
      while (places.length < count) {
        const place = chance.below(wholeNumber((high - low) / step) + 1);
        if (!places.includes(place)) places.push(place);
      }
      return places.map((place) => inSteps(low + step * place, step));
    },
    pick: (chance, choices) => choices[chance.below(choices.length)],
    readings: (chance, count, middle, sd, step) =>
      Array.from({ length: count }, () => inSteps(middle + sd * chance.normal(), step)),
  };

  const OPERATIONS = {
    add: (a, b) => a + b,
    subtract: (a, b) => a - b,
    multiply: (a, b) => a * b,
    divide: (a, b) => a / b,
    below: (a, b) => a < b,
    reaches: (a, b) => a >= b,
    round: inSteps,
    words: (value, unit, decimals) => `${fixed(value, decimals)} ${unit}`.trimEnd(),
    either: (condition, one, other) => (condition ? one : other),
    list: (...values) => values,
    replaced: (values, place, value) => values.map((one, i) => (i === place ? value : one)),
    first: (values, count) => values.slice(0, count),
    least: Math.min,
    mean,
    total,
    greatest: (values) => Math.max(...values),
    driest_half: (values) =>
      mean(values.toSorted((a, b) => a - b).slice(0, Math.floor((values.length + 1) / 2))),
    count_at_least: (values, threshold) => values.filter((value) => value >= threshold).length,
    pairs_at_least: (values, threshold) =>
      values.slice(1).filter((value, i) => Math.min(value, values[i]) >= threshold).length,
  };

  const PLACEHOLDER = /\{([A-Za-z_]\w*)(?:\.(\w+))?\}/g;
  const ESCAPED = { "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&#34;", "'": "&#39;" };
  const escaped = (text) => text.replace(/[&<>"']/g, (letter) => ESCAPED[letter]);

  /* ---- the units of a region: rendering/regional.py -------------------------------- */

  function makeRegion(data, sums) {
    const { quantity, unitOf, houseValue, inUnit } = sums;
    if (!data.customary_first) return { native: (q) => q, localized: (text) => text };
    /* An example's quantity as this region would write it. */
    function native(q) {
      const sizes = data.native[q.of];
      if (!sizes || sums.isCustomary(q)) return q;
      const [, name, step] = sizes.find(([below]) => below === null || Math.abs(q.value) < below);
      const unit = unitOf(q.of, name);
      const there = inUnit(unit, q.value);
      const near = wholeNumber(Number((there / step).toFixed(9))) * step;
      if (Math.abs(near - there) > 0.1 * Math.abs(there) && houseValue(unit, 0) === 0) return q;
      return quantity(q.of, String(Number(near.toPrecision(6))), name);
    }

    return { native, localized: kilnfolio.makeCustomaryFirst(data.amounts) };
  }

  /* ---- problems: training/problem.py --------------------------------------------------------------- */

  kilnfolio.makeProblems = function makeProblems(data) {
    const sums = kilnfolio.makeCalculators(data);
    const { asEntered, both, customary, quantity, unitOf, houseValue } = sums;
    addFormulas(sums, data.constants);
    const region = makeRegion(data, sums);

    function workTerm(part, scope, one) {
      if (part === null || typeof part !== "object") return part;
      const [operation, ...parts] = part;
      if (operation === "draw") return scope.drawn[parts[0]];
      if (operation === "result") return scope.results[parts[0]];
      if (operation === "one") return one;
      if (operation === "argument") return scope.given[parts[0]] ?? parts[1];
      if (operation === "each") {
        return workTerm(parts[0], scope, one).map((value) => workTerm(parts[1], scope, value));
      }
      if (operation === "computed") {
        const given = Object.entries(parts[1]).map(([name, term]) => [
          name,
          workTerm(term, scope, one),
        ]);
        return sums.functions[parts[0]](Object.fromEntries(given));
      }
      return OPERATIONS[operation](...parts.map((term) => workTerm(term, scope, one)));
    }

    function drawn(kind, chance) {
      const scope = { drawn: [], results: {} };
      for (const [operation, ...parts] of kind.draws) {
        const values = parts.map((part) => workTerm(part, scope));
        scope.drawn.push(DRAWS[operation](chance, ...values));
      }
      return scope;
    }

    /* A quantity from its words: "121.5 g", "5/4", "0.0025". */
    function read(of, entered) {
      const [digits, ...rest] = entered.split(" ");
      const unit = rest.join(" ");
      if (digits.endsWith("/4")) {
        const inches = Number.parseFloat(digits) / 4;
        return { of: "Length", value: houseValue(unitOf("Length", "in"), inches), entered };
      }
      return quantity(of || data.any[unit], digits, unit);
    }

    function limitWords(asked, step) {
      const found = data.limits[asked.limit];
      let value = found;
      if (typeof found !== "number") {
        const [points, low, upTo, from] = found[step.kind];
        const target = read("Percent", step.target).value;
        const share = Math.min(Math.max((target - upTo) / (from - upTo), 0), 1);
        value = low === undefined ? points : low + share * (points - low);
      }
      const { unit } = data.dimensions[asked.of];
      return `${Number(value.toPrecision(4))} ${unit}`.trimEnd();
    }

    function argumentOf(asked, step, board) {
      const entered = step[asked.name] ?? (asked.limit ? limitWords(asked, step) : asked.default);
      if (!entered) return undefined;
      if (asked.word) return entered;
      const one = (words) => {
        if (words in board.results) return board.results[words].quantity;
        const q = read(asked.of, words);
        const stays = asked.many || !asked.of || asked.name.includes("threshold");
        return stays || !step[asked.name] ? q : region.native(q);
      };
      return Array.isArray(entered) ? entered.map(one) : one(entered);
    }

    function shown(q) {
      if (q.of === "Kilograms") return `${asEntered(q)} (${customary(q.value * 1000, "Mass")})`;
      if (!data.two_systems.includes(q.of)) return asEntered(q);
      const [first, second] = both(q);
      return second ? `${first} (${second})` : first;
    }

    function wordsOf(value) {
      if (Array.isArray(value)) return sums.listed(value);
      return typeof value === "string" ? value : shown(value);
    }

    function dimensionOf(name, quantities) {
      const first = Object.values(quantities)[0];
      const of = data.formulas[name].of || (Array.isArray(first) ? first[0] : first).of;
      const apart = name === "difference" || name === "standard_deviation";
      return (apart && data.differences[of]) || of;
    }

    function workStep(step, board) {
      const name = step.compute;
      const formula = data.formulas[name];
      const quantities = {};
      for (const asked of formula.asked) {
        const value = argumentOf(asked, step, board);
        if (value === undefined) continue;
        quantities[asked.name] = value;
        board.entered[`${step.let}.${asked.name}`] = region.localized(wordsOf(value));
      }
      const bare = (value) => (Array.isArray(value) ? value.map(bare) : (value.value ?? value));
      const given = Object.fromEntries(
        Object.entries(quantities).map(([key, value]) => [key, bare(value)]),
      );
      const value = sums.functions[name](given);
      const of = dimensionOf(name, quantities);
      const ends = (Array.isArray(value) ? value : [value]).map((end) =>
        sums.printed(formula, of, end, quantities),
      );
      board.results[step.let] = {
        name,
        formula,
        given,
        value: ends[0].value,
        quantity: ends[0],
        text: ends.map(shown).join(" to "),
        putIn: sums.putIn(name, quantities),
      };
    }

    const put = (text, also) => text.replace(PLACEHOLDER, (whole, name) => also[name] ?? whole);

    function prose(text, board) {
      const filled = text.replace(PLACEHOLDER, (_, name, asked) =>
        asked ? board.entered[`${name}.${asked}`] : region.localized(board.results[name].text),
      );
      return `<p>${escaped(region.localized(filled))}</p>`;
    }

    /* The working: handbook/examples.py, WorkedSteps.html. */
    function working(board) {
      const before = new Set();
      const all = Object.entries(board.results);
      const blocks = all.map(([name, result]) => {
        const { formula } = result;
        const several = all.filter((one) => one[1].name === result.name).length > 1;
        const label = formula.title + (several ? `: ${name.replaceAll("_", " ")}` : "");
        const place = formula.symbols.indexOf(" = ");
        let left = formula.symbols.slice(0, Math.max(place, 0));
        const lines = [`<p class="meta">${escaped(label)}</p>`];
        if (!before.has(result.name)) {
          lines.push(`<p>${escaped(formula.symbols)}</p>`);
          left = "";
        }
        before.add(result.name);
        if (left.includes(" at which")) left = "";
        const named = /^[^\W\d_]{1,5}[₀-₉]* = /.test(result.putIn);
        const line = named ? result.putIn : `${left} = ${result.putIn}`.trimStart();
        lines.push(`<p>${escaped(line)}</p>`);
        lines.push(`<p>= <b>${escaped(region.localized(result.text))}</b></p>`);
        return `<div class="working">${lines.join("")}</div>`;
      });
      return blocks.join("\n");
    }

    /* ---- what is to be typed: training/expected.py and mistakes.py -------------------------------- */

    function usualMistakes(result) {
      const found = [];
      for (const [words, term] of result.formula.mistakes) {
        let wrong = null;
        try {
          wrong = workTerm(term, { given: result.given });
        } catch (error) {
          if (!(error instanceof sums.Refused)) throw error;
        }
        const apart = Math.abs(wrong - result.value);
        if (wrong !== null && Number.isFinite(wrong)) {
          if (apart > 1e-9 * Math.max(1, Math.abs(result.value))) found.push([wrong, words]);
        }
      }
      return found;
    }

    function toType([name, label, unit, key], board) {
      const result = board.results[name];
      const { of } = result.quantity;
      const [factor, offset] = data.units[key][data.dimensions[of].unit] || [1, 0];
      const inUnit = (value) => value * factor + offset;
      const value = inUnit(result.value);
      const { entered } = result.quantity;
      const digits = /[\d.]+/.exec(entered)[0];
      const inPrint = data.units[key][entered.split(/[ \u00a0]/).at(-1)];
      const step = 10 ** -(digits.split(".")[1] || "").length * (inPrint || [factor])[0];
      const isCount = unit === "" && step === 1;
      const near = isCount ? 0.5 : Math.max(1.01 * step, data.relative * Math.abs(value));
      const wrong = usualMistakes(result).map(([other, words]) => [inUnit(other), words]);
      if (of === "Temperature" && unit === "°F") {
        wrong.push([(value - 32) / 1.8, "That is in °C. Write the unit, or give °F."]);
      } else if (of === "Temperature") {
        wrong.push([value * 1.8 + 32, "That is in °F. Write the unit, or give °C."]);
      }
      return {
        label,
        value,
        near,
        unit,
        units: data.units[key],
        wrong: wrong.filter(([other]) => Math.abs(other - value) > near),
      };
    }

    /* The problem of a kind and seed: {ask, answer, typed, steps}. */
    function make(slug, seed) {
      const kind = data.kinds[slug];
      const chance = new kilnfolio.RandomNumbers(kilnfolio.seedOf(`${slug} ${seed}`));
      const scope = drawn(kind, chance);
      const board = { results: {}, entered: {} };
      const steps = kind.steps.map((step) =>
        Object.fromEntries(
          Object.entries(step).map(([name, part]) => [name, workTerm(part, scope)]),
        ),
      );
      for (const step of steps) workStep(step, board);
      for (const [name, result] of Object.entries(board.results)) {
        scope.results[name] = result.value;
      }
      const also = {};
      for (const [name, part] of Object.entries(kind.also)) {
        also[name] = put(workTerm(part, scope), also);
      }
      return {
        ask: prose(put(kind.ask, also), board),
        answer: prose(put(kind.answer, also), board) + working(board),
        typed: kind.typed.map((one) => toType(one, board)),
        steps,
      };
    }

    return { make, kinds: Object.keys(data.kinds) };
  };
})();
