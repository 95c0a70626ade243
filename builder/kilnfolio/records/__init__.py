"""The records that a mill writes: one model per kind, and the readers that build them.

Rooms
-----
problems      problems of records: where, what, why, and what to write instead
yaml_source   YAML text to plain values, each with its place
quantities    "110 °F" to 43.3 °C, keeping the text as entered
model         the base of every record, and the types that records share
validation    validation that collects all problems
sourced       values from publications: sources, statuses, sourced values
species, schedule, notation, limits      the library in ``schedules/``
mill, kiln, logger, charge, lot          the mill's own records in ``content/``
export        a logger's own file split into rows and cells, reporting every anomaly
clock         the times of its rows, as written and in UTC
log           logger exports to arrays, with every row accounted for
sheet_words   words of headings and labels in mills' own sheets, in several languages
folder        a mill folder, whose records are read on demand
checking      all records, read and checked against each other
"""
