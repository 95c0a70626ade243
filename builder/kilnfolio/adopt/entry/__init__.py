"""Entries made at the kiln (a round, a step, a stop, a note), by command, page or file.

Rooms
-----
entries     kinds of entry, and the entry file that a phone keeps and hands over
apply       an entry put into a charge's record: only once, in order of time
times       times as people type them and as records hold them
doubts      what looks wrong in a step, a stage or the end of a charge
messages    what a command prints before and after it writes
commands    the steps that all these commands share
take        the command ``take``: entry files and exports put into the records
codes       entry files handed over as QR codes
pictures    the codes in a picture, read in a separate process
answering   the command ``answer``
correcting  the command ``correct``
signing     the command ``sign``
"""
