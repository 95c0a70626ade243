"""The invented demonstration mill, Heron Bend Hardwoods, and the simulation that wrote its records.

Nothing of the handbook builder depends on this package; it only writes files the builder reads.

Rooms
-----
plans       what a charge is meant to be: timber, kiln, schedule, and the fault planted in it
scenario    the mill itself: kilns, logger profiles, the year's charges and lots
library     species and schedules as the book in ``schedules/`` has them
timber      boards that dry by diffusion, each with its own density, thickness and green MC
chamber     kiln air: heat, vapour, valves and vents, and the controller that moves them
instruments sensors, scales, moisture sections and the meter, each with its error
operating   the operator: weighs, computes, steps, equalizes, conditions
heating     core temperatures under probes
simulate    one charge from plan to record, export and truth
recording   the record of a charge and of a lot, in the words of the record models
exports     logger files by profile
yamltext    records as YAML a person can read

`python -m demo` writes the whole mill; the same plans give the same bytes every time.
"""
