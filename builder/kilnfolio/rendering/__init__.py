"""What pages and PDFs share: the template environment, addresses, regional units and words.

Modules
-------
compiled    the package's templates, compiled and kept
interface   the mill's own pages in another language
languages   customers' languages: catalogues, numbers, dates
lot_state   the three states of a lot, in words
page        a finished page, with its text for search
routes      the address of each page
phrases     patterns of the words in a lot's record, for their translation
regional    units and terms of the mill's region
safety      the wording on every page and PDF
script_words  words in scripts, and their translation
seal_words  a seal's digits as words
templating  the template environment and its filters
"""
