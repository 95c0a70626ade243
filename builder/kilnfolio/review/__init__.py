"""Physics applied to records: one charge in, one Dossier out, with its Findings.

Rooms
-----
dossier       the one thing that flows: every recomputed number with its working
working       formulas as a teacher writes them on the board, with the values put in
limits        the narrowest limit that fits a charge
boards        oven-dry estimates, MC with its uncertainty, controlling MC, daily loss
sensors       EMC sensors and pins in the timber, corrected
air           RH and EMC of the log, against set-points
ending        equalizing, survey, heat treatment
findings      outcomes, and the registry of checks
checks/       one function a check, registered once
versions      the version of the rules, and what each may give differently
review        the whole: a charge and its context to a Dossier
"""
