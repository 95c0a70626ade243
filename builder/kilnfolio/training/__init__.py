"""Training: problems with fresh numbers, and drills made from real charges.

Modules
-------
problem      what a kind of problem is, the numbers drawn for it, and its answer worked
moisture     MC, sample boards and controlling MC
air          RH and EMC
rates        drying rates, equalizing and conditioning
ending       surveys and heat treatment
timber       shrinkage, movement and the water in a load
kinds        every kind, by topic
anonymous    a charge without names, numbers or dates
faults       what can go wrong with a record, and how it is planted
drills       an anonymous charge with a planted fault, and what the review says of it
pages        the two pages of the mill edition
"""
