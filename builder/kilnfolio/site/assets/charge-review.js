/* kilnfolio: the review of a practice charge by the mill's checks.

   kilnfolio.makeChargeReview(data, bench, tools) replays a charge, writes it down as
   training/practice_record.py does, and runs the checks of review/checks that what a trainee does can
   change, function by function: the same findings in the same words. Limits and facts of the species come
   with each scenario, from the mill's own files. */

(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;
  const { fixed } = kilnfolio.numbers;

  class Absent extends Error {
    constructor(outcome, message) {
      super(message);
      this.outcome = outcome;
    }
  }
  const noData = (why) => new Absent("no data", why);
  const notApplicable = (why) => new Absent("not applicable", why);

  /* A number as Python's :g prints it. */
  const g = (value) => String(Number(value.toPrecision(6)));
  const most = (values) => values.reduce((found, one) => Math.max(found, one), -Infinity);
  const mean = (values) => values.reduce((sum, one) => sum + one, 0) / values.length;
  const pairs = (values) => values.slice(1).map((after, i) => [values[i], after]);

  function median(values) {
    const order = values.toSorted((a, b) => a - b);
    const half = Math.floor(order.length / 2);
    return order.length % 2 ? order[half] : (order[half - 1] + order[half]) / 2;
  }

  /* The chance that chi-square with nine degrees exceeds a value: physics/survey.py. */
  function chanceAbove(square) {
    const chi = Math.sqrt(square);
    const density = Math.exp(-0.5 * square) / Math.sqrt(2 * Math.PI);
    let within = 0;
    for (let term = chi, odd = 3; within + term !== within; odd += 2) {
      within += term;
      term *= square / odd;
    }
    let terms = 0;
    for (let term = chi, odd = 3; odd <= 9; odd += 2) {
      terms += term;
      term *= square / odd;
    }
    return 1 - 2 * density * within + 2 * density * terms;
  }

  /* What a charge writes on record: training/practice_record.py. */
  function written(data, bench, scenario, seed, decisions) {
    const R = data.record;
    const run = new bench.Run(scenario, seed);
    const dry = ((1e3 * R.face * scenario.thickness_mm) / 1e3) * scenario.basic_density;
    const massAt = (ovenDry, mc) => ovenDry * (1 + mc / 100);
    const green = run.boards.slice(0, scenario.samples).map((one) => bench.mean(one.profile));
    const sections = green.map((mc) => Number(fixed(massAt(R.section, mc), 1)));
    const masses = green.map((mc) => Number(fixed(massAt(dry, mc), 0)));
    let changes = [];
    const wicks = [];
    const weighings = new Map();
    for (const one of decisions) {
      if (one.do === "set") {
        const step =
          1 +
          scenario.steps.findIndex(
            (air) =>
              Math.max(
                Math.abs(one.dry_bulb - air.dry_bulb),
                Math.abs(one.depression - air.depression),
              ) <= R.near,
          );
        if (step && changes.at(-1)?.step !== step) {
          changes = changes.filter((change) => change.at !== run.hour);
          changes.push({ at: run.hour, step });
        }
        run.setAir(one.dry_bulb, one.depression);
      } else if (one.do === "wick") {
        wicks.push(run.hour);
        run.changeWick();
      } else if (one.do === "weigh") {
        const { mcs } = run.weigh();
        weighings.set(
          run.hour,
          mcs.map((mc) => Number(fixed(massAt(dry, mc), 0))),
        );
      } else run.wait(one.hours);
    }
    weighings.delete(0);
    const noise = new kilnfolio.RandomNumbers((seed ^ R.noiseSeed) >>> 0);
    const read = (value) => Number(fixed(value + R.noise * noise.normal(), 2));
    const rows = [[0, data.run.start, data.run.start - 0.5], ...run.log].map((row) => [
      row[0],
      read(row[1]),
      read(row[2]),
    ]);
    return { sections, masses, changes, wicks, weighings: [...weighings], rows, ended: run.hour };
  }

  /* The boards of a record: review/boards.py. */
  function boardsOf(record, section) {
    return record.masses.map((mass, i) => {
      const mc = (100 * (record.sections[i] - section)) / section;
      const dry = (100 * mass) / (100 + mc);
      const points = [[-2, mass], ...record.weighings.map(([at, all]) => [at, all[i]])]
        .filter(([, one]) => one >= dry)
        .map(([at, one]) => ({ at, mass: one, mc: (100 * (one - dry)) / dry }));
      return { id: `S${i + 1}`, mc, green: mass, section: record.sections[i], dry, points };
    });
  }

  function controlsOf(boards, record) {
    const hours = [-2, ...record.weighings.map(([at]) => at)];
    return hours.map((at) => {
      const all = boards
        .map((board) => ({ id: board.id, mc: board.points.find((one) => one.at === at)?.mc }))
        .filter((one) => one.mc !== undefined);
      const order = all.toSorted((a, b) => b.mc - a.mc).slice(0, Math.ceil(all.length / 2));
      return { at, mc: mean(order.map((one) => one.mc)), boards: order.map((one) => one.id), all };
    });
  }

  const controlAt = (controls, hour) => controls.findLast((one) => one.at <= hour);

  kilnfolio.makeChargeReview = function makeChargeReview(data, bench, tools) {
    const { air, wood } = tools;
    const interval = 60 * data.run.step;

    function stamp(hour) {
      const moment = new Date(Date.parse(`${data.record.started}Z`) + 3600e3 * hour);
      return moment.toISOString().slice(0, 16).replace("T", " ");
    }

    function airOf(record) {
      const hours = record.rows.map((row) => row[0]);
      const dry = record.rows.map((row) => row[1]);
      const wet = record.rows.map((row) => row[2]);
      const [coldest, hottest] = data.record.emcRange;
      const humidity = dry.map((bulb, i) => {
        if (Math.abs(wet[i]) >= 95) return Number.NaN;
        const vapour = air.vapourPressureOfBulbs(bulb, wet[i], air.standard);
        const found = (100 * vapour) / wood.saturationPressure(bulb);
        const known = found > 0 && found <= 100 && bulb >= coldest && bulb <= hottest;
        return known ? found : Number.NaN;
      });
      const emc = dry.map((bulb, i) =>
        Number.isNaN(humidity[i]) ? Number.NaN : wood.equilibriumMoistureContent(bulb, humidity[i]),
      );
      return { hours, dry, wet, humidity, emc, depression: dry.map((bulb, i) => bulb - wet[i]) };
    }

    /* The runs of readings in which a condition holds; the recorder leaves no gap. */
    function stretches(series, holds, least = 0) {
      const found = [];
      let first = -1;
      for (let i = 0; i <= holds.length; i += 1) {
        if (holds[i] && first < 0) first = i;
        if (!holds[i] && first >= 0) {
          const length = series.hours[i - 1] - series.hours[first];
          if (length >= least) found.push({ first, last: i - 1, hours: length });
          first = -1;
        }
      }
      return found;
    }

    function stateOf(step) {
      const wet = step.dry_bulb - step.depression;
      const humidity = air.relativeHumidity(step.dry_bulb, wet, air.standard);
      return {
        dry: step.dry_bulb,
        depression: step.dry_bulb - wet,
        humidity,
        emc: wood.equilibriumMoistureContent(step.dry_bulb, humidity),
      };
    }

    /* For each reading, the index of the last moment at or before it; −1 before the first. */
    const inForce = (hours, starts) =>
      hours.map((hour) => starts.findLastIndex((start) => start <= hour));

    function caseOf(scenario, seed, decisions) {
      const record = written(data, bench, scenario, seed, decisions);
      const boards = boardsOf(record, data.record.section);
      const controls = controlsOf(boards, record);
      const series = airOf(record);
      const asked = record.changes.map((change) => ({
        ...change,
        air: stateOf(scenario.steps[change.step - 1]),
      }));
      const index = inForce(
        series.hours,
        asked.map((one) => one.at),
      );
      const known = inForce(
        series.hours,
        controls.map((one) => one.at),
      );
      const made = {
        scenario,
        record,
        boards,
        controls,
        series,
        asked,
        index,
        limit: scenario.limits,
        controlling: known.map((place) => (place < 0 ? Number.NaN : controls[place].mc)),
        askedOf: (name) => index.map((place) => (place < 0 ? Number.NaN : asked[place].air[name])),
      };
      return made;
    }

    /* ---- how the schedule was followed: review/adherence.py --------------------------------------- */

    const readingHours = (series, i) =>
      i + 1 < series.hours.length ? series.hours[i + 1] - series.hours[i] : interval / 60;

    function stepKept(made, number) {
      const { series, asked, index, limit, controlling, record } = made;
      const rows = [...index.keys()].filter((i) => index[i] === number);
      const of = asked[number].air;
      const dry = rows.map((i) => series.dry[i] - of.dry);
      const emc = rows.map((i) => series.emc[i] - of.emc);
      const wet = rows.map((i) => series.depression[i] - of.depression);
      const running = rows.map((i) => series.hours[i] <= record.ended);
      const wide = rows.map((i) =>
        controlling[i] > limit["depression-overshoot-above"]
          ? limit["depression-overshoot"]
          : limit["depression-tolerance"],
      );
      const off = wet.map((one, i) => {
        const apart = Number.isNaN(emc[i]) ? Infinity : Math.abs(emc[i]);
        return Math.abs(one) > wide[i] && apart > limit["emc-tolerance"];
      });
      const hot = dry.map((one) => Math.abs(one) > limit["dry-bulb-overshoot"]);
      const first = limit[number ? "settling-hours" : "heat-up-hours"];

      /* On the way to the set-point, from its start until within tolerance or out of time. */
      function approaching(apart, outside) {
        if (!rows.length || !running[0] || !outside[0]) return rows.map(() => false);
        const sign = Math.sign(apart[0]);
        const back = apart.findIndex((one, i) => !outside[i] || Math.sign(one) !== sign);
        const begun = series.hours[rows[0]];
        return rows.map(
          (row, i) => running[i] && series.hours[row] <= begun + first && (back < 0 || i < back),
        );
      }
      const excusedDry = approaching(dry, hot);
      const excusedWet = approaching(wet, off).map(
        (one, i) => one || (excusedDry[i] && dry[i] < 0 && wet[i] < 0),
      );
      const settled = rows.filter((_, i) => running[i] && !excusedDry[i] && !excusedWet[i]);
      const humid = rows.map(
        (row, i) => off[i] && wet[i] < 0 && series.depression[row] < limit["widest-depression"],
      );
      const sides = {
        "too cold": rows.filter((_, i) => hot[i] && dry[i] < 0 && running[i] && !excusedDry[i]),
        "too dry": rows.filter((_, i) => off[i] && wet[i] > 0 && running[i] && !excusedWet[i]),
        "too humid": rows.filter((_, i) => humid[i] && running[i] && !excusedWet[i]),
      };
      const overDry = rows.map((_, i) => (running[i] && !excusedDry[i] ? dry[i] : Number.NaN));
      const overWet = rows.map((_, i) => (running[i] && !excusedWet[i] ? wet[i] : Number.NaN));
      return { number, rows, settled, sides, overDry, overWet };
    }

    function adherence(made) {
      const blank = () => made.series.hours.map(() => Number.NaN);
      const found = { steps: [], overDry: blank(), overWet: blank() };
      made.asked.forEach((_, number) => {
        const kept = stepKept(made, number);
        kept.rows.forEach((row, i) => {
          found.overDry[row] = kept.overDry[i];
          found.overWet[row] = kept.overWet[i];
        });
        found.steps.push(kept);
      });
      return found;
    }

    function askedAndKept(made, kept) {
      const { series } = made;
      const of = made.asked[kept.number].air;
      const weighted = (values) => {
        const use = kept.settled.filter((row) => !Number.isNaN(values[row]));
        const hours = use.map((row) => readingHours(series, row));
        const total = hours.reduce((sum, one) => sum + one, 0);
        return use.length
          ? use.reduce((sum, row, i) => sum + values[row] * hours[i], 0) / total
          : null;
      };
      const [dry, wet, emc] = [series.dry, series.wet, series.emc].map(weighted);
      return (
        `asked ${fixed(of.dry, 1)} °C at ${fixed(of.depression, 1)} K (${fixed(of.emc, 1)} % EMC), ` +
        `kept ${fixed(dry, 1)} °C at ${fixed(dry - wet, 1)} K` +
        `${emc === null ? "" : ` (${fixed(emc, 1)} % EMC)`} on average`
      );
    }

    /* ---- the checks, by slug: each returns breaches, and what a pass says ---------------------------- */

    const unasked = "no step change is written down, so what was asked is not known";
    const count = (number, one, several) => `${number} ${number === 1 ? one : several}`;
    const CHECKS = {};

    CHECKS["wet-bulb-above-dry-bulb"] = ({ series, limit }) => {
      const excess = series.depression.map((one) => -one);
      const allowed = limit["wet-bulb-above-dry-bulb"];
      const found = stretches(
        series,
        excess.map((one) => one > allowed),
      ).map((run) => {
        const worst = most(excess.slice(run.first, run.last + 1));
        const [from, to] = [run.first, run.last].map((row) => stamp(series.hours[row]));
        return [
          "fail",
          `Wet bulb is above dry bulb by up to ${fixed(worst, 1)} K from ${from} to ${to}: ` +
            "swapped or faulty.",
        ];
      });
      const nearest = most(excess);
      const side = nearest > 0 ? "above" : "below";
      return [
        found,
        `The wet bulb was never more than ${g(allowed)} K above the dry bulb; the nearest it came was ` +
          `${fixed(Math.abs(nearest), 1)} K ${side} it.`,
      ];
    };

    CHECKS["wetter-than-wood-can-be"] = ({ boards, limit, scenario }) => {
      if (scenario.wettest === null) {
        throw noData("no board is on record whose species sheet gives a specific gravity");
      }
      const allowed = scenario.wettest * limit["wetter-than-wood-can-be"];
      const found = boards.flatMap((board) =>
        board.points
          .filter((point) => point.mc > allowed)
          .map((point) => [
            "fail",
            `Board ${board.id} at ${fixed(point.mc, 0)} % MC is wetter than the wood can be ` +
              `(${fixed(allowed, 0)} %): check the mass and its unit.`,
          ]),
      );
      return [
        found,
        `No mass of ${boards.length} boards or of their sections holds more water than its wood has ` +
          "room for.",
      ];
    };

    CHECKS["drier-than-the-air-allows"] = ({ boards, series, limit }) => {
      const margin = limit["drier-than-the-air-allows"];
      let lowest = Infinity;
      const lows = series.emc.map((one) => {
        if (one < lowest) lowest = one;
        return lowest;
      });
      let looked = 0;
      const found = [];
      for (const board of boards) {
        for (const point of board.points.slice(1)) {
          const row = series.hours.findLastIndex((hour) => hour <= point.at);
          const driest = row < 0 ? Infinity : lows[row];
          if (!Number.isFinite(driest)) continue;
          looked += 1;
          if (point.mc < driest - margin) {
            found.push([
              "question",
              `Board ${board.id} at ${fixed(point.mc, 1)} % on ${stamp(point.at)} is drier than the ` +
                `air allowed (${fixed(driest, 1)} % EMC at the driest): recheck its oven-dry mass.`,
            ]);
            break;
          }
        }
      }
      if (!looked) throw noData("no weighing falls within the log");
      return [
        found,
        `No board at any of ${looked} weighings was more than ${g(margin)} point below the driest EMC ` +
          "its air had had.",
      ];
    };

    CHECKS["gained-weight-while-drying"] = ({ boards, series, limit }) => {
      const allowed = limit["gained-weight-while-drying"];
      const clear = limit["gained-weight-clear-of-emc"];
      let looked = 0;
      const found = [];
      for (const board of boards) {
        for (const [before, after] of pairs(board.points)) {
          looked += 1;
          const gain = (100 * (after.mass - before.mass)) / before.mass;
          const emc = series.emc.filter(
            (one, i) =>
              series.hours[i] >= before.at && series.hours[i] < after.at && !Number.isNaN(one),
          );
          if (gain > allowed && (!emc.length || most(emc) < before.mc - clear)) {
            found.push([
              "question",
              `Board ${board.id} gained ${fixed(after.mass - before.mass, 0)} g between ` +
                `${stamp(before.at)} and ${stamp(after.at)} while drying.`,
            ]);
          }
        }
      }
      if (!looked) throw noData("no board was weighed twice");
      return [
        found,
        `Between ${looked} pairs of weighings no board gained more than ${g(allowed)} % while the air ` +
          "was drying it.",
      ];
    };

    CHECKS["hand-weights-rounded"] = ({ record, limit }) => {
      const masses = record.weighings.flatMap(([, all]) => all);
      const least = limit["hand-weights-rounded-count"];
      if (masses.length < least) {
        throw noData(`${masses.length} hand weights are too few to tell; ${g(least)} are needed`);
      }
      const counts = new Array(10).fill(0);
      for (const mass of masses) counts[mass % 10] += 1;
      const expected = masses.length / 10;
      const square = counts.reduce((sum, one) => sum + (one - expected) ** 2, 0) / expected;
      const share = (100 * most(counts)) / masses.length;
      const found =
        chanceAbove(square) < limit["hand-weights-rounded"]
          ? [
              [
                "note",
                `Hand weights look rounded: ${fixed(share, 0)} % of ${masses.length} share one last ` +
                  "digit; please confirm.",
              ],
            ]
          : [];
      return [
        found,
        `The last digits of ${masses.length} hand weights are spread as a scale would give them.`,
      ];
    };

    CHECKS["weighing-interval"] = ({ controls, limit, scenario }) => {
      if (!scenario.refractory) throw notApplicable("no timber in the charge is refractory");
      const above = limit["weighing-interval-above"];
      if (controls.length < 2) throw noData("fewer than two weighings are on record");
      const looked = pairs(controls)
        .filter(([before]) => before.mc > above && before.at >= 0)
        .map(([before, after]) => [after.at - before.at, before]);
      if (!looked.length) {
        throw notApplicable(`no weighing after heating began was above ${g(above)} %`);
      }
      const found = looked
        .filter(([hours]) => hours > limit["weighing-interval"])
        .map(([hours, before]) => [
          "question",
          `No weighing for ${fixed(hours, 0)} h after ${stamp(before.at)} at ` +
            `${fixed(before.mc, 0)} % MC.`,
        ]);
      const longest = most(looked.map(([hours]) => hours));
      return [
        found,
        `Above ${g(above)} % the boards were weighed at least every ${fixed(longest, 0)} h.`,
      ];
    };

    CHECKS["step-timing"] = (made) => {
      const { record, limit } = made;
      if (!record.changes.length) throw noData("no step change is written down");
      const allowed = limit["step-timing"];
      const judged = judgedSteps(made).filter((one) => one.early !== null);
      if (!judged.length) throw notApplicable("no step with a trigger was begun");
      const found = judged
        .filter((one) => one.early > allowed)
        .map((one) => [
          "question",
          `Stepped early to step ${one.step} on ${stamp(one.at)} at ${fixed(one.control.mc, 1)} %; it ` +
            `was due at ${g(one.trigger)} % (boards ${one.control.boards.join(", ")}).`,
        ]);
      return [
        found,
        `${count(judged.length, "step was", "steps were")} made with the controlling MC no more than ` +
          `${g(allowed)} points above the trigger.`,
      ];
    };

    /* When each step was due: review/steps.py. */
    function judgedSteps({ record, scenario, controls, limit }) {
      return record.changes.map((change, i) => {
        const trigger = change.step > 1 ? scenario.steps[change.step - 2].until_mc : null;
        const control = controlAt(controls, change.at);
        const judged = { ...change, trigger, control, early: null, due: null, waited: 0 };
        if (trigger === null) return judged;
        judged.early = control.mc - trigger;
        const due = controls.find((one) => one.mc <= trigger && one.at <= change.at);
        if (due) {
          const before = i ? record.changes[i - 1].at + limit["step-skipped"] : 0;
          judged.due = Math.max(due.at, 0, before);
          judged.waited = Math.max(0, change.at - judged.due);
        }
        const late = judged.early <= limit["step-timing"] && judged.early < -limit["step-late"];
        judged.late = late;
        return judged;
      });
    }

    CHECKS["step-late"] = (made) => {
      const waits = judgedSteps(made).filter((one) => one.due !== null);
      if (!waits.length) throw notApplicable("no weighing showed a step due that was made");
      const { limit } = made;
      const [allowed, within] = [limit["step-late-hours"], limit["step-late"]];
      const late = waits.filter((one) => one.late);
      const found = late
        .filter((one) => one.waited > allowed)
        .map((one) => [
          "note",
          `Step ${one.step} was made late, on ${stamp(one.at)}: it was due for ` +
            `${fixed(one.waited, 0)} h, and the controlling MC was ${fixed(-one.early, 1)} points ` +
            "below its trigger.",
        ]);
      const longest = most(late.map((one) => one.waited));
      if (late.length && longest < 1) {
        const them = waits.length === 1 ? "it" : "them";
        return [
          found,
          `${count(waits.length, "step was", "steps were")} made when a weighing showed ${them} due, ` +
            `or no more than ${g(within)} points later.`,
        ];
      }
      return [
        found,
        late.length
          ? `Of steps made more than ${g(within)} points below their trigger, the longest had been due ` +
            `for ${fixed(longest, 0)} h; ${g(allowed)} h are allowed.`
          : `No step was left waiting until the controlling MC was more than ${g(within)} points below ` +
            "its trigger.",
      ];
    };

    CHECKS["step-skipped"] = ({ record: { changes }, limit }) => {
      if (!changes.length) throw noData("no step change is written down");
      if (changes.length < 2) throw notApplicable("one step only is written down");
      const least = limit["step-skipped"];
      const found = [];
      for (const [before, after] of pairs(changes)) {
        const hours = after.at - before.at;
        if (after.step > before.step + 1) {
          found.push(["question", `Step ${before.step + 1} was skipped on ${stamp(after.at)}.`]);
        } else if (hours < least && after.step > before.step) {
          found.push(["question", `Two steps within ${fixed(hours, 0)} h, on ${stamp(after.at)}.`]);
        }
      }
      return [
        found,
        `The ${changes.length} steps written down follow one another, ${g(least)} h apart or more.`,
      ];
    };

    CHECKS["dry-bulb-overshoot"] = (made) => {
      const { series, limit } = made;
      if (!made.asked.length) throw noData(unasked);
      const over = adherence(made).overDry;
      if (over.every(Number.isNaN)) {
        throw noData("the log has no dry bulb while a step was asked for");
      }
      const [allowed, hours] = [limit["dry-bulb-overshoot"], limit["dry-bulb-overshoot-hours"]];
      const found = stretches(
        series,
        over.map((one) => one > allowed),
        hours,
      ).map((run) => {
        const worst = most(over.slice(run.first, run.last + 1));
        return [
          "question",
          `Hotter than schedule for ${fixed(run.hours, 1)} h from ${stamp(series.hours[run.first])}, ` +
            `by up to ${fixed(worst, 1)} K.`,
        ];
      });
      return [
        found,
        `The dry bulb was never more than ${g(allowed)} K above what was asked for ${g(hours)} h, not ` +
          "counting the time it took to cool to a lower set-point.",
      ];
    };

    CHECKS["air-too-dry-while-wet"] = (made) => {
      const { series, limit, controlling } = made;
      if (!made.asked.length) throw noData(unasked);
      const above = limit["depression-overshoot-above"];
      const wet = controlling.map((mc) => mc > above);
      if (!wet.some(Boolean)) {
        throw notApplicable(`the controlling MC was never above ${g(above)} %`);
      }
      const over = adherence(made).overWet;
      if (!over.some((one, i) => wet[i] && !Number.isNaN(one))) {
        throw noData("the log gives no depression while the timber was wet");
      }
      const [allowed, minutes] = [
        limit["depression-overshoot"],
        limit["depression-overshoot-minutes"],
      ];
      const found = stretches(
        series,
        over.map((one, i) => one > allowed && wet[i]),
        minutes / 60,
      ).map((run) => {
        const worst = most(over.slice(run.first, run.last + 1));
        return [
          "question",
          `Air too dry at the checking stage: depression ${fixed(worst, 1)} K above schedule from ` +
            `${stamp(series.hours[run.first])} for ${fixed(run.hours, 1)} h.`,
        ];
      });
      return [
        found,
        `Above ${g(above)} % the depression was never more than ${g(allowed)} K larger than asked for ` +
          `${g(minutes)} min, not counting the way to a new set-point.`,
      ];
    };

    CHECKS["air-as-asked"] = (made) => {
      const { series, limit, controlling } = made;
      if (!made.asked.length) throw noData(unasked);
      const allowed = limit["outside-hours"];
      const judged = adherence(made).steps.filter((kept) => kept.settled.length);
      if (!judged.length) throw noData("the log covers no step that was asked for");
      const found = [];
      for (const kept of judged) {
        for (const [side, rows] of Object.entries(kept.sides)) {
          if (!rows.length) continue;
          const total = rows.reduce((sum, row) => sum + readingHours(series, row), 0);
          const holds = series.hours.map((_, i) => rows.includes(i));
          const longest = stretches(series, holds).reduce((best, run) =>
            run.hours > best.hours ? run : best,
          );
          const early = controlling[longest.first] > limit["depression-overshoot-above"];
          if (total <= allowed || (side === "too dry" && early)) continue;
          found.push([
            "question",
            `Step ${made.asked[kept.number].step} was ${side} by the log for ${fixed(total, 0)} h, the ` +
              `longest time from ${stamp(series.hours[longest.first])}: ${askedAndKept(made, kept)}.`,
          ]);
        }
      }
      return [
        found,
        `In each of ${judged.length} steps the air was outside its tolerance for no more than ` +
          `${g(allowed)} h on the cold, the humid or the dry side.`,
      ];
    };

    CHECKS["too-hot-while-wet"] = ({ series, limit, scenario, controlling }) => {
      const above = scenario.ceiling_above;
      let begin = null;
      const asked = [];
      for (const step of scenario.steps) {
        if (begin === null || begin > above) asked.push(step.dry_bulb);
        begin = step.until_mc;
      }
      const ceiling = most(asked);
      const wet = controlling.map((mc) => mc > above + limit["step-timing"]);
      if (!wet.some(Boolean)) {
        throw notApplicable(`the controlling MC was never above ${g(above)} %`);
      }
      const whose = `the schedule for ${g(scenario.thickness_mm)} mm asks for`;
      const found = stretches(
        series,
        series.dry.map((one, i) => wet[i] && one > ceiling + limit["ceiling-margin"]),
      )
        .slice(0, 3)
        .map((run) => {
          const worst = most(series.dry.slice(run.first, run.last + 1));
          const mc = controlling[run.first];
          return [
            mc > above + limit["ceiling-question-points"] ? "fail" : "question",
            `Too hot while wet: ${fixed(worst, 1)} °C on ${stamp(series.hours[run.first])} with the ` +
              `controlling MC at ${fixed(mc, 1)} %; ${whose} ${fixed(ceiling, 1)} °C above ` +
              `${g(above)} %. Collapse and honeycomb risk.`,
          ];
        });
      const hottest = most(series.dry.filter((_, i) => wet[i]));
      return [
        found,
        `While the controlling MC was above ${g(above)} %, the dry bulb reached ` +
          `${fixed(hottest, 1)} °C; ${whose} ${fixed(ceiling, 1)} °C.`,
      ];
    };

    CHECKS["dry-wick"] = (made) => {
      const found = [...suddenWick(made), ...dryingWick(made)];
      return [
        found,
        "The depression neither fell at once nor sank from day to day under a steady set-point; no " +
          "reading was taken by hand.",
      ];
    };

    function suddenWick({ series, limit, index, asked, askedOf }) {
      const [fall, steady] = [limit["dry-wick-fall"], limit["dry-wick-steady"]];
      const wanted = askedOf("depression");
      const dryAsked = askedOf("dry");
      let reached = series.dry.map((one, i) => one >= dryAsked[i] - steady);
      const begun = reached.indexOf(true);
      reached = reached.map((_, i) => !asked.length || begun < 0 || i >= begun);
      const lost = series.depression.map((now, i) => {
        if (!i) return 0;
        const before = series.depression[i - 1];
        const wide = before > wanted[i - 1]; // not if nothing was asked
        return (wide ? wanted[i - 1] : before) - now;
      });
      const suspect = series.depression.map(
        (_, i) =>
          i > 0 &&
          lost[i] > fall &&
          Math.abs(series.dry[i] - series.dry[i - 1]) <= steady &&
          index[i] === index[i - 1] &&
          !Number.isNaN(series.humidity[i]) &&
          reached[i - 1],
      );
      return stretches(series, suspect)
        .slice(0, 1)
        .map((run) => [
          "question",
          `Wick may be dry or dirty: depression fell ${fixed(lost[run.first], 1)} K by ` +
            `${stamp(series.hours[run.first])} under a steady dry bulb.`,
        ]);
    }

    function dryingWick({ series, limit, index, asked }) {
      const [share, days] = [limit["dry-wick-share"], Math.round(limit["dry-wick-days"])];
      for (const [number, item] of asked.entries()) {
        const rows = [...index.keys()].filter(
          (i) => index[i] === number && series.hours[i] - item.at >= limit["settling-hours"],
        );
        if (!rows.length) continue;
        const dayOf = (row) => Math.floor((series.hours[row] - series.hours[rows[0]]) / 24);
        const middles = [];
        for (let day = 0; day <= dayOf(rows.at(-1)); day += 1) {
          const own = rows.filter((row) => dayOf(row) === day);
          if (own.length >= 6) middles.push([median(own.map((i) => series.depression[i])), own[0]]);
        }
        const low = (share / 100) * item.air.depression;
        for (let last = days; last < middles.length; last += 1) {
          const run = middles.slice(last - days, last + 1).map((one) => one[0]);
          if (run.at(-1) < low && pairs(run).every(([before, after]) => after < before)) {
            return [
              [
                "question",
                `Wick may be dry or dirty: the depression sank from ${fixed(run[0], 1)} to ` +
                  `${fixed(run.at(-1), 1)} K in ${days + 1} days to ` +
                  `${stamp(series.hours[middles[last][1]])}, where step ${item.step} asks ` +
                  `${fixed(item.air.depression, 1)} K.`,
              ],
            ];
          }
        }
      }
      return [];
    }

    CHECKS["daily-loss"] = ({ boards, limit, scenario }) => {
      if (!scenario.safe) {
        throw noData("no species sheet gives a safe daily loss or a density");
      }
      const { rate: safe, words, own } = scenario.safe;
      const wet = limit["daily-loss-above"];
      const margin = limit["daily-loss-margin"];
      let fastest = null;
      let found = [];
      for (const board of boards) {
        const runs = [[]];
        let base = 0;
        board.points.forEach((point, i) => {
          if (!i) return;
          while (
            base + 1 < i &&
            board.points[base + 1].at <= point.at - limit["daily-loss-hours"]
          ) {
            base += 1;
          }
          const from = board.points[base];
          const loss = (100 * (from.mass - point.mass)) / board.dry / ((point.at - from.at) / 24);
          if (board.points[i - 1].mc <= wet || point.at <= 0) return;
          if (loss > safe + margin) {
            runs.at(-1).push([point.at, loss]);
            return;
          }
          runs.push([]);
          fastest ??= [0, 0, ""];
          if (loss / safe > fastest[0]) fastest = [loss / safe, loss, board.id];
        });
        for (const run of runs.filter((one) => one.length)) {
          const worst = most(run.map((one) => one[1]));
          const when =
            run.length === 1
              ? `${fixed(worst, 1)} points a day to ${stamp(run[0][0])}`
              : `up to ${fixed(worst, 1)} points a day at ${run.length} weighings in a row, ` +
                `${stamp(run[0][0])} to ${stamp(run.at(-1)[0])}`;
          found.push([
            own && worst > limit["daily-loss-refused"] * safe ? "fail" : "question",
            `Board ${board.id} lost ${when}; the limit is ${fixed(safe, 1)} for ${words}.`,
            worst,
          ]);
        }
      }
      if (!own && found.length) {
        found = [found.reduce((worst, one) => (one[2] > worst[2] ? one : worst))];
      }
      if (fastest === null && !found.length) {
        throw notApplicable(`no board was weighed twice above ${g(wet)} % after heating began`);
      }
      const spare =
        fastest && fastest[0] > 1
          ? `, and ${g(margin)} more is within the accuracy of weighing`
          : "";
      return [
        found,
        fastest &&
          `The fastest loss above ${g(wet)} % was ${fixed(fastest[1], 1)} points a day (board ` +
            `${fastest[2]}); the limit is ${fixed(safe, 1)} for ${words}${spare}.`,
      ];
    };

    CHECKS.rewetted = ({ boards, limit }) => {
      const [allowed, above] = [limit.rewetted, limit["rewetted-above"]];
      let looked = 0;
      const found = [];
      for (const board of boards) {
        for (const [before, after] of pairs(board.points)) {
          if (before.mc <= above) continue;
          looked += 1;
          if (after.mc - before.mc > allowed) {
            found.push([
              "question",
              `Board ${board.id} regained ${fixed(after.mc - before.mc, 1)} points by ` +
                `${stamp(after.at)}: old checks may deepen.`,
            ]);
          }
        }
      }
      if (!looked) {
        throw notApplicable(`no board was weighed again after it was above ${g(above)} %`);
      }
      return [
        found,
        `No board regained more than ${g(allowed)} points between two weighings above ${g(above)} % ` +
          `(${looked} looked at).`,
      ];
    };

    CHECKS["shock-change"] = ({ series, limit, controls, record }) => {
      const [allowed, above] = [limit["shock-change"], limit["shock-change-above"]];
      if (series.emc.every(Number.isNaN)) throw noData("the log does not give the EMC");
      const dry = controls.find((one) => one.mc <= above)?.at ?? series.hours.at(-1);
      const drop = series.emc.map((now, i) => (i ? series.emc[i - 1] - now : Number.NaN));
      const looked = drop.map((one, i) => {
        if (!i || Number.isNaN(one)) return false;
        const [from, to] = [series.hours[i - 1], series.hours[i]];
        const touched = record.wicks.some((at) => from <= at + 1 && to >= at - 1);
        return to < dry && from > limit["warm-up-hours"] && !touched;
      });
      if (!looked.some(Boolean)) {
        throw notApplicable(`the controlling MC was not above ${g(above)} % after heating up`);
      }
      const shock = drop.map((one, i) => {
        const opened = i && series.depression[i] - series.depression[i - 1];
        return looked[i] && one > allowed && !(opened <= limit["shock-change-noise"]);
      });
      const found = stretches(series, shock)
        .slice(0, 3)
        .map((run) => [
          "question",
          `Shock change of air: EMC fell ${fixed(most(drop.slice(run.first, run.last + 1)), 1)} points ` +
            `within an hour by ${stamp(series.hours[run.first])}.`,
        ]);
      return [
        found,
        `Above ${g(above)} % and after heating up, the EMC never fell more than ${g(allowed)} points ` +
          "within an hour beyond what a noisy wet bulb gives.",
      ];
    };

    CHECKS["stain-conditions"] = ({ series, limit, askedOf }) => {
      const [coolest, hottest] = [limit["stain-coolest"], limit["stain-hottest"]];
      const [humid, hours] = [limit["stain-humidity"], limit["stain-hours"]];
      const wanted = askedOf("humidity");
      const risky = series.dry.map(
        (one, i) =>
          one >= coolest &&
          one <= hottest &&
          series.humidity[i] > humid &&
          !(wanted[i] >= humid - 2),
      );
      const found = stretches(series, risky, hours).map((run) => [
        "question",
        `Stain and mould conditions for ${fixed(run.hours, 0)} h from ` +
          `${stamp(series.hours[run.first])}.`,
      ]);
      return [
        found,
        `The air was never at ${g(coolest)} to ${g(hottest)} °C and above ${g(humid)} % RH for ` +
          `${g(hours)} h beyond what the schedule asks (the log does not hold the fans).`,
      ];
    };

    CHECKS["outlier-board"] = ({ boards, limit }) => {
      const [times, least] = [limit["outlier-board"], limit["outlier-board-least"]];
      const known = boards.filter(
        ({ points }) => points.length > 2 && Math.min(points[0].mc, points.at(-1).mc) > 0,
      );
      if (known.length < 4) throw noData("fewer than four boards have three weighings");
      const drop = known.map(({ points }) => Math.log(points[0].mc / points.at(-1).mc));
      const middle = median(drop);
      const spread = median(drop.map((one) => Math.abs(one - middle)));
      const found = known
        .filter((_, i) => {
          const apart = Math.abs(drop[i] - middle);
          return 100 * apart > least * middle && spread > 0 && apart > times * 1.4826 * spread;
        })
        .map((board) => ["note", `Board ${board.id} dries unlike the others.`]);
      return [
        found,
        `None of ${known.length} boards dries more than ${g(least)} % faster or slower than the middle ` +
          "one, beyond the scatter of the others.",
      ];
    };

    CHECKS["driest-board"] = ({ boards, controls, record, limit, scenario }) => {
      const control = controls.findLast((one) => one.at > 0 && one.at <= record.ended);
      if (!control) throw noData("no weighing is on record near the end");
      const driest = control.all.reduce((low, one) => (one.mc < low.mc ? one : low));
      const board = boards.find((one) => one.id === driest.id);
      const below = scenario.target - limit["driest-board"];
      const found =
        driest.mc < below - uncertainty(board, control.at)
          ? [
              [
                "question",
                `Board ${driest.id} was dried to ${fixed(driest.mc, 1)} %, ` +
                  `${fixed(scenario.target - driest.mc, 1)} points below the target of ` +
                  `${g(scenario.target)} %.`,
              ],
            ]
          : [];
      return [
        found,
        `The driest board (${driest.id}) was at ${fixed(driest.mc, 1)} % on ${stamp(control.at)}; the ` +
          `target is ${g(scenario.target)} %.`,
      ];
    };

    /* The expanded uncertainty of a board's MC: review/boards.py and physics/moisture.py. */
    function uncertainty(board, at) {
      const { scale, balance, section, coverage } = data.record;
      const [byScale, byBalance] = [scale, balance].map((one) => one / Math.sqrt(12));
      const errorOf = (mass, massError, dry, dryError) =>
        Math.hypot((100 * massError) / dry, (100 * mass * dryError) / dry ** 2);
      const sections = errorOf(board.section, byBalance, section, byBalance) / Math.sqrt(2);
      const share = 1 + board.mc / 100;
      const dryError = Math.hypot(byScale / share, (board.dry * sections) / (100 * share));
      const { mass } = board.points.findLast((one) => one.at <= at);
      return coverage * errorOf(mass, byScale, board.dry, dryError);
    }

    CHECKS["clock-against-hand"] = (made) => {
      const { asked, series, limit } = made;
      const [allowed, rise] = [limit["clock-apart"], limit["clock-apart-rise"]];
      const moments = asked.map((one) => one.at);
      moments.push(Math.max(moments.at(-1) ?? 0, series.hours.at(-1)));
      const late = pairs(asked)
        .map(([old, now], i) =>
          now.air.dry - old.air.dry >= rise
            ? riseOf(series, old.air.dry + rise / 2, moments.slice(i, i + 3))
            : null,
        )
        .filter((one) => one !== null);
      if (late.length < 2) {
        throw notApplicable(
          "fewer than two written step changes raise the dry bulb far enough to be seen in the log",
        );
      }
      const found = [];
      for (const [side, word] of [
        [1, "after"],
        [-1, "before"],
      ]) {
        const off = late.filter(([hours]) => side * hours > allowed);
        if (off.length >= 2 && 2 * off.length > late.length) {
          const [[first, row], [last]] = [off[0], off.at(-1)];
          found.push([
            "question",
            `The log and the hand-written times differ: at ${off.length} of ${late.length} step ` +
              `changes the dry bulb rises ${word} it was written, by ${fixed(Math.abs(first), 1)} h at ` +
              `the first (${stamp(series.hours[row])} in the log) and ${fixed(Math.abs(last), 1)} h at ` +
              "the last. Compare the logger's clock with a true one; nothing was moved.",
          ]);
        }
      }
      return [
        found,
        `At most of ${late.length} step changes the dry bulb rises in the log within ${g(allowed)} h of ` +
          "the time written.",
      ];
    };

    /* When the dry bulb leaves its level, in hours after the time written, and the row. */
    function riseOf(series, level, [before, at, after]) {
      const first = series.hours.findIndex((hour) => hour >= (before + at) / 2);
      const end = series.hours.findIndex((hour) => hour >= (at + after) / 2);
      const dry = series.dry.slice(first, end < 0 ? undefined : end);
      const beyond = dry.findIndex((one) => one > level);
      const cold = beyond < 0 ? [] : dry.slice(0, beyond);
      if (!cold.length || first < 0) return null;
      const middle = median(cold);
      const row = first + cold.findLastIndex((one) => one <= middle);
      return [series.hours[row] - at, row];
    }

    CHECKS.signed = () => [[["question", "The record is not signed."]], ""];

    /* Run the checks: [{check, title, outcome, message}], in the order of the review. */
    function review(scenario, seed, decisions) {
      const made = caseOf(scenario, seed, decisions);
      return data.checks.flatMap(([check, title, page]) => {
        const said = (outcome, message) => ({ check, title, page, outcome, message });
        try {
          const [found, passes] = CHECKS[check](made);
          if (!found.length) return [said("pass", passes)];
          return found.map(([outcome, message]) =>
            said(outcome === "note" ? "pass" : outcome, message),
          );
        } catch (error) {
          if (!(error instanceof Absent)) throw error;
          const words = error.message;
          return [said(error.outcome, `${words[0].toUpperCase()}${words.slice(1)}.`)];
        }
      });
    }

    return { review };
  };
})();
