/* kilnfolio: the page of calculators.

   The page contains its data in <script type="application/json" id="calculator-data">: the constants of
   the physics, the formulas with their symbols and ranges, the units, and the fields of each form, all
   written by the build. This script has no constants of its own: its functions follow their
   namesakes in the Python package step by step, so that both give the same digits.

   It requires wood.js, which is loaded before it. The pure functions come first, made from that data by
   kilnfolio.makeCalculators(data) and kept on window.kilnfolio.calculators; the code that reads and fills
   the page is at the end. */

(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;

  const { fixed, number, measure, local, bare, NBSP, MINUS, POINT, GROUP } = kilnfolio.numbers;

  /* A value that a calculation refuses: what is wrong, and which arguments it concerns. */
  class Refused extends Error {
    constructor(message, concerns = []) {
      super(message);
      this.concerns = concerns;
    }
  }

  /* ---- numbers as people read them: figures.py ------------------------------------------------- */

  /* Round to a number of decimals; to tens, hundreds … if it is negative. */
  function rounded(value, decimals) {
    if (decimals >= 0) return Number(fixed(value, decimals));
    const size = Math.abs(value);
    const step = 10n ** BigInt(-decimals);
    const whole = BigInt(Math.floor(size));
    const rest = whole % step;
    const below = whole - rest;
    const twice = 2n * rest;
    const above = twice > step || (twice === step && size > Math.floor(size));
    const tied = twice === step && size === Math.floor(size);
    const up = above || (tied && (below / step) % 2n === 1n);
    return Math.sign(value) * Number(up ? below + step : below);
  }

  function significant(value, digits) {
    if (value === 0) return "0";
    const places = (x) => digits - 1 - Number(Math.abs(x).toExponential().split("e")[1]);
    const near = rounded(value, places(value));
    const decimals = places(near);
    return number(rounded(near, decimals), Math.max(decimals, 0));
  }

  /* A sum in numpy's order, so that a mean on the edge of rounding is rounded alike. */
  function total(values) {
    const lanes = values.length < 8 ? 1 : 8;
    const whole = values.length - (values.length % lanes);
    const sums = values.slice(0, lanes);
    for (let i = lanes; i < whole; i += 1) sums[i % lanes] += values[i];
    let found = sums[0] ?? 0;
    if (lanes === 8) {
      const [a, b, c, d, e, f, g, h] = sums;
      found = a + b + (c + d) + (e + f + (g + h));
    }
    for (const value of values.slice(whole)) found += value;
    return found;
  }

  kilnfolio.makeCalculators = function makeCalculators(data) {
    const given = data.constants;

    /* ---- quantities: quantities.py and figures.py ------------------------------------------------ */

    /* A quantity is {of, value, entered}: its dimension, its value in the house unit, and its text. */

    const houseValue = (unit, x) => ((x - unit.zero) * unit.times) / unit.per;
    const inUnit = (unit, value) => (value * unit.per) / unit.times + unit.zero;
    const onScale = (scale, value) => (value * scale.times) / scale.per + scale.plus;
    const unitOf = (of, name) => data.dimensions[of].units[name];

    /* Read a person's input as a number; its unit is chosen beside it. */
    function readNumber(words) {
      let text = words.trim().replace(/^[\u2212\u2013]/, "-");
      if (POINT === ",") {
        // where people write 3,5 they may write 3.5 too, but 1.234 may mean thousands
        if (GROUP === "." && /^[-+]?[1-9]\d{0,2}\.\d{3}$/.test(text)) {
          throw new Refused(
            `has a point, which may mean thousands or decimals: write ` +
              `${text.replace(".", ",")} or ${text.replace(".", "")}.`,
          );
        }
        if (!text.includes(".")) text = text.replace(",", ".");
      }
      if (/\d,\d/.test(text)) {
        throw new Refused(
          `has a comma, which may mean thousands or decimals: write ` +
            `${text.replace(",", ".")} or ${text.replaceAll(",", "")}.`,
        );
      }
      if (!/^[-+]?(\d+(\.\d*)?|\.\d+)$/.test(text)) {
        throw new Refused(text ? `is not a number: “${text}”.` : "is missing.");
      }
      return text
        .replace(/^\+/, "")
        .replace(/^(-?)\./, "$10.")
        .replace(/\.$/, "");
    }

    function quantity(of, words, unitName) {
      const text = readNumber(words);
      const value = houseValue(unitOf(of, unitName), Number(text));
      return { of, value, entered: unitName ? `${text} ${unitName}` : text };
    }

    const PARTS = /^([-+]?[\d./]+(?: \d+\/\d+)?)\s*(.*)$/s;
    const CUSTOMARY_WORDS = /(?:°F|\bF|\blb|\boz|\bin|\bft|\bbf|\bmbf|lb\/ft³|ft\/min|\d\/4)\.?$/;

    const isCustomary = (q) => CUSTOMARY_WORDS.test(q.entered);

    function asEntered(q) {
      let words = q.entered;
      if (q.of === "Percent" && !words.endsWith("%")) words += " %";
      if (q.of === "Rate")
        words = words.replace("%/day", "points/day").replace("%/d", "points/day");
      const part = PARTS.exec(words);
      if (part && /^[-+]?\d+(\.\d+)?$/.test(part[1])) {
        words = measure(Number(part[1]), part[2], (part[1].split(".")[1] || "").length);
      }
      return (words.startsWith("-") ? words.replace("-", MINUS) : words).replaceAll(" ", NBSP);
    }

    function fitting(scales, value) {
      return scales.filter((scale, place) => place === 0 || Math.abs(value) >= scale.from).at(-1);
    }

    function metric(value, of, decimals = 1) {
      const scale = fitting(data.dimensions[of].metric, value);
      return measure(onScale(scale, value), scale.unit, decimals);
    }

    function customary(value, of, digits = 3) {
      const scales = data.dimensions[of].customary;
      if (!scales.length) return "";
      const scale = fitting(scales, value);
      const there = onScale(scale, value);
      if (of === "Temperature") return measure(there, scale.unit, digits > 3 ? 1 : 0);
      if (of === "TemperatureDifference") return tenths(there, scale.unit);
      return significant(there, digits) + NBSP + scale.unit;
    }

    /* To a tenth, or whole if the tenth is zero. */
    const tenths = (value, unit) =>
      measure(value, unit, Math.abs(value - rounded(value, 0)) < 0.05 ? 0 : 1);

    /* Both unit systems, with the text as entered first if it is metric. */
    function both(q) {
      const words = asEntered(q);
      const written = PARTS.exec(q.entered);
      const digits = written ? Math.max(2, written[1].replace(/\D|^[0.]+/g, "").length) : 3;
      if (!isCustomary(q)) {
        const fine = q.of === "Temperature" && q.entered.includes(".") ? 4 : Math.min(digits, 4);
        return [words, customary(q.value, q.of, fine)];
      }
      const scale = fitting(data.dimensions[q.of].metric, q.value);
      const value = onScale(scale, q.value);
      if (q.of === "Temperature") return [measure(value, scale.unit, 1), words];
      if (q.of === "TemperatureDifference") return [tenths(value, scale.unit), words];
      return [significant(value, Math.min(digits, 4)) + NBSP + scale.unit, words];
    }

    function sideBySide(q) {
      // a value that rounds to zero in one system is zero in the other too
      const shown = Number(q.entered.split(" ")[0]) === 0 ? { ...q, value: 0 } : q;
      if (q.of === "Kilograms") return [asEntered(shown), customary(shown.value * 1000, "Mass")];
      return both(shown);
    }

    function metricWithin(q) {
      if (!data.metric_within.includes(q.of)) return q;
      const words = both(q)[0];
      const cut = words.lastIndexOf(NBSP);
      return { ...q, entered: `${bare(words.slice(0, cut))} ${words.slice(cut + 1)}` };
    }

    /* ---- moist air: physics/air.py --------------------------------------------------------------- */

    /* The root of a rising function, by bisection until no number lies between the ends of the bracket. */
    function risingRoot(f, low, high) {
      for (;;) {
        const middle = 0.5 * (low + high);
        if (middle <= low || middle >= high) return middle;
        if (f(middle) < 0) low = middle;
        else high = middle;
      }
    }

    const { saturationPressure, vapourPressureOfBulbs } = kilnfolio.makeAir(given);

    function pressureAtAltitude(metres) {
      const [lapse, seaLevel, gravity, gasConstant] = given.standard_atmosphere;
      const fall = 1 - (lapse * metres) / seaLevel;
      return given.standard_pressure_pa * fall ** (gravity / (gasConstant * lapse));
    }

    function relativeHumidity(dry, wet, pressure) {
      const bulbs = ["dry_bulb", "wet_bulb"];
      if (wet > dry) {
        throw new Refused("The wet bulb is above the dry bulb: are the two exchanged?", bulbs);
      }
      const vapour = vapourPressureOfBulbs(dry, wet, pressure);
      if (vapour === Infinity) {
        throw new Refused("Water would boil on this wet bulb at this air pressure.", bulbs);
      }
      if (vapour < -given.vapour_rounding_pa) {
        throw new Refused("The depression is larger than perfectly dry air would show.", bulbs);
      }
      return dry === wet ? 100 : (100 * Math.max(vapour, 0)) / saturationPressure(dry);
    }

    function wetBulb(dry, humidity, pressure) {
      const target = (saturationPressure(dry) * humidity) / 100;
      const concerns = ["dry_bulb", "relative_humidity", "altitude"];
      if (target >= pressure) {
        throw new Refused(
          "Air this hot cannot be this humid in an open kiln: its vapour pressure would " +
            "reach the air pressure.",
          concerns,
        );
      }
      const excess = (wet) => vapourPressureOfBulbs(dry, wet, pressure) - target;
      const found = risingRoot(excess, given.wet_bulb_floor_c, dry);
      if (Math.abs(excess(found)) > given.vapour_rounding_pa) {
        throw new Refused(
          "No wet bulb below the boiling point of water answers to this air.",
          concerns,
        );
      }
      return found;
    }

    function dewPoint(dry, humidity) {
      const target = (saturationPressure(dry) * humidity) / 100;
      if (target < saturationPressure(given.lowest_dew_point_c)) {
        throw new Refused("The air is too dry for its dew point to be computed.", [
          "dry_bulb",
          "relative_humidity",
        ]);
      }
      return risingRoot((temp) => saturationPressure(temp) - target, given.lowest_dew_point_c, dry);
    }

    const latentHeat = (temp) =>
      given.water_heat[0] + (given.vapour_specific_heat - given.water_heat[1]) * temp;

    /* ---- EMC: physics/sorption.py ---------------------------------------------------------------- */

    const { hydrates, equilibriumMoistureContent, shrinkageAt } = kilnfolio.makeWood(given);

    function relativeHumidityForEmc(temp, emc) {
      const most = equilibriumMoistureContent(temp, 100);
      if (emc < 0 || emc > most) {
        throw new Refused(
          `No RH gives this EMC at this temperature: it must lie between 0 and ` +
            `${measure(most, "%", 1)}.`,
          ["emc", "temperature"],
        );
      }
      return risingRoot((humidity) => equilibriumMoistureContent(temp, humidity) - emc, 0, 100);
    }

    /* ---- masses, sizes, loads: physics/moisture.py, shrinkage.py, water.py, meters.py ------------ */

    function moistureContent(mass, ovenDry) {
      if (mass < ovenDry) {
        throw new Refused(
          "The mass is below the oven-dry mass: no piece holds less than no water.",
          ["mass", "oven_dry_mass"],
        );
      }
      return (100 * (mass - ovenDry)) / ovenDry;
    }

    const ovenDryMass = (mass, mc) => (100 * mass) / (100 + mc);
    const massAt = (ovenDry, mc) => ovenDry * (1 + mc / 100);
    const dryingRate = (from, to, hours) => (24 * (from - to)) / hours;
    const shrunkSize = (size, shrinkage) => size * (1 - shrinkage / 100);
    const dimensionChange = (size, coefficient, from, to) => size * coefficient * (to - from);
    const waterRemoved = (volume, density, from, to) => (volume * density * (from - to)) / 100;

    function leastHeat(volume, density, from, to, start, kiln, fsp = given.fibre_saturation_pct) {
      if (to > from)
        throw new Refused("The MC at the end is above that at the start.", ["mc_from", "mc_to"]);
      if (kiln < start) {
        throw new Refused("The kiln is colder than the timber.", [
          "start_temperature",
          "temperature",
        ]);
      }
      const latent = latentHeat(kiln);
      const water = given.water_heat[1];
      const ice = given.ice_heat[1];
      const bound = Math.min(from, fsp) / 100;
      const free = Math.max(from - fsp, 0) / 100;
      const frozenSpan = Math.max(-start, 0);
      const thawedSpan = kiln - Math.max(start, 0);
      const enthalpy = (temp) => {
        const [atZero, slope] = given.dry_wood_heat_capacity;
        const kelvin = temp + given.zero_celsius_k;
        return kelvin * (atZero + 0.5 * slope * kelvin);
      };
      const still = (mc) => (fsp / 300) * (1 - Math.min(mc, fsp) / fsp) ** 3;
      const perKilogram = [
        enthalpy(kiln) - enthalpy(start),
        bound * water * (kiln - start) + free * (ice * frozenSpan + water * thawedSpan),
        (start < 0 ? free : 0) * given.heat_of_fusion,
        (latent * (from - to)) / 100,
        given.sorption_share * latent * (still(to) - still(from)),
      ];
      const dryMass = volume * density;
      return perKilogram.reduce((sum, part) => sum + (part * dryMass) / given.kj_per_kwh, 0);
    }

    /* ---- the warming of a core: physics/drying_core.py ------------------------------------------- */

    /* How fast warmth spreads across the grain of green wood [m²/s]. */
    function thermalDiffusivity(gravity, temp) {
      const [ofAir, ofWood, , perPoint] = given.conductivity;
      const [atZero, slope] = given.dry_wood_heat_capacity;
      const mc = given.green_mc_pct / 100;
      const conductivity = given.btu_in * (gravity * (ofWood + perPoint * 100 * mc) + ofAir);
      const dry = atZero + slope * (temp + given.zero_celsius_k);
      const capacity = (1000 * (dry + given.water_heat_capacity * mc)) / (1 + mc);
      return conductivity / (1000 * gravity * (1 + mc) * capacity);
    }

    /* The share of the first difference that is left in the middle of a slab. */
    function slab(fourier) {
      if (fourier < given.least_fourier) return 1;
      let left = 0;
      for (let n = 0; n < given.slab_terms; n += 1) {
        const odd = 2 * n + 1;
        const weight = (n % 2 ? -2 : 2) / (0.5 * Math.PI * odd);
        left += weight * Math.exp(-((0.5 * odd * Math.PI) ** 2) * fourier);
      }
      return left;
    }

    function coreTime(thickness, width, gravity, wet, start, target) {
      if (start >= target) return 0;
      if (wet <= target) {
        throw new Refused(
          "The core never gets there: a green face is no warmer than the wet bulb, which must stand " +
            "above the core temperature wanted.",
          ["wet_bulb", "target"],
        );
      }
      const spread = 60 * thermalDiffusivity(gravity, 0.5 * (start + wet));
      const rates = [thickness, width].map((side) => spread / (side / 2000) ** 2);
      const core = (minutes) =>
        start + (wet - start) * (1 - slab(rates[0] * minutes) * slab(rates[1] * minutes));
      if (core(given.longest_heating_min) < target) {
        throw new Refused("This would take over 14 days.", [
          "thickness",
          "width",
          "wet_bulb",
          "target",
        ]);
      }
      return risingRoot((minutes) => core(minutes) - target, 0, given.longest_heating_min) / 60;
    }

    const readingAtCalibration = (reading, wood, calibration) =>
      reading - (wood - calibration) * given.points_per_kelvin;

    /* ---- surveys: physics/survey.py -------------------------------------------------------------- */

    /* ln n! minus Stirling's first terms: exact products for small n, the series for others. */
    function stirlingRest(n) {
      if (n < 16) {
        let product = 1;
        for (let factor = 2; factor <= n; factor += 1) product *= factor;
        return Math.log(product) - (n + 0.5) * Math.log(n) + n - 0.5 * Math.log(2 * Math.PI);
      }
      const square = n * n;
      return (
        (1 / 12 -
          (1 / 360 - (1 / 1260 - (1 / 1680 - 1 / 1188 / square) / square) / square) / square) /
        n
      );
    }

    /* x ln(x/mean) + mean - x, without cancellation if the two are close. */
    function deviance(x, mean) {
      if (Math.abs(x - mean) < 0.1 * (x + mean)) {
        const v = (x - mean) / (x + mean);
        let sum = (x - mean) * v;
        let power = 2 * x * v;
        for (let odd = 3; ; odd += 2) {
          power *= v * v;
          const next = sum + power / odd;
          if (next === sum) return next;
          sum = next;
        }
      }
      return x * Math.log(x / mean) + mean - x;
    }

    /* The probability of k successes in n, by the saddle point: full precision for a million as for ten. */
    function binomial(k, n, p, q) {
      if (k === 0) return Math.exp(n * Math.log1p(-p));
      if (k === n) return p ** n;
      const log =
        stirlingRest(n) -
        stirlingRest(k) -
        stirlingRest(n - k) -
        deviance(k, n * p) -
        deviance(n - k, n * q);
      return Math.exp(log) * Math.sqrt(n / (2 * Math.PI * k * (n - k)));
    }

    /* The continued fraction of the incomplete beta function, by Lentz's method. */
    function betaFraction(a, b, x) {
      const tiny = Number.MIN_VALUE / Number.EPSILON;
      const kept = (value) => (Math.abs(value) < tiny ? tiny : value);
      let c = 1;
      let d = 1 / kept(1 - ((a + b) * x) / (a + 1));
      let h = d;
      for (let m = 1; ; m += 1) {
        const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
        d = 1 / kept(1 + even * d);
        c = kept(1 + even / c);
        h *= d * c;
        const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
        d = 1 / kept(1 + odd * d);
        c = kept(1 + odd / c);
        h *= d * c;
        if (Math.abs(d * c - 1) < 2 * Number.EPSILON) return h;
      }
    }

    /* The regularized incomplete beta function I_x(a, b) for integers a and b. */
    function incompleteBeta(x, a, b) {
      if (x <= 0) return 0;
      if (x >= 1) return 1;
      const n = a + b - 1;
      if (x <= (a + 1) / (a + b + 2))
        return (1 - x) * binomial(a, n, x, 1 - x) * betaFraction(a, b, x);
      return 1 - x * binomial(b, n, 1 - x, x) * betaFraction(b, a, 1 - x);
    }

    function shareShown(readings, failures, confidence) {
      if (failures > readings) {
        throw new Refused("More readings lie outside than were taken.", ["readings", "failures"]);
      }
      const good = readings - failures;
      const chance = 1 - confidence;
      if (good === 0) return 0;
      if (failures === 0) return chance ** (1 / good);
      return risingRoot((x) => incompleteBeta(x, good, failures + 1) - chance, 0, 1);
    }

    function readingsNeeded(share, confidence) {
      if (shareShown(given.most_readings, 0, confidence) < share) {
        throw new Refused(`More than ${number(given.most_readings, 0)} readings would be needed.`, [
          "share",
          "confidence",
        ]);
      }
      let tooFew = 0;
      let enough = given.most_readings;
      while (enough - tooFew > 1) {
        const middle = Math.floor(0.5 * (tooFew + enough));
        if (shareShown(middle, 0, confidence) >= share * (1 - given.share_rounding))
          enough = middle;
        else tooFew = middle;
      }
      return enough;
    }

    /* ---- the formulas by name: review/formulas/ ------------------------------------------------- */

    const pressureFor = (a) => pressureAtAltitude((a.altitude ?? 0) / 1000);

    const FUNCTIONS = {
      moisture_content: (a) => moistureContent(a.mass, a.oven_dry_mass),
      oven_dry_mass: (a) => ovenDryMass(a.mass, a.mc),
      mass_at: (a) => massAt(a.oven_dry_mass, a.mc),
      mean: (a) => total(a.of) / a.of.length,
      depression: (a) => a.dry_bulb - a.wet_bulb,
      wet_bulb_of_depression: (a) => a.dry_bulb - a.depression,
      pressure_at_altitude: pressureFor,
      relative_humidity: (a) => relativeHumidity(a.dry_bulb, a.wet_bulb, pressureFor(a)),
      equilibrium_moisture_content: (a) =>
        equilibriumMoistureContent(a.temperature, a.relative_humidity),
      relative_humidity_for_emc: (a) => relativeHumidityForEmc(a.temperature, a.emc),
      wet_bulb: (a) => wetBulb(a.dry_bulb, a.relative_humidity, pressureFor(a)),
      dew_point: (a) => dewPoint(a.dry_bulb, a.relative_humidity),
      shrinkage_at: (a) => shrinkageAt(a.total, a.mc, a.fsp),
      shrunk_size: (a) => shrunkSize(a.size, a.shrinkage),
      dimension_change: (a) => dimensionChange(a.size, a.coefficient, a.mc_from, a.mc_to),
      drying_rate: (a) => dryingRate(a.mc_from, a.mc_to, a.time),
      water_removed: (a) => waterRemoved(a.volume, a.basic_density, a.mc_from, a.mc_to),
      least_heat: (a) =>
        leastHeat(
          a.volume,
          a.basic_density,
          a.mc_from,
          a.mc_to,
          a.start_temperature,
          a.temperature,
        ),
      core_time: (a) => coreTime(a.thickness, a.width, a.gravity, a.wet_bulb, a.start, a.target),
      readings_needed: (a) => readingsNeeded(a.share / 100, a.confidence / 100),
      share_shown: (a) => 100 * shareShown(a.readings, a.failures, a.confidence / 100),
      meter_temperature_correction: (a) =>
        readingAtCalibration(a.reading, a.wood_temperature, a.calibration_temperature),
    };

    /* A list of values, with a common unit only once. */
    function listed(values) {
      let words = values.map(asEntered);
      const heads = words.map((word) => word.split(NBSP).slice(0, -1).join(NBSP));
      const units = new Set(words.map((word) => word.split(NBSP).at(-1)));
      if (units.size === 1 && heads.every(Boolean)) {
        words = [...heads.slice(0, -1), words.at(-1)];
      }
      return [words.slice(0, -1).join(", "), words.at(-1)].filter(Boolean).join(" and ");
    }

    /* A value substituted in a formula: metric for temperatures, else in the unit it was entered in. */
    function term(value) {
      if (Array.isArray(value)) return value.map(term).join(" + ");
      if (value.of === "Temperature" && value.entered.includes("F"))
        return metric(value.value, "Temperature");
      const words = asEntered(value);
      return words.startsWith(MINUS) ? `(${words})` : words;
    }

    const kilopascals = (value, decimals) => measure(value / 1000, "kPa", decimals);

    /* Right-hand sides that are not a simple pattern. */
    const PUT_IN = {
      mean: (q) => `(${term(q.of)}) ÷ ${q.of.length}`,
      pressure_at_altitude: (q) => `the standard atmosphere at ${term(q.altitude)}`,
      relative_humidity: (q) =>
        `100 × [${kilopascals(saturationPressure(q.wet_bulb.value), 3)} − ` +
        `${number(given.psychrometer_coefficient, 6)} × ` +
        `${kilopascals(pressureFor({ altitude: q.altitude?.value }), 2)} × (${term(q.dry_bulb)} − ` +
        `${term(q.wet_bulb)})] ÷ ${kilopascals(saturationPressure(q.dry_bulb.value), 3)}`,
      equilibrium_moisture_content: (q) => {
        const [w, k, k1, k2] = hydrates(q.temperature.value);
        return (
          `the same with t = ${measure(q.temperature.value, "°C", 1)}: W = ${number(w, 1)}, ` +
          `K = ${number(k, 4)}, K₁ = ${number(k1, 3)}, K₂ = ${number(k2, 3)}; ` +
          `h = ${number(q.relative_humidity.value / 100, 3)}`
        );
      },
      wet_bulb: (q) =>
        `solved for DB = ${term(q.dry_bulb)}, RH = ${term(q.relative_humidity)}, ` +
        `p = ${kilopascals(pressureFor({ altitude: q.altitude?.value }), 2)}`,
    };

    function putIn(name, quantities) {
      const pattern = data.formulas[name].put_in;
      if (pattern === null) return PUT_IN[name](quantities);
      return local(pattern).replace(/\{(\w+)\}/g, (_, argument) => term(quantities[argument]));
    }

    /* A result as a quantity whose text is its rounded value. */
    function printed(formula, of, value, quantities) {
      let unit = formula.unit || data.dimensions[of].unit;
      let { decimals } = formula;
      if (of === "Mass") {
        const mass = Object.values(quantities).find((q) => q.of === "Mass");
        const name = mass.entered.split(" ").at(-1);
        unit = name in data.mass_decimals ? name : "g";
        decimals = data.mass_decimals[unit];
      }
      const convert = formula.unit || of === "Mass";
      const shown = convert ? value / houseValue(unitOf(of, unit), 1) : value;
      return { of, value, entered: `${fixed(shown, decimals)} ${unit}`.trim() };
    }

    function within(range, value) {
      return (
        (range.above ? value > range.low : value >= range.low) &&
        (range.below ? value < range.high : value <= range.high) &&
        !(range.whole && !Number.isInteger(value))
      );
    }

    /* Evaluate a formula: {quantity, first, other, symbols, putIn, source}. Throws for values out of range. */
    function work(name, quantities) {
      const formula = data.formulas[name];
      for (const [argument, range] of Object.entries(formula.ranges)) {
        const q = quantities[argument];
        if (q && !within(range, q.value)) throw new Refused(rangeWords(range, q), [argument]);
      }
      const numbers = Object.fromEntries(
        Object.entries(quantities).map(([argument, q]) => [
          argument,
          Array.isArray(q) ? q.map((one) => one.value) : q.value,
        ]),
      );
      const value = FUNCTIONS[name](numbers);
      if (!Number.isFinite(value))
        throw new Refused("These values have no result.", Object.keys(quantities));
      const found = Object.values(quantities)[0];
      const of = formula.of || (Array.isArray(found) ? found[0] : found).of;
      const result = printed(formula, of, value, quantities);
      const [first, other] = sideBySide(result);
      return {
        quantity: result,
        first,
        other,
        symbols: local(formula.symbols),
        putIn: putIn(name, quantities),
        source: formula.source,
      };
    }

    /* A range in words, in the unit of the value entered. */
    function rangeText(range, of, unitName) {
      const unit = unitOf(of, unitName) || unitOf(of, data.dimensions[of].unit);
      const plain = (value) => {
        const there = inUnit(unit, value);
        return number(
          Number(there.toPrecision(5)),
          (String(Number(Math.abs(there).toPrecision(5))).split(".")[1] || "").length,
        );
      };
      const after = unitName ? NBSP + (unitName === "%" ? "%" : unitName) : "";
      const [low, high] = [plain(range.low), plain(range.high) + after];
      let words = `${low} to ${high}`;
      if (range.open) words = range.above ? `above ${low + after}` : `at least ${low + after}`;
      else if (range.above && range.below) words = `above ${low} to below ${high}`;
      else if (range.above) words = `above ${low} to ${high}`;
      else if (range.below) words = `${low} to below ${high}`;
      return range.whole ? `a whole number, ${words}` : words;
    }

    const entryUnit = (q) => {
      const name = q.entered.split(" ").slice(1).join(" ");
      return name in data.dimensions[q.of].units ? name : data.dimensions[q.of].unit;
    };

    const rangeWords = (range, q) =>
      `must be ${rangeText(range, q.of, entryUnit(q))}; it is ${asEntered(q)}.`;

    /* ---- a whole calculator ---------------------------------------------------------------------- */

    /* Work a calculator through.

   entries: by field, {words, unit}; choices: by name, the value chosen.
   Returns {answers: [{step, label, first, other, symbols, putIn, source, value}], notices: [words]},
   or throws Refused, its concerns naming fields. */
    function calculate(slug, entries, choices = {}) {
      const calculator = data.calculators.find((one) => one.slug === slug);
      const asked = (item) => !item.when || choices[item.when[0]] === item.when[1];
      const values = {};
      const origins = {};
      const labels = {};
      const answers = [];
      const notices = [];
      for (const field of calculator.fields.filter(asked)) {
        values[field.name] = read(field, entries[field.name]);
        origins[field.name] = [field.name];
        labels[field.name] = field.label;
      }
      for (const step of calculator.steps.filter(asked)) {
        labels[step.name] = step.label;
        origins[step.name] = [
          ...new Set(
            Object.values(step.arguments)
              .flat()
              .flatMap((name) => origins[name]),
          ),
        ];
        answers.push(...workStep(step, values, origins, labels));
      }
      for (const { name, range, words } of calculator.trusted) {
        const q = values[name]?.[0];
        if (q && !within(range, q.value))
          notices.push(`${labels[name]} is ${asEntered(q)}. ${words}`);
      }
      return { answers, notices };
    }

    /* The quantities in a field; none if it is optional and empty. */
    function read(field, entry) {
      const words = (entry?.words ?? "").trim();
      const parts = field.many
        ? words.split(/[\s;]+/).filter((one) => one && one !== "%")
        : [words];
      if (field.optional && !parts.some(Boolean)) return [];
      return (parts.length ? parts : [""]).map((part) => {
        try {
          const q = quantity(field.of, part, entry?.unit ?? "");
          const limits = field.own || field.range;
          if (limits && !within(limits, q.value)) throw new Refused(rangeWords(limits, q));
          return metricWithin(q);
        } catch (error) {
          if (!(error instanceof Refused)) throw error;
          throw new Refused(`${field.label} ${error.message}`, [field.name]);
        }
      });
    }

    function workStep(step, values, origins, labels) {
      const answers = [];
      const turns = step.each ? values[step.each] : [null];
      for (const turn of turns) {
        const quantities = {};
        for (const [argument, source] of Object.entries(step.arguments)) {
          quantities[argument] = Array.isArray(source)
            ? source.flatMap((name) => values[name])
            : turn && source === step.each
              ? turn
              : values[source][0];
        }
        if (Object.values(quantities).includes(undefined)) {
          values[step.name] = [];
          return [];
        }
        let found;
        try {
          found = work(step.formula, quantities);
        } catch (error) {
          if (!(error instanceof Refused)) throw error;
          const sources = error.concerns.flatMap((argument) => step.arguments[argument] ?? []);
          const subject = /^[a-z]/.test(error.message) ? `${labels[sources[0]]} ` : "";
          throw new Refused(subject + error.message, [
            ...new Set(sources.flatMap((name) => origins[name])),
          ]);
        }
        values[step.name] = [metricWithin(found.quantity)];
        const { quantity: result, ...shown } = found;
        answers.push({
          step: step.name,
          formula: step.formula,
          intermediate: step.intermediate,
          each: step.each,
          label: turn ? `${step.label} ${asEntered(turn)}` : step.label,
          turn: turn ? asEntered(turn) : "",
          value: result.value,
          ...shown,
        });
      }
      return answers;
    }

    /* An answer with the chosen units first; the values put in stay in the units of the formula. */
    function inOrder(answer) {
      const { first, other } = answer;
      return data.customary_first && other ? { ...answer, first: other, other: first } : answer;
    }

    return {
      calculate,
      inOrder,
      quantity,
      rangeText,
      houseValue,
      inUnit,
      onScale,
      unitOf,
      metric,
      customary,
      Refused,
      saturationPressure,
      vapourPressureOfBulbs,
      equilibriumMoistureContent,
      shareShown,
      shrinkageAt,
      readingsNeeded,
      relativeHumidity,
      wetBulb,
      dewPoint,
      relativeHumidityForEmc,
      risingRoot,
      functions: FUNCTIONS,
      putIns: PUT_IN,
      putIn,
      printed,
      term,
      both,
      asEntered,
      isCustomary,
      listed,
    };
  };

  kilnfolio.figures = { fixed, rounded, number, measure, significant, total };

  /* ---- the page -------------------------------------------------------------------------------- */

  /* Delay of the answer after the last key, so that a screen reader is not flooded. [ms] */
  const PAUSE = 250;

  /* If the working fits beside the form, it starts open. */
  const ROOMY = matchMedia("(min-width: 60rem)");

  function element(name, attributes = {}, ...children) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.append(...children);
    return made;
  }

  function tiles(answers) {
    const list = element("dl", { class: "keyfacts" });
    for (const answer of answers) {
      const value = element("dd", {}, element("span", { class: "value" }, answer.first));
      if (answer.other) value.append(" ", element("span", { class: "unit" }, `(${answer.other})`));
      list.append(element("div", {}, element("dt", {}, answer.label), value));
    }
    return list;
  }

  function rows(answers) {
    return answers.map((answer) =>
      element(
        "tr",
        {},
        element("th", { scope: "row" }, answer.label),
        element("td", {}, answer.first),
        element("td", {}, answer.other),
      ),
    );
  }

  /* The written working: the formula (only once), the formula with values, the result. */
  function board(answers) {
    const shown = new Set();
    return answers.flatMap((answer) => {
      const place = answer.symbols.indexOf(" = ");
      const again = shown.has(answer.formula);
      shown.add(answer.formula);
      const putIn = `${again && place >= 0 ? `${answer.symbols.slice(0, place)} ` : ""}= ${answer.putIn}`;
      const result = [
        "= ",
        element("b", {}, answer.first),
        answer.other ? ` (${answer.other})` : "",
      ];
      if (again && answer.each) return [element("p", {}, `${putIn} `, ...result)];
      return [
        element("p", { class: "meta" }, answer.label),
        ...(again ? [] : [element("p", {}, answer.symbols)]),
        element("p", {}, putIn),
        element("p", {}, ...result),
      ];
    });
  }

  /* A form: reads its fields and fills its answers. */
  class Sheet {
    constructor(section, sums, calculator) {
      Object.assign(this, { section, sums, calculator });
      this.form = section.querySelector("form");
      this.fields = calculator.fields.map((field) => {
        const row = section.querySelector(`[data-field="${field.name}"]`);
        return {
          ...field,
          row,
          input: row.querySelector("input"),
          chooser: row.querySelector("select"),
          hint: row.querySelector(".range"),
          typed: false,
        };
      });
      this.timber = this.form.elements.timber;
      for (const field of this.fields) {
        field.input.addEventListener("input", () => this.typed(field));
        field.input.addEventListener("keydown", (event) => {
          if (event.key === "Enter") this.answer();
        });
        field.chooser?.addEventListener("change", () => this.unitChanged(field));
        field.unitNow = this.unit(field);
      }
      for (const choice of this.form.querySelectorAll("input[type=radio]")) {
        choice.addEventListener("change", () => {
          this.fill();
          this.answer();
        });
      }
      this.timber?.addEventListener("change", () => {
        this.fill();
        this.answer();
      });
      this.form.addEventListener("submit", (event) => event.preventDefault());
      if (ROOMY.matches) section.querySelector(".board").open = true;
      this.fill();
      this.answer();
    }

    unit(field) {
      return field.chooser ? field.chooser.value : field.unit;
    }

    choices() {
      return Object.fromEntries(
        this.calculator.choices.map((name) => [
          name,
          this.form.querySelector(`input[data-choice="${name}"]:checked`).value,
        ]),
      );
    }

    typed(field) {
      field.typed = true;
      if (this.timber && field.name === this.calculator.timber.fills) {
        this.timber.value = "";
        this.note("");
      }
      clearTimeout(this.waiting);
      this.waiting = setTimeout(() => this.answer(), PAUSE);
    }

    /* The unit chosen beside a field is the unit of its number: a typed number stays as typed. */
    unitChanged(field) {
      if (!field.typed) this.convert(field);
      field.unitNow = this.unit(field);
      this.answer();
    }

    /* The page's switch converts every number, typed or not: 45 °C becomes 113 °F. */
    setSystem(system) {
      for (const field of this.fields.filter((one) => one.us)) {
        field.chooser.value = system === "us" ? field.us : field.unit;
        this.convert(field);
        field.unitNow = this.unit(field);
      }
      this.answer();
    }

    /* Convert the numbers of a field to its new unit; unreadable text stays. */
    convert(field) {
      if (this.unit(field) === field.unitNow) return;
      const unit = this.sums.unitOf(field.of, this.unit(field));
      const restated = field.input.value
        .trim()
        .split(field.many ? /\s+/ : /$^/)
        .map((word) => {
          try {
            const { value } = this.sums.quantity(field.of, word, field.unitNow);
            return local(String(Number(this.sums.inUnit(unit, value).toPrecision(4))));
          } catch (error) {
            if (!(error instanceof this.sums.Refused)) throw error;
            return word;
          }
        });
      field.input.value = restated.join(" ");
    }

    /* Write a value given in the house unit to a field, in the field's unit. */
    put(field, value) {
      const there = this.sums.inUnit(this.sums.unitOf(field.of, this.unit(field)), value);
      field.input.value = local(String(Number(there.toPrecision(4))));
    }

    /* Fill a field with the figure of the species on record. */
    fill() {
      if (!this.timber?.value) return;
      const { fills, by, species } = this.calculator.timber;
      const direction = by ? this.choices()[by] : "";
      const figure = species[this.timber.value][direction];
      const field = this.fields.find((one) => one.name === fills);
      if (figure) {
        const [words, unit = ""] = figure.words.split(" ");
        this.put(field, this.sums.quantity(field.of, words, unit).value);
        this.note(figure.source + (figure.status ? ` (${figure.status})` : ""));
      } else {
        field.input.value = "";
        this.note("There is no such figure on record for this species: write one below.");
      }
      field.typed = false;
    }

    note(words) {
      this.section.querySelector(".figure-source").textContent = words;
    }

    answer() {
      clearTimeout(this.waiting);
      const choices = this.choices();
      for (const field of this.fields) {
        field.row.hidden = Boolean(field.when) && choices[field.when[0]] !== field.when[1];
        if (field.range)
          field.hint.textContent = this.sums.rangeText(field.range, field.of, this.unit(field));
      }
      const entries = Object.fromEntries(
        this.fields.map((field) => [
          field.name,
          { words: field.input.value, unit: this.unit(field) },
        ]),
      );
      try {
        this.show(this.sums.calculate(this.calculator.slug, entries, choices));
      } catch (error) {
        if (!(error instanceof this.sums.Refused)) throw error;
        this.refuse(error);
      }
    }

    show({ answers, notices }) {
      this.mark([]);
      const single = answers.filter((one) => !one.each);
      const many = answers.filter((one) => one.each);
      this.section
        .querySelector(".result")
        .replaceChildren(
          tiles(single.filter((one) => !one.intermediate).map(this.sums.inOrder)),
          ...notices.map((words) => element("p", { class: "note" }, words)),
        );
      this.section
        .querySelector(".due tbody")
        ?.replaceChildren(...rows(many.map(this.sums.inOrder)));
      this.section
        .querySelector(".board .working")
        .replaceChildren(...board(answers.map(this.sums.inOrder)));
      this.expose(true);
    }

    refuse(error) {
      this.mark(error.concerns);
      this.section
        .querySelector(".result")
        .replaceChildren(
          element(
            "p",
            { class: "refusal", id: `${this.calculator.slug}-refusal` },
            element("b", {}, "No result. "),
            error.message,
          ),
        );
      this.expose(false);
    }

    /* Without a result, remove table and working: old ones beside a new error would mislead. */
    expose(there) {
      for (const part of this.section.querySelectorAll(".due, .board")) part.hidden = !there;
      if (there) return;
      for (const part of this.section.querySelectorAll(".due tbody, .working"))
        part.replaceChildren();
    }

    mark(names) {
      for (const field of this.fields) {
        const wrong = names.includes(field.name);
        const refusal = `${this.calculator.slug}-refusal`;
        field.input.setAttribute("aria-invalid", String(wrong));
        field.input.setAttribute("aria-describedby", field.hint.id + (wrong ? ` ${refusal}` : ""));
      }
    }
  }

  function begin() {
    const block = document.getElementById("calculator-data");
    if (!block) return;
    const data = JSON.parse(block.textContent);
    const sums = kilnfolio.makeCalculators(data);
    kilnfolio.calculators = sums;
    const sheets = data.calculators.map(
      (calculator) => new Sheet(document.getElementById(calculator.slug), sums, calculator),
    );
    document.documentElement.classList.add("scripted");
    const choose = (system) => {
      data.customary_first = system === "us";
      for (const sheet of sheets) sheet.setSystem(system);
    };
    kilnfolio.units.follow(choose);
    if (kilnfolio.units.customary() !== data.customary_first)
      choose(data.customary_first ? "metric" : "us");
  }

  begin();
})();
