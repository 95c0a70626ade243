"""``import weighings``, ``boards``, ``survey``, ``mc``, ``air``: a mill's sheets into a charge.

A sheet is read by its headings. What it leaves open (the unit of a number, whether 3/4/2026 is in
March or April, the time of day, which of several sheets) is never guessed: the message names the
option to give. If any cell cannot be read, each is reported and nothing is written.

Rooms
-----
columns     proposals for columns whose headings are not known, by their content
table       a table whose columns are known, and the options given with it
values      masses, percentages and times in its cells
headings    finds the table of a sheet by its headings
weighings, boards, survey   parts of a record from a table; `weighings` also reads MC
kinds       the kinds of sheet, by the word after ``import``
importing   a sheet merged into a charge's record
air         the air of a charge from a sheet, written as a log beside the record
profiles    remembers how sheets were read
"""
