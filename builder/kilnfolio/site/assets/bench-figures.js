/* kilnfolio: two figures of the bench: a board in a log, and the air through a stack.

   The calculations follow physics/shrinkage.py, physics/airflow.py and charts/cut.py, without constants of their
      own. */

(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;

  kilnfolio.makeFigures = function makeFigures(given, sums, pressure) {
    const G = given.figures;

    /* physics/shrinkage.py: shrunk_place, with shrinkages in per cent. */
    function shrunkPlace([x, y], [radial, tangential], [towardX, towardY]) {
      const ray = Math.atan2(towardY, towardX);
      const angle = Math.atan2(y, x) - ray;
      const turned =
        ray +
        (Math.atan2(Math.sin(angle), Math.cos(angle)) * (1 - tangential / 100)) /
          (1 - radial / 100);
      const radius = Math.hypot(x, y) * (1 - radial / 100);
      return [radius * Math.cos(turned), radius * Math.sin(turned)];
    }

    function outline(x, y, width, thickness) {
      const top = [];
      const right = [];
      for (let i = 0; i <= G.along; i += 1) top.push([(i / G.along - 0.5) * width, thickness / 2]);
      for (let i = G.up - 1; i > 0; i -= 1) right.push([width / 2, (i / G.up - 0.5) * thickness]);
      const back = (points) => points.map(([a, b]) => [-a, -b]);
      return [...top, ...right, ...back(top), ...back(right)].map(([a, b]) => [a + x, b + y]);
    }

    /* charts/cut.py: board_shape. */
    function boardShape(x, y, width, thickness, shrinkages) {
      const side = y >= 0 ? thickness / 2 : -thickness / 2;
      const [left, right, inner, outer, first, last] = [
        [-width / 2, 0],
        [width / 2, 0],
        [0, -side],
        [0, side],
        [-width / 2, side],
        [width / 2, side],
      ].map(([a, b]) => shrunkPlace([a + x, b + y], shrinkages, [x, y]));
      const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
      const cup =
        (last[0] - first[0]) * (outer[1] - first[1]) - (last[1] - first[1]) * (outer[0] - first[0]);
      return {
        width: 100 * (1 - apart(left, right) / width),
        thickness: 100 * (1 - apart(outer, inner) / thickness),
        cup: (-Math.sign(side) * cup) / apart(first, last),
      };
    }

    function pathOf(points) {
      const [left, top] = G.middle;
      return `M${points.map(([x, y]) => `${(left + G.scale * x).toFixed(1)} ${(top - G.scale * y).toFixed(1)}`).join("L")}Z`;
    }

    function boardPaths(x, y, width, thickness, shrinkages) {
      const green = outline(x, y, width, thickness);
      const moved = green.map((one) => {
        const to = shrunkPlace(one, shrinkages, [x, y]);
        return [one[0] + G.larger * (to[0] - one[0]), one[1] + G.larger * (to[1] - one[1])];
      });
      return [pathOf(green), pathOf(moved)];
    }

    /* training/bench.py: stack_air, from physics/airflow.py. */
    function stackAir(load) {
      const layer = load.board + load.sticker;
      const wood = (load.length * load.width * load.height * load.board) / layer;
      const lost = (wood * load.density * load.loss) / 100;
      const through = load.flow * (1 - load.bypass / 100);
      const wet = load.dry - load.depression;
      const vapour =
        (sums.relativeHumidity(load.dry, wet, pressure) / 100) * sums.saturationPressure(load.dry);
      const ratio = (G.ratio * vapour) / (pressure - vapour);
      const mass =
        (through * (pressure - vapour)) / (G.dryAir * (load.dry + given.constants.zero_celsius_k));
      const capacity = mass * (G.airHeat + given.constants.vapour_specific_heat * ratio);
      const [heat, liquid] = given.constants.water_heat;
      const latent = heat + (given.constants.vapour_specific_heat - liquid) * wet;
      const drop = Math.min((lost / 86400) * (latent / capacity), load.dry - wet);
      const emc = (dry) =>
        sums.equilibriumMoistureContent(
          dry,
          Math.min(sums.relativeHumidity(dry, Math.min(wet, dry), pressure), 99),
        );
      return {
        speed: through / ((load.length * load.height * load.sticker) / layer),
        water: lost,
        drop,
        entering: emc(load.dry),
        leaving: emc(load.dry - drop),
      };
    }

    return { shrunkPlace, boardShape, boardPaths, stackAir };
  };
})();
