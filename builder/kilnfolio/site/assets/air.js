/* Moist air, for the calculators and for search: physics/air.py, function by function. No constant stands here;
   kilnfolio.makeAir(given) takes them from what the build has written of the Python package. */
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

    /* Of the two bulbs; not finite where water would boil on the wet one. */
    function vapourPressureOfBulbs(dry, wet, pressure) {
      const atWet = saturationPressure(wet);
      if (atWet >= pressure) return Infinity;
      return atWet - given.psychrometer_coefficient * pressure * (dry - wet);
    }

    return { saturationPressure, vapourPressureOfBulbs };
  };
})();
