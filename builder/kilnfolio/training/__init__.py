"""Training: problems with fresh numbers, and drills made from real charges.

Modules
-------
problem      kinds of problem: drawing numbers and working the answer
moisture     MC, sample boards and controlling MC
air          RH and EMC
rates        drying rates, equalizing and conditioning
ending       final surveys and heat treatment
timber       shrinkage, movement and the water in a load
kinds        every kind of problem, by topic
anonymous    a charge without names, numbers or dates
faults       faults of a record, and how each is planted
drills       an anonymous charge with a planted fault, and the review's findings on it
pages        the pages of problems and drills in the mill edition
"""
