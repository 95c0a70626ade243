/* kilnfolio: formatting of numbers, the reader's units, and wood in air, for the pages that compute.

   The functions follow those of the Python package step by step; kilnfolio.makeWood(given) takes its
   constants from the page, as written by the build. */

(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;

  const NBSP = "\u00a0";
  const MINUS = "\u2212";
  const NOTHING = "\u2013";

  /* The marks of the language of the page's figures, by the CLDR; English ones are those of figures.py. */
  const LANGUAGE =
    document.querySelector("[data-figures]")?.dataset.figures ||
    document.documentElement.lang ||
    "en";
  const markOf = (type) =>
    new Intl.NumberFormat(LANGUAGE).formatToParts(12345.6).find((part) => part.type === type).value;
  const [POINT, GROUP] = LANGUAGE.startsWith("en") ? [".", NBSP] : ["decimal", "group"].map(markOf);

  /* Text with a decimal point in its numbers, with the mark of the page's language: as rendering/languages.py. */
  const local = (text) =>
    text.replace(/(?<![\w.,/-])(\d+)\.(\d+)(?!\w|[.,/]\w|-\d)/g, `$1${POINT}$2`);

  /* A number as `number` writes it, as a script reads it. */
  const bare = (text) => text.replaceAll(GROUP, "").replace(POINT, ".").replace(MINUS, "-");

  /* ---- numbers: figures.py --------------------------------------------------------------------- */

  /* Round like Python: the exact binary value, with exact ties to the even digit. */
  function fixed(value, decimals) {
    const size = Math.abs(value);
    const sign = value < 0 || Object.is(value, -0) ? "-" : "";
    const usual = size.toFixed(decimals);
    const longer = size.toFixed(decimals + 1);
    const tied = longer.endsWith("5") && Number.isInteger(size * 2 ** (decimals + 1));
    if (!tied) return sign + usual;
    const cut = longer.slice(0, -1).replace(/\.$/, "");
    return sign + (Number(cut.at(-1)) % 2 === 0 ? cut : usual);
  }

  function number(value, decimals = 1) {
    if (value === null || Number.isNaN(value)) return NOTHING;
    const text = fixed(Math.abs(value), decimals);
    let [whole, rest] = text.split(".");
    if (whole.length > 4) whole = whole.replace(/\B(?=(\d{3})+$)/g, GROUP);
    const negative = value < 0 && Number(text) !== 0;
    return (negative ? MINUS : "") + whole + (rest === undefined ? "" : POINT + rest);
  }

  function measure(value, unit, decimals = 1) {
    return number(value, decimals) + (unit ? NBSP + unit : "");
  }

  /* Round to the nearest whole number, and halves to the even one. */
  function wholeNumber(value) {
    const near = Math.round(value);
    return near - value === 0.5 && near % 2 !== 0 ? near - 1 : near;
  }

  kilnfolio.numbers = {
    fixed,
    number,
    measure,
    wholeNumber,
    local,
    bare,
    NBSP,
    MINUS,
    POINT,
    GROUP,
  };

  /* ---- US customary amounts first in a sentence: rendering/amounts.py ---------------------------- */

  kilnfolio.makeCustomaryFirst = function makeCustomaryFirst(patterns) {
    const any = new RegExp(patterns.any, "g");
    const pair = new RegExp(`^(?:${patterns.pair})$`);
    const joint = new RegExp(patterns.joint);
    const numbers = new RegExp(patterns.number, "g");
    const beside = (first, second) => (second ? `${first} (${second})` : first);
    const plain = (value, decimals) => {
      const size = fixed(Math.abs(value), decimals);
      return (value < 0 && Number(size) !== 0 ? MINUS : "") + size;
    };
    const isWhole = (degrees, decimals) =>
      Math.abs(degrees - wholeNumber(degrees)) <= (decimals === 1 ? 0.09 : 1e-9);

    function fahrenheit(text, difference, several) {
      const value = Number(text.replace(MINUS, "-"));
      const decimals = (text.split(".")[1] || "").length;
      if (difference) {
        const degrees = value * 1.8;
        return plain(degrees, isWhole(degrees, decimals) ? 0 : Math.max(decimals, 1));
      }
      return plain(value * 1.8 + 32, several ? decimals : 0);
    }

    function turned(whole, found) {
      if (found.ordered) return whole;
      if (found.pair) {
        const parts = pair.exec(found.pair);
        return beside(parts[2], parts[1]);
      }
      if (found.typed) return beside(found.fahrenheit, found.celsius);
      const moved = found.moved || "";
      const difference = found.unit === "K" || Boolean(moved);
      const several = joint.test(found.numbers);
      let words = found.numbers.replace(numbers, (one) => fahrenheit(one, difference, several));
      if (found.tolerance) words += ` ± ${fahrenheit(found.tolerance, true, false)}`;
      return moved + beside(`${words}${NBSP}°F`, whole.slice(moved.length));
    }

    return (text) =>
      /[°(K]/.test(text) ? text.replace(any, (...found) => turned(found[0], found.at(-1))) : text;
  };

  /* ---- random numbers: training/random_numbers.py ----------------------------------------------- */

  kilnfolio.RandomNumbers = class RandomNumbers {
    constructor(seed) {
      this.state = seed >>> 0;
    }
    share() {
      this.state = (this.state + 0x6d2b79f5) >>> 0;
      let t = this.state;
      t = Math.imul(t ^ (t >>> 15), t | 1) >>> 0;
      t = (t ^ (t + Math.imul(t ^ (t >>> 7), t | 61))) >>> 0;
      return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
    }
    normal() {
      let sum = 0;
      for (let i = 0; i < 12; i += 1) sum += this.share();
      return sum - 6;
    }
    below(count) {
      return Math.floor(this.share() * count);
    }
  };

  /* A seed from words: the 32-bit FNV-1a hash of their ASCII letters. */
  kilnfolio.seedOf = (words) => {
    let found = 0x811c9dc5;
    for (let i = 0; i < words.length; i += 1) {
      found = Math.imul(found ^ words.charCodeAt(i), 0x01000193) >>> 0;
    }
    return found;
  };

  /* ---- units: the reader's choice, remembered for all pages, else those of the mill's region ---- */

  function chosenUnits(choice) {
    try {
      if (choice) localStorage.setItem("kilnfolio-units", choice);
      return localStorage.getItem("kilnfolio-units");
    } catch {
      return null; // the browser has no storage
    }
  }

  kilnfolio.units = {
    customary: () => (chosenUnits() || document.body.dataset.units) === "us",

    /* Show the choice in the page's switch, and call back with every new one. */
    follow(change) {
      const systems = document.getElementById("unit-systems");
      const chosen = systems.querySelector(`[value="${chosenUnits()}"]`);
      if (chosen) chosen.checked = true;
      systems.addEventListener("change", (event) => {
        chosenUnits(event.target.value);
        change(event.target.value);
      });
    },
  };

  /* ---- physics/sorption.py and shrinkage.py ----------------------------------------------------- */

  kilnfolio.makeWood = function makeWood(given) {
    const hydrates = (temp) =>
      given.hydrate_coefficients.map((c) => c[0] + temp * (c[1] + temp * c[2]));

    function equilibriumMoistureContent(temp, humidity) {
      const [w, k, k1, k2] = hydrates(temp);
      const kh = (k * humidity) / 100;
      const dissolved = kh / (1 - kh);
      const first = k1 * kh;
      const second = k1 * k2 * kh * kh;
      return (given.hydrate_scale / w) * (dissolved + (first + 2 * second) / (1 + first + second));
    }

    const shrinkageAt = (total, mc, fsp) => total * (mc >= fsp ? 0 : 1 - mc / fsp);

    function changeByShrinkage(size, total, from, to, fsp = given.fibre_saturation_pct) {
      const before = 1 - shrinkageAt(total, from, fsp) / 100;
      const after = 1 - shrinkageAt(total, to, fsp) / 100;
      return (size * (after - before)) / before;
    }

    return { hydrates, equilibriumMoistureContent, shrinkageAt, changeByShrinkage };
  };
})();
