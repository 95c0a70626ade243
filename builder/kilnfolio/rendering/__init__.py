"""What every page and PDF is made with: templates' surroundings, addresses, wording of the region.

Modules
-------
languages   what customers read in other languages: catalogues, numbers, dates
lot_state   the three states of a lot, in words
page        a finished page, and what search needs to know of it
routes      where each page stands in the site
phrases     a lot's record as patterns, by which its words are said in another language
regional    units and terms in the order and words of the mill's region
safety      the wording on every page and PDF
seal_words  a seal's digits as words
templating  the template environment and its filters
"""
