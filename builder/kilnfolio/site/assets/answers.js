/* Questions that search answers itself: the air for two bulbs, how long a timber took, charges and lots by the
   outcome of their checks. Each answer is a search result: title, kind, address, within, also, text. */
(() => {
  "use strict";

  const given = window.KILNFOLIO_CONSTANTS;
  const air = window.kilnfolio.makeAir(given);
  const wood = window.kilnfolio.makeWood(given);
  const numbers = window.kilnfolio.numbers;
  const pressure = +document.body.dataset.pressure;

  /* ---- questions in another language: what this script knows of them, in English -------------------- */

  // each in one English word: the build would translate two
  const PHRASES = {
    fr: [
      [/\b(?:thermometre|bulbe) sec\b/g, "dry"],
      [/\b(?:thermometre|bulbe) (?:humide|mouille)\b/g, "wet"],
      [/\bcombien de (?:temps|jours)\b|\bduree (?:de|du) sechage\b/g, "duration"],
      [
        /\b(?:prend|met|dure|demande|secher|sechage|bois|sechoir|le|la|les|du|de|des|un|une)\b|\b(?:faut|dure)-il\b/g,
        " ",
      ],
      [/\ben echec\b|\bechoue\w*|\brefuse\w*/g, "failed"],
      [/\bconformes?\b|\breussi\w*/g, "passed"],
      [/\bouvert\w*/g, "open"],
      [/\bhr\b/g, "rh"],
      [/\bthe\b/g, "emc"],
    ],
    de: [
      [/\btrockentemperatur\b/g, "dry"],
      [/\bfeuchttemperatur\b/g, "wet"],
      [/\bwie lange\b|\btrocken(?:zeit|dauer)\b|\btrocknungsdauer\b/g, "duration"],
      [/\b(?:braucht|dauert|trocknet|trocknen|das|der|die|von|holz|kammer)\b/g, " "],
      [/\bpartien?\b/g, "lots"],
      [/\bchargen\b/g, "charges"],
      [/\bdurchgefallen\w*|\babgelehnt\w*|\bverfehlt\w*/g, "failed"],
      [/\bbestanden\w*/g, "passed"],
      [/\boffene?\w*/g, "open"],
      [/\bfragen?\b/g, "question"],
      [/\bluftfeuchte\b/g, "rh"],
      [/\bugl\b/g, "emc"],
    ],
  };

  function inEnglish(question) {
    const phrases = PHRASES[document.documentElement.lang];
    if (!phrases) return question;
    const bare = question
      .normalize("NFKD")
      .replace(/[\u0300-\u036f]/g, "")
      .toLowerCase()
      .replace(/(\d),(?=\d)/g, "$1."); // 60,5 is a number there
    return phrases.reduce((text, [found, english]) => text.replace(found, english), bare);
  }

  const customaryFirst = () => window.kilnfolio.units.customary();

  function celsius(value, unit) {
    return unit === "F" ? (value - 32) / 1.8 : value;
  }
  function shown(value, unit) {
    return numbers.measure(value, `°${unit}`, Number.isInteger(value) ? 0 : 1);
  }

  /* ---- air for two bulbs: 70/55, 60 C 50 C, RH at 140/110 F ------------------------------------------ */

  const BULBS =
    /(\d+(?:\.\d+)?)\s*(?:°\s*)?([cf]?)\s*(?:\/|,|\s|dry\s*(?:bulb)?|and|wet\s*(?:bulb)?)+\s*(\d+(?:\.\d+)?)\s*(?:°\s*)?([cf]?)(?![\w/])/i;

  function readBulbs(question) {
    // "wet 50 dry 60" is swapped; numbers with another unit, in a code or in a fraction are not bulbs
    const text = question.replace(
      /wet\s*(?:bulb)?\s*([\d.]+\s*°?\s*[cf]?)\D+?dry\s*(?:bulb)?\s*([\d.]+\s*°?\s*[cf]?)/i,
      "$2 $1",
    );
    if (/\d\s*(?:mm|in\b|%|lb|kg|h\b|min|days?)/i.test(text) || /\d\/4\b|-\d/.test(text)) {
      return null;
    }
    const found = BULBS.exec(text.replace(/dry\s*(?:bulb)?\s*(?=\d)/i, ""));
    if (!found) {
      return null;
    }
    const unit = (found[4] || found[2]).toUpperCase();
    const dry = +found[1];
    const wet = +found[3];
    const rest = text
      .replace(/[\d.]+\s*°?\s*[cf]?\b/gi, " ")
      .replace(/[^a-z ]/gi, " ")
      .trim()
      .toLowerCase();
    if (
      !/^(?:what|is|the|rh|emc|relative|humidity|at|of|for|air|dry|wet|bulb|bulbs|and|in|kiln|\s)*$/.test(
        rest,
      )
    ) {
      return null;
    }
    return dry >= wet && dry <= 300 && wet >= 1 ? { dry: dry, wet: wet, unit: unit } : null;
  }

  function stateOf(dry, wet, unit) {
    const dryC = celsius(dry, unit);
    const wetC = celsius(wet, unit);
    if (wetC < 0 || dryC > 140) {
      return null;
    }
    const vapour = air.vapourPressureOfBulbs(dryC, wetC, pressure);
    if (!Number.isFinite(vapour) || vapour < 0) {
      return null;
    }
    const humidity = dry === wet ? 100 : (100 * vapour) / air.saturationPressure(dryC);
    const emc = wood.equilibriumMoistureContent(dryC, humidity);
    return [
      `Dry bulb ${shown(dry, unit)}, wet bulb ${shown(wet, unit)}: ` +
        `RH ${numbers.measure(humidity, "%", 0)}, EMC ${numbers.measure(emc, "%", 1)}`,
      "answer",
      "calculators.html#air-from-bulbs",
      "",
      "",
      `Depression ${shown(dry - wet, unit)}, at the mill's air pressure of ` +
        `${numbers.measure(pressure / 1000, "kPa", 1)}, for a ventilated wet bulb.`,
    ];
  }

  function ofBulbs(question) {
    const read = readBulbs(question);
    if (!read) {
      return [];
    }
    const units = read.unit ? [read.unit] : customaryFirst() ? ["F", "C"] : ["C", "F"];
    return units
      .map((unit) => stateOf(read.dry, read.wet, unit))
      .filter(Boolean)
      .slice(0, read.unit ? 1 : 2);
  }

  /* ---- how long a timber took --------------------------------------------------------------------------- */

  const LONG =
    /\bhow long\b|\b(?:drying|kiln) (?:time|days)\b|\bdays (?:to dry|in (?:the )?kiln)\b|\bduration\b/i;

  // the words of the question that name the timber and its size
  function timberOf(question) {
    return question
      .replace(LONG, " ")
      .replace(
        /\b(?:does|do|did|will|would|it|take|takes|took|to|dry|drying|for|in|the|a|an|kiln|of|is|be|timber|lumber|boards?)\b|\?/gi,
        " ",
      )
      .trim();
  }

  function ofDuration(question, recordsOf) {
    const timber = LONG.test(question) ? timberOf(question) : "";
    if (!timber) {
      return Promise.resolve([]);
    }
    return recordsOf(timber).then((hits) => {
      const groups = new Map();
      hits
        .filter((hit) => hit.part.kind === "charges")
        .forEach((hit) => {
          const stock = hit.part.value(hit.row, "stock");
          const days = hit.part.value(hit.row, "days");
          if (days !== null) {
            groups.set(
              stock,
              (groups.get(stock) || []).concat([[days, hit.part.value(hit.row, "schedule_id")]]),
            );
          }
        });
      return Array.from(groups)
        .slice(0, 4)
        .map((group) => {
          const days = group[1].map((one) => one[0]);
          const low = Math.min.apply(null, days);
          const high = Math.max.apply(null, days);
          const span =
            low === high
              ? numbers.number(low, 0)
              : `${numbers.number(low, 0)} to ${numbers.number(high, 0)}`;
          return [
            `${group[0]} took ${span} days here`,
            "answer",
            `schedules/${group[1][0][1]}.html#charges`,
            "",
            "",
            `From heating to the end, in ${days.length} ` +
              `${days.length === 1 ? "charge" : "charges"} on record. ` +
              "A charge that is running has its own forecast on its page.",
          ];
        });
    });
  }

  /* ---- charges and lots by the outcome of their checks ----------------------------------------------------- */

  const OUTCOMES = [
    ["fail", /\b(?:fail(?:ed|ing|s)?|refused|rejected|bad)\b/i],
    ["question", /\b(?:question(?:s|ed|able)?|quer(?:y|ies)|doubtful|open)\b/i],
    ["answered", /\b(?:answered|waived)\b/i],
    ["pass", /\b(?:pass(?:ed|ing|es)?|good)\b/i],
  ];

  function ofOutcome(question) {
    const kind = /\blots?\b/i.test(question)
      ? "lots"
      : /\bcharges?\b/i.test(question)
        ? "charges"
        : "";
    const found = kind && OUTCOMES.find((one) => one[1].test(question));
    if (!found || question.trim().split(/\s+/).length > 4) {
      return [];
    }
    const words =
      kind === "charges"
        ? {
            fail: "Charges that failed a check",
            question: "Charges with an open question",
            answered: "Charges with an answered finding",
            pass: "Charges that passed every check",
          }[found[0]]
        : { fail: "Lots that do not meet their order", pass: "Lots that meet their order" }[
            found[0]
          ];
    return words
      ? [
          [
            words,
            "answer",
            `${kind}/index.html#outcome=${found[0]}`,
            "",
            "",
            `The register of ${kind}, filtered.`,
          ],
        ]
      : [];
  }

  window.kilnfolioAnswers = (asked, recordsOf) => {
    const question = inEnglish(asked);
    const now = ofBulbs(question).concat(ofOutcome(question));
    return now.length ? Promise.resolve(now) : ofDuration(question, recordsOf);
  };
})();
