"""The physics of drying timber: pure functions on numbers and numpy arrays.

Nothing here opens a file, knows a record or draws a page. The modules:

=================  ==============================================================================
`air`              moist air: RH from two thermometers, dew point, humidity ratio, pressure
`sorption`         wood in equilibrium with air: EMC from temperature and RH, and the inverse
`moisture`         MC from masses, its uncertainty, the controlling boards, drying rate
`measuring`        how far a scale or a meter can be trusted, from repeats and oven pairs
`meters`           resistance-meter readings corrected to the calibration temperature
`shrinkage`        shrinkage, change of size, specific gravity and density at an MC
`strength`         strength and stiffness of clear wood at an MC
`water`            mass of timber, free and bound water, water a charge loses, the least heat
`heat`             the longest unbroken time a core spent at or above a temperature
`survey`           statistics of a set of readings, for the lot they came from
`mixture`          whether readings form one group or two
`control_chart`    whether a series of single values is still in control
`comparisons`      groups and ranks compared, with intervals, corrected for many looks
`positions`        which positions stay wetter, and what a few packs say about a load
`drying_board`     moisture profile of a board that dries by diffusion in changing air
`drying_gradient`  shrinkage that a wet core prevents in the shell, to compare schedules
`drying_formula`   the published drying time of red oak, and the effect of temperature
`drying_core`      how long a core takes to warm through
`drying`           the four above under one name
`rules`            numerical rules of the trade: equalizing, conditioning, rate by thickness
`sums`             simple arithmetic: mean, difference, volume, green and dry sizes
=================  ==============================================================================

All modules follow the same conventions:

* Units are °C, Pa, kg, mm and m³; MC, EMC and RH are in percent; a share or a confidence is a
  fraction between 0 and 1. Docstrings give units in square brackets.
* Scalar arguments give a float. Array-like arguments are broadcast by numpy's rules and give an
  array.
* A value outside its stated range raises `ValueError` naming the argument, the value, its index
  in the array and the range. Infinities are always refused. Nothing is clipped silently.
* NaN marks a gap in a log and gives NaN at the same index of the result. Functions that count
  readings refuse it instead, because leaving a reading out would change the count.
"""

from kilnfolio.physics._late_import import import_when_used

# SciPy takes all that NumPy has, and with it what compiles Fortran and runs tests: a third of the
# time that it takes to import
import_when_used("numpy", "f2py", "testing")
