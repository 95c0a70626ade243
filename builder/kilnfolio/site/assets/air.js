/* Moist air, for the calculators and for search: physics/air.py, function by function. It has no constants of its
   own; kilnfolio.makeAir(given) takes them from the Python package, as written by the build. */
(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;

  kilnfolio.makeAir = function makeAir(given) {
    function saturationPressure(temp) {
      const kelvin = temp + given.zero_celsius_k;
      const c =
        temp < given.triple_point_c ? given.saturation_over_ice : given.saturation_over_water;
      const powers = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])));
      return Math.exp(c[0] / kelvin + powers + c[6] * Math.log(kelvin));
    }

    /* Vapour pressure from the two bulbs; not finite if water would boil on the wet bulb. */
    function vapourPressureOfBulbs(dry, wet, pressure) {
      const atWet = saturationPressure(wet);
      if (atWet >= pressure) return Infinity;
      return atWet - given.psychrometer_coefficient * pressure * (dry - wet);
    }

    return { saturationPressure, vapourPressureOfBulbs };
  };
})();
