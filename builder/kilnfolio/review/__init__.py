"""Reviews: physics applied to records, turning each charge into a Dossier with its findings.

Rooms
-----
dossier       the result of a review: every recomputed number with its working
working       formulas with the values put in, as a teacher writes them on the board
limits        finds the narrowest limit that applies to a charge
boards        oven-dry estimates, MC with its uncertainty, controlling MC, daily loss
sensors       EMC sensors and pins in the timber, corrected
air           RH and EMC of the log, against set-points
ending        equalizing, survey, heat treatment
findings      outcomes, and the registry of checks
checks/       one registered function per check
versions      versions of the rules, and what each may change
review        the whole review: a charge and its context to a Dossier
"""
