"""What the mill wrote: one model per noun, and the readers that build them.

Rooms
-----
problems      what is refused, where, why, and what to write instead
yaml_source   YAML text to plain values with the place of each
quantities    "110 °F" to 43.3 °C, keeping the words as entered
model         the base of every record, and validation that collects all problems
sourced       things that came from a book: sources, statuses, sourced values
species, schedule, notation, limits      the library in ``schedules/``
mill, kiln, logger, charge, lot          the mill's own in ``content/``
export        a logger's own file cut into rows and cells, every departure named
clock         the times of its rows, as written, then in UTC
log           logger exports to arrays, with every row accounted for
sheet_words   what headings and labels of a mill's own sheets say, in the languages of mills
folder        a whole mill folder, read and cross-checked
"""
