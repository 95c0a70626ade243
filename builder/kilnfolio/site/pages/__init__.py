"""Pages of records: a view model for each kind of page; `site.page_kinds` lists them by edition.

Modules
-------
phrases     text that several pages share
facts       values from books with their sources
findings    findings as pages print them
open_charges  records that are not yet complete
summaries   charges and lots as lines; other pages read nothing else of them
tallies     each check's outcomes over all charges and lots
rows        charges and lots as rows of the registers, and the script files of those rows
registers   pages of the registers
home, species, schedules, kilns, charges, lots, checks, sources, records, guide
            the mill edition, one module for each kind of page
customer    a lot's record for the customer
workings    how each computed number of a page was worked out
"""
