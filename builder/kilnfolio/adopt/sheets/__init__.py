"""``import weighings``, ``boards`` and ``survey``: a mill's own sheets to parts of a charge record.

A sheet is read by its headings. What a sheet leaves open (the unit of a bare number, whether
3/4/2026 is in March or April, the time of day, which of several sheets) is asked for by naming the
option; it is never guessed. Every cell that cannot be read is named, and then nothing is written.

Rooms
-----
columns     what each column could be, where its heading does not say: by what it holds
table       a table whose columns are known, and what a person tells beside it
values      masses, shares and times in its cells
headings    the table of a sheet, found by its headings
weighings, boards, survey   parts of a record from a table
kinds       what a sheet can hold, by the word after ``import``
importing   a sheet put into a charge's record
profiles    how a sheet was read before
"""
