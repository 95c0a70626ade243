"""Pages of records: a view model for each noun; `site.nouns` makes the editions of them.

Rooms
-----
phrases     text that several pages share
facts       values from books with their sources
findings    what the checks said
open_charges  records that are not yet complete
summaries   charges and lots as lines, which is all that other pages read of them
tallies     what each check said of them all
rows        charges and lots as rows of the registers, and the script files that hold them
registers   the registers' pages
home, species, schedules, kilns, charges, lots, checks, sources, records, guide
            the mill edition, a module a noun
customer    a lot's record for the customer
workings    how each computed number of a page was had
"""
