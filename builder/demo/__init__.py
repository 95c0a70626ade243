"""The invented demonstration mill, Heron Bend Hardwoods, and the simulation that wrote its records.

Nothing of the handbook builder depends on this package; it only writes files the builder reads.

Modules
-------
plans       planned charges: timber, kiln, schedule, and the fault to plant
scenario    the mill itself: kilns, logger profiles, the year's charges and lots
library     species and schedules from ``schedules/``
timber      boards that dry by diffusion, each with its own density, thickness and green MC
chamber     kiln air: heat, vapour, valves and vents, and the controller that moves them
instruments sensors, scales, moisture sections and the meter, each with its error
operating   the operator: weighs, computes, steps, equalizes, conditions
heating     core temperatures at the probes
simulate    a charge from plan to record, export and truth
recording   the records of charges and lots
exports     logger files by profile
yamltext    records as readable YAML

`python -m demo` writes the whole mill; the same plans always give the same bytes.
"""
