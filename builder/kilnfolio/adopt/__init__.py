"""A mill's first steps: its folder, its records, and what it already has in other files.

Rooms
-----
starter       the library supplied with the package
writing       new records as commented YAML; existing files are never overwritten
mill          ``new mill``
records       ``new charge``, ``lot``, ``species``, ``schedule``, ``kiln``
kinds         every kind of ``new``, registered once
this_mill     the mill folder that a command uses by default
tables        sheets of .csv and .xlsx files as text cells
log_columns   what each column of a logger's export could be, by name, unit, range and physics
logs          how an export is read: proposed, decided, tried
import_log    the command ``import log``
sheets        the commands ``import weighings``, ``boards``, ``survey``, ``mc`` and ``air``
merging       a sheet merged into a record
nearby        one charge and the records it names, read without the rest of the mill
record_text   a record edited as text, keeping comments and order
record_file   records validated, replaced atomically, and changes undone
entry         daily work at the kiln: commands and entry files
copying       a copy of a published schedule as the mill's own draft
hand_over     entries handed over through the preview or by paired devices
preview       pages rebuilt whenever records are saved
"""
