"""A mill's first steps: its folder, its records, and what it already has in other files.

Rooms
-----
starter       the library that comes with the package
writing       new records as commented YAML, never over a file that is there
mill          ``new mill``
records       ``new charge``, ``lot``, ``species``, ``schedule``, ``kiln``
kinds         every kind of ``new``, registered once
this_mill     the mill folder a command means when none is named
tables        sheets of .csv and .xlsx files as text cells
log_columns   what each column of a logger's export could be, by name, unit, range and physics
logs          how an export is read: proposed, decided, tried
import_log    ``import log``
sheets        ``import weighings``, ``boards``, ``survey``
merging       what a sheet brings beside what a record holds
nearby        what one charge rests on, read without the rest of the mill
record_text   a record edited as text: comments and order stay
record_file   records checked, replaced in one step, and the change undone
entry         a day's work: commands, entry files, what becomes of them
copying       a book's schedule copied into one of the mill's own
hand_over     entries handed over through the preview, and by paired devices of the mill
preview       pages rebuilt as records are saved
"""
