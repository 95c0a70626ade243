"""The physics of drying timber: pure functions on numbers and numpy arrays.

Nothing here opens a file, knows a record or draws a page. Each module is one room:

=================  ==============================================================================
`air`              moist air: RH from two thermometers, dew point, humidity ratio, pressure
`sorption`         wood and air at rest: EMC from temperature and RH, and back
`moisture`         weights to MC, its uncertainty, the controlling boards, drying rate
`meters`           resistance-meter readings brought to the calibration temperature
`shrinkage`        shrinkage, change of size, specific gravity and density at an MC
`strength`         strength and stiffness of clear wood at an MC
`water`            what timber weighs, free and bound water, what a charge loses, the least heat
`heat`             the longest unbroken time a core spent at or above a temperature
`survey`           what a set of readings says about the lot they came from
`mixture`          whether readings form one group or two
`control_chart`    whether a run of single values goes on as it did
`drying_board`     a board that dries by diffusion in changing air: its moisture profile
`drying_gradient`  how much shrinkage a wet core denies the shell, to compare schedules
`drying_formula`   the published drying time of red oak; how temperature changes the pace
`drying_core`      how long a core takes to warm through
`drying`           the four above under one name
`rules`            rules of the trade that are sums: equalizing, conditioning, rate by thickness
`sums`             the plain sums of the notebook: mean, difference, volume, green and dry sizes
=================  ==============================================================================

One set of manners holds in every room:

* Units are °C, Pa, kg, mm and m³; MC, EMC and RH are in percent; a share or a confidence is a
  fraction between 0 and 1. Each docstring names the unit in square brackets.
* Scalars in give a float out. Anything array-like is broadcast by numpy's rules and gives an
  array.
* A value outside its stated range raises `ValueError` naming the argument, the value received, its
  place in the array and the range. Infinities are always refused. Nothing is clipped in silence.
* NaN stands for a gap in a log: where one comes in, one goes out, at the same place. Functions
  that count readings refuse it instead, because leaving one out would change the count.
"""
