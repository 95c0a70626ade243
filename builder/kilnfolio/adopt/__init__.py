"""A mill's first steps: its folder, its records, and what it already has in other files.

Rooms
-----
starter       the library that comes with the package
writing       records as commented YAML, never over a file that is there
mill          ``new mill``
records       ``new charge``, ``lot``, ``species``, ``schedule``, ``kiln``
kinds         every kind of ``new``, registered once
tables        sheets of .csv and .xlsx files as text cells
log_columns   what each column of a logger's export could be, by name, unit, range and physics
logs          how an export is read: proposed, decided, tried
import_log    ``import log``
sheets        ``import weighings``, ``boards``, ``survey``
preview       pages rebuilt as records are saved
commands      their words on the command line
"""
