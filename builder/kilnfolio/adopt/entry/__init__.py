"""What is written down at the kiln: a round, a step, a stop, a note; by command, page or file.

Rooms
-----
entries     what can be entered, and the file a phone keeps and hands over
apply       an entry put into a charge's record: once, in order of time, conflicts named
times       times as people type them, and as records write them
messages    what a command shows before and after it writes
commands    a day's work: one command a line
take        ``take``: entry files and exports put into the records
codes       entry files handed over as QR codes
pictures    what the codes in a picture say, read in a process of its own
"""
