/* kilnfolio: how a lot behaves in a room the reader describes, on a customer's page.

   The page contains in <script type="application/json" id="indoors-data"> the lot's MC, the shrinkage of
   its species, the constants and the sentences; pages/indoors.py writes the same for its example rooms. */

(() => {
  "use strict";

  const { measure, number, NBSP } = window.kilnfolio.numbers;

  const filled = (pattern, words) => pattern.replace(/\{(\w+)\}/g, (_, name) => words[name]);
  const onScale = (scale, value) => (value * scale.times) / scale.per + scale.plus;

  window.kilnfolio.makeIndoors = function makeIndoors(data) {
    const wood = window.kilnfolio.makeWood(data.constants);
    const { words } = data;

    /* The change in width from the lot's MC to another, for each way of sawing. */
    function moves(emc) {
      return data.cuts.map(([cut, total]) => {
        const change = wood.changeByShrinkage(data.width_mm, total, data.mc_pct, emc);
        if (Math.abs(change) < data.nothing_mm) return filled(words.same, { cut });
        const size = Math.abs(change);
        const inches = measure(onScale(data.inch, size), data.inch.unit, 3);
        return filled(change > 0 ? words.swells : words.shrinks, {
          cut,
          by: `${measure(size, "mm", 1)} (${inches})`,
        });
      });
    }

    /* Temperature in °C, humidity in %; null for a room out of range. */
    return function roomWords(temp, humidity) {
      const within = (value, [low, high]) => value >= low && value <= high;
      if (!within(temp, data.temperature_c) || !within(humidity, data.humidity_pct)) return null;
      const emc = wood.equilibriumMoistureContent(temp, humidity);
      const fahrenheit = measure(onScale(data.fahrenheit, temp), data.fahrenheit.unit, 0);
      const air = `${measure(temp, "°C", 0)} (${fahrenheit}), ${measure(humidity, "%", 0)}`;
      const settles = filled(words.settles, { air, emc: measure(emc, "%", 0) });
      const moved = moves(emc).join("; ");
      return moved
        ? `${settles} ${filled(words.moves, { width: data.width, moves: moved })}`
        : settles;
    };
  };

  const block = document.getElementById("indoors-data");
  if (!block) return;
  const data = JSON.parse(block.textContent);
  const roomWords = window.kilnfolio.makeIndoors(data);
  const form = document.getElementById("indoors");
  const [room, temperature, unit, humidity, output] = [
    "room",
    "temperature",
    "unit",
    "humidity",
    "told",
  ].map((name) => form.elements[name]);

  const asNumber = (field) => {
    const text = field.value.trim().replace(",", ".").replace("\u2212", "-");
    return /^[-+]?\d+(\.\d+)?$/.test(text) ? Number(text) : NaN;
  };
  const toCelsius = (value) =>
    unit.value === "°C"
      ? value
      : ((value - data.fahrenheit.plus) * data.fahrenheit.per) / data.fahrenheit.times;

  /* Put the units of the mill's region first in each pair. */
  const inOrder = (words) =>
    "customaryFirst" in form.dataset
      ? words.replace(/([\u2212\d.]+\u00a0(?:°C|mm)) \(([^()]+)\)/g, "$2 ($1)")
      : words;

  /* In the page's language, with spaces that do not break before a unit. */
  const translate = window.kilnfolioLabel?.translate;
  const said = (words) =>
    window.kilnfolioSays && translate
      ? translate(words.replaceAll(NBSP, " ")).replace(
          /(\d) (?=(?:%|°C|°F|mm|in)(?!\w))/g,
          `$1${NBSP}`,
        )
      : words;

  function update() {
    const words = roomWords(toCelsius(asNumber(temperature)), asNumber(humidity));
    output.value = said(words === null ? data.words.refused : inOrder(words));
  }

  room.addEventListener("change", () => {
    const chosen = data.rooms[room.value];
    if (chosen) {
      const [temp, rh] = chosen;
      temperature.value = number(unit.value === "°C" ? temp : onScale(data.fahrenheit, temp), 0);
      humidity.value = number(rh, 0);
      update();
    } else temperature.focus();
  });
  /* The unit chosen earlier, here or on the page of calculators. */
  function remembered(value) {
    try {
      if (value) localStorage.setItem("kilnfolio-units", value);
      return localStorage.getItem("kilnfolio-units");
    } catch {
      return null;
    }
  }

  function convert() {
    const value = asNumber(temperature);
    if (!Number.isNaN(value)) {
      temperature.value = number(
        unit.value === "°C"
          ? ((value - data.fahrenheit.plus) * data.fahrenheit.per) / data.fahrenheit.times
          : onScale(data.fahrenheit, value),
        0,
      ).replaceAll(NBSP, "");
    }
    update();
  }
  unit.addEventListener("change", () => {
    remembered(unit.value === "°F" ? "us" : "metric");
    convert();
  });
  const wanted =
    { us: "°F", metric: "°C" }[remembered()] || ("customaryFirst" in form.dataset ? "°F" : "°C");
  if (wanted !== unit.value) {
    unit.value = wanted;
    convert();
  }
  for (const field of [temperature, humidity]) {
    field.addEventListener("input", () => {
      room.value = "";
      update();
    });
  }
  form.addEventListener("submit", (event) => event.preventDefault());
})();
