/* kilnfolio: a practice charge, and a drying board.

   The functions follow physics/drying_board.py and training/simulation.py step by step, so that the same
   seed and decisions give the same figures in both. The constants are those of the Python package, written
   to the page by the build. */

(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;

  kilnfolio.makeChargeRun = function makeChargeRun(given, air, wood) {
    const { board: B, run: R } = given;

    /* ---- physics/drying_board.py ------------------------------------------------------------------ */

    const slope = (w, mc) => Math.exp(w.effect * (Math.min(mc, w.fsp) - w.fsp));

    function integral(w, mc) {
      const below = Math.min(mc, w.fsp) - w.fsp;
      return (
        (w.effect > 0 ? Math.expm1(w.effect * below) / w.effect : below) + Math.max(mc - w.fsp, 0)
      );
    }

    /* The MC of the face beside a cell of a given MC, by Newton's method. */
    function faceOf(w, mc) {
      const resistance = w.release / ((2 * w.diffusivity) / w.width);
      const inside = integral(w, mc);
      const wet = inside - resistance * (w.fsp - w.emc);
      if (wet >= 0) return w.fsp + wet;
      let guess = Math.min(mc, w.fsp);
      for (let turn = 0; turn < B.newton; turn += 1) {
        const miss = resistance * (guess - w.emc) - (inside - integral(w, guess));
        const moved = Math.min(Math.max(guess - miss / (resistance + slope(w, guess)), 0), w.fsp);
        const near = Math.abs(moved - guess) < 1e-10;
        guess = moved;
        if (near) break;
      }
      return guess;
    }

    function throughFace(w, mc) {
      const half = (2 * w.diffusivity) / w.width;
      const drive = mc - w.emc;
      if (Math.abs(drive) < 1e-6) return 1 / (1 / w.release + 1 / (half * slope(w, w.emc)));
      return (half * (integral(w, mc) - integral(w, faceOf(w, mc)))) / drive;
    }

    function between(w, first, second) {
      const apart = second - first;
      const mean =
        Math.abs(apart) < 1e-6
          ? slope(w, (first + second) / 2)
          : (integral(w, second) - integral(w, first)) / apart;
      return (w.diffusivity * mean) / w.width;
    }

    function solve(old, inner, outer, emc) {
      const cells = old.length;
      const diagonal = new Array(cells).fill(1);
      const right = old.slice();
      for (let i = 0; i < cells - 1; i += 1) {
        diagonal[i] += inner[i];
        diagonal[i + 1] += inner[i];
      }
      diagonal[0] += outer;
      right[0] += outer * emc;
      for (let i = 1; i < cells; i += 1) {
        const factor = inner[i - 1] / diagonal[i - 1];
        diagonal[i] -= factor * inner[i - 1];
        right[i] += factor * right[i - 1];
      }
      right[cells - 1] /= diagonal[cells - 1];
      for (let i = cells - 2; i >= 0; i -= 1)
        right[i] = (right[i] + inner[i] * right[i + 1]) / diagonal[i];
      return right;
    }

    /* Advance a board by some hours in constant air; its profile runs from the face inward. */
    function advance(board, profile, hours, temp, emc) {
      const warmth = Math.exp((board.activation / B.gas) * (1 / B.reference - 1 / (temp + 273.15)));
      const w = {
        width: board.thickness / 2000 / profile.length,
        diffusivity: board.diffusivity * warmth,
        release: board.face * warmth,
        effect: board.effect,
        fsp: board.fsp,
        emc: Math.min(emc, board.fsp),
      };
      const steps = Math.ceil(hours / B.longest - 1e-9);
      const ratio = (3600 * hours) / steps / w.width;
      let now = profile;
      for (let step = 0; step < steps; step += 1) {
        const old = now;
        for (let pass = 0; pass < B.passes; pass += 1) {
          const inner = [];
          for (let i = 0; i < now.length - 1; i += 1)
            inner.push(ratio * between(w, now[i], now[i + 1]));
          now = solve(old, inner, ratio * throughFace(w, now[0]), w.emc);
        }
      }
      return { profile: now, face: faceOf(w, now[0]) };
    }

    const newBoard = (thickness, diffusivity) => ({
      thickness,
      diffusivity,
      face: B.face,
      effect: B.effect,
      activation: B.activation,
      fsp: B.fsp,
    });
    const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;

    function gradient(board, profile, face, tangential) {
      const below = mean(profile.map((mc) => Math.max(board.fsp - mc, 0)));
      return (tangential / board.fsp) * (Math.max(board.fsp - face, 0) - below);
    }

    /* ---- training/kiln_air.py --------------------------------------------------------------------- */

    const { constants: K, figures: F } = given;
    const airHeat = (outside) => F.airHeat + K.vapour_specific_heat * outside.ratio;
    const latentHeat = (temp) =>
      K.water_heat[0] + (K.vapour_specific_heat - K.water_heat[1]) * Math.max(temp, 0);

    function outdoors(weather, hour) {
      const spell = weather.filter((one) => one.from_hour <= hour).pop();
      const turn = Math.cos((2 * Math.PI * (hour + R.startClock - R.warmest)) / 24);
      const temp = spell.temperature + 0.5 * spell.swing * turn;
      const saturated = wood.saturationPressure(temp);
      const vapour = Math.min(spell.vapour, saturated);
      const dry = air.standard - vapour;
      return {
        temp,
        humidity: (100 * vapour) / saturated,
        ratio: (F.ratio * vapour) / dry,
        dryAir: dry / (F.dryAir * (temp + K.zero_celsius_k)),
      };
    }

    function exchange(kiln, outside, wanted, loss) {
      const leak = kiln.leak * outside.dryAir;
      const vents = kiln.vents * outside.dryAir;
      const rise = wanted - outside.ratio;
      if (rise <= 0 || loss > vents * rise)
        return { flow: vents, spray: 0, ratio: outside.ratio + loss / vents, limit: "vents" };
      if (loss >= leak * rise) return { flow: loss / rise, spray: 0, ratio: wanted, limit: "" };
      const missing = leak * rise - loss;
      if (missing <= kiln.spray) return { flow: leak, spray: missing, ratio: wanted, limit: "" };
      const ratio = outside.ratio + (loss + kiln.spray) / leak;
      return { flow: leak, spray: kiln.spray, ratio, limit: "spray" };
    }

    function loadHeat(dryMass, mc, temp) {
      const [atZero, rise] = K.dry_wood_heat_capacity;
      const dry = atZero + rise * (temp + K.zero_celsius_k);
      return dryMass * (dry + (mc / 100) * K.water_heat_capacity);
    }

    function hottest(kiln, outside, capacity, now, flow, loss, seconds) {
      const stored = capacity / seconds;
      const away = kiln.walls + flow * airHeat(outside);
      const spare = kiln.heating - loss * latentHeat(now);
      return Math.max((stored * now + away * outside.temp + spare) / (stored + away), outside.temp);
    }

    function heatUsed(kiln, outside, capacity, [before, after], made, loss, seconds) {
      const away = (kiln.walls + made.flow * airHeat(outside)) * (after - outside.temp);
      const coils = Math.max(
        (capacity * (after - before)) / seconds + away + loss * latentHeat(after),
        0,
      );
      const steam = K.water_heat[0] + K.vapour_specific_heat * R.steam;
      return (coils + made.spray * steam) * seconds;
    }

    const humidityRatio = (temp, humidity) => {
      const vapour = (wood.saturationPressure(temp) * humidity) / 100;
      return (F.ratio * vapour) / (air.standard - vapour);
    };

    const humidityOf = (ratio, temp) =>
      Math.min(
        (100 * air.standard * ratio) / (F.ratio + ratio) / wood.saturationPressure(temp),
        100,
      );

    /* ---- training/simulation.py, continued --------------------------------------------------------- */

    function controlling(mcs) {
      const order = mcs.slice().sort((a, b) => b - a);
      return mean(order.slice(0, Math.ceil(order.length / 2)));
    }

    class Run {
      constructor(scenario, seed) {
        this.scenario = scenario;
        this.seed = seed;
        this.hour = 0;
        this.setDry = this.dry = R.start;
        this.setDepression = this.depression = 0.5;
        this.weighings = [];
        this.log = [];
        this.decisions = [];
        this.numbers = new kilnfolio.RandomNumbers(seed);
        this.boards = [];
        const initial = [];
        for (let i = 0; i < scenario.boards; i += 1) {
          const mc = Math.max(
            scenario.initial_mc + scenario.initial_spread * this.numbers.normal(),
            30,
          );
          const share = 1 + scenario.diffusivity_spread * this.numbers.normal();
          const wet = {
            wood: newBoard(scenario.thickness_mm, scenario.diffusivity * Math.max(share, 0.3)),
            profile: new Array(B.cells).fill(mc),
            peak: 0,
            hot: 0,
            face: mc,
          };
          this.boards.push(wet);
          initial.push(mc);
        }
        this.initialMean = mean(initial);
        this.wickSound = 0;
        this.dryMass = scenario.volume_m3 * scenario.basic_density;
        this.flow = this.loss = this.heat = 0;
        this.limits = [];
        this.newWick();
      }

      newWick() {
        this.wick = 0;
        this.wickLeft = 24 * this.scenario.wick_life_days * (0.5 + this.numbers.share());
      }

      setAir(dry, depression) {
        this.setDry = dry;
        this.setDepression = depression;
        this.decisions.push({ do: "set", dry_bulb: dry, depression });
      }

      changeWick() {
        this.newWick();
        this.decisions.push({ do: "wick" });
      }

      weigh() {
        const mcs = this.boards
          .slice(0, this.scenario.samples)
          .map((one) => mean(one.profile) + R.noise * this.numbers.normal());
        const taken = { hour: this.hour, mcs, controlling: controlling(mcs) };
        this.weighings.push(taken);
        this.decisions.push({ do: "weigh" });
        return taken;
      }

      wait(hours) {
        for (let step = 0; step < Math.round(hours / R.step); step += 1) {
          if (this.hour < 24 * this.scenario.longest_days) this.advance();
        }
        const last = this.decisions[this.decisions.length - 1];
        if (last && last.do === "wait") last.hours += hours;
        else this.decisions.push({ do: "wait", hours });
      }

      advance() {
        this.wickLeft -= R.step;
        if (this.wickLeft < 0)
          this.wick = Math.min(R.wickMost, this.wick + (R.wickPerDay * R.step) / 24);
        const before = this.dry;
        const outside = this.outside();
        const set = outside ? Math.max(this.setDry, outside.temp) : this.setDry;
        const wanted = this.setDepression / (1 - this.wick);
        this.dry += (set - this.dry) * (1 - Math.exp(-R.step / R.dryLag));
        this.depression += (wanted - this.depression) * (1 - Math.exp(-R.step / R.wetLag));
        if (outside) this.holdBack(before, outside);
        else this.settle(this.depression);
        this.emc = this.emcNow();
        const start = this.meanNow();
        for (const one of this.boards) {
          const next = advance(one.wood, one.profile, R.step, this.dry, this.emc);
          one.profile = next.profile;
          one.face = next.face;
        }
        if (outside) this.countHeat(before, outside, this.lossOf(start - this.meanNow()));
        this.hour += R.step;
        this.judge();
        this.log.push([
          this.hour,
          this.dry,
          this.dry - this.depression * (1 - this.wick),
          this.emc,
        ]);
        if (this.wick < 0.2) this.wickSound += 1;
      }

      settle(depression) {
        this.depression = Math.max(R.least, this.dry - R.wettest, depression);
        if (this.depression > R.wide) {
          this.depression = Math.min(
            this.depression,
            this.dry - air.wetBulb(this.dry, R.driest, air.standard),
          );
        }
      }

      humidityNow() {
        return air.relativeHumidity(this.dry, this.dry - this.depression, air.standard);
      }

      emcNow() {
        return wood.equilibriumMoistureContent(this.dry, this.humidityNow());
      }

      ratioNow() {
        return humidityRatio(this.dry, this.humidityNow());
      }

      meanNow() {
        return mean(this.boards.map((one) => mean(one.profile)));
      }

      /* The air outdoors some hours from now; null without weather. */
      outside(hours = 0.5 * R.step) {
        const { weather } = this.scenario;
        return weather.length ? outdoors(weather, this.hour + hours) : null;
      }

      holdBack(before, outside) {
        const { kiln } = this.scenario;
        const seconds = 3600 * R.step;
        this.limits = [];
        const most = hottest(kiln, outside, this.capacity(), before, this.flow, this.loss, seconds);
        if (this.dry > most) {
          this.dry = most;
          this.limits.push("heating");
        }
        this.settle(this.depression);
        const wanted = this.ratioNow();
        const first = exchange(kiln, outside, wanted, this.lossAt(this.emcNow()));
        if (!first.limit) return;
        this.limits.push(first.limit);
        this.takeRatio(first.ratio);
        const tried = this.ratioNow();
        const second = exchange(kiln, outside, wanted, this.lossAt(this.emcNow()));
        const ahead = tried - wanted;
        const behind = tried - second.ratio;
        const share = ahead + behind ? ahead / (ahead + behind) : 1;
        this.takeRatio(wanted + Math.max(0, Math.min(1, share)) * ahead);
      }

      takeRatio(ratio) {
        const humidity = Math.max(R.driest, humidityOf(ratio, this.dry));
        this.settle(this.dry - air.wetBulb(this.dry, humidity, air.standard));
      }

      lossAt(emc) {
        const after = this.boards.map((one) =>
          mean(advance(one.wood, one.profile, R.step, this.dry, emc).profile),
        );
        return this.lossOf(this.meanNow() - mean(after));
      }

      lossOf(points) {
        return ((Math.max(points, 0) / 100) * this.dryMass) / (3600 * R.step);
      }

      capacity() {
        return loadHeat(this.dryMass, this.meanNow(), this.dry);
      }

      countHeat(before, outside, loss) {
        const { kiln } = this.scenario;
        const seconds = 3600 * R.step;
        const made = exchange(kiln, outside, this.ratioNow(), loss);
        const bulbs = [before, this.dry];
        const used = heatUsed(kiln, outside, this.capacity(), bulbs, made, loss, seconds);
        this.heat += used / K.kj_per_kwh;
        this.flow = made.flow;
        this.loss = loss;
      }

      judge() {
        const ceiling = this.scenario.steps[0].dry_bulb + R.overheated;
        for (const one of this.boards) {
          if (mean(one.profile) <= R.wet) continue;
          one.peak = Math.max(
            one.peak,
            gradient(one.wood, one.profile, one.face, this.scenario.tangential),
          );
          if (this.dry > ceiling) one.hot += R.step;
        }
      }

      outcome() {
        const s = this.scenario;
        const means = this.boards.map((one) => mean(one.profile));
        const middle = mean(means);
        const share = (test) => this.boards.filter(test).length / this.boards.length;
        const days = this.hour / 24;
        const inTarget =
          means.filter((mc) => Math.abs(mc - s.target) <= s.target_within).length / means.length;
        const checked = share((one) => one.peak > s.checks_above);
        const overheated = share((one) => one.hot > R.overheatedHours);
        const spoiled = share((one) => one.peak > s.checks_above || one.hot > R.overheatedHours);
        const water =
          (s.volume_m3 *
            s.basic_density *
            (this.initialMean - Math.min(middle, this.initialMean))) /
          100;
        const energy = s.weather.length ? this.heat : water * s.kwh_per_kg;
        const wick = this.log.length ? this.wickSound / this.log.length : 1;
        const late = (days - s.good_days) / (s.longest_days - s.good_days);
        const cost =
          days * s.day_cost + energy * s.kwh_price + spoiled * s.volume_m3 * s.timber_value;
        const rating =
          40 * inTarget +
          30 * (1 - spoiled) +
          20 * (1 - Math.max(0, Math.min(1, late))) * (inTarget > 0 ? 1 : 0) +
          10 * wick;
        return {
          days,
          mean: middle,
          spread: Math.sqrt(mean(means.map((mc) => (mc - middle) ** 2))),
          wettest: Math.max(...means),
          driest: Math.min(...means),
          in_target: inTarget,
          checked,
          overheated,
          peak_gradient: Math.max(...this.boards.map((one) => one.peak)),
          fastest_loss: this.fastest(),
          wick_sound: wick,
          water_kg: water,
          energy_kwh: energy,
          cost,
          rating,
        };
      }

      fastest() {
        let most = 0;
        let any = false;
        this.weighings.forEach((after, place) => {
          const before = this.weighings[place - 1];
          if (!before || after.hour <= before.hour) return;
          before.mcs.forEach((first, i) => {
            const rate = ((first - after.mcs[i]) / (after.hour - before.hour)) * 24;
            most = any ? Math.max(most, rate) : rate;
            any = true;
          });
        });
        return most;
      }
    }

    function replay(scenario, seed, decisions) {
      const run = new Run(scenario, seed);
      for (const one of decisions) {
        if (one.do === "set") run.setAir(one.dry_bulb, one.depression);
        else if (one.do === "wick") run.changeWick();
        else if (one.do === "weigh") run.weigh();
        else run.wait(one.hours);
      }
      return run;
    }

    function stepsEarlier(decisions, hours = 24) {
      let at = 0;
      const timed = [];
      for (const one of decisions) {
        if (one.do === "wait") at += one.hours;
        else timed.push([at, one]);
      }
      const sets = timed.filter(([, one]) => one.do === "set");
      const first = sets.length ? sets[0][0] : 0;
      const moved = timed.map(([hour, one]) => [
        one.do === "set" && hour > first ? Math.max(first, hour - hours) : hour,
        one,
      ]);
      moved.sort((a, b) => a[0] - b[0]);
      const made = [];
      let now = 0;
      for (const [hour, one] of moved) {
        if (hour > now) {
          made.push({ do: "wait", hours: hour - now });
          now = hour;
        }
        made.push(one);
      }
      if (at > now) made.push({ do: "wait", hours: at - now });
      return made;
    }

    return { Run, replay, stepsEarlier, advance, newBoard, gradient, mean };
  };
})();
