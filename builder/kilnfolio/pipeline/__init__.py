"""A mill folder to a site: what is made of it, in which order, and the site changed over whole.

A build looks at which files changed, computes what rests on them, and changes the site over at the
end. A build that is stopped leaves the old site as it was, and what it computed for the next one.

Rooms
-----
plan    every derived value of a site, in order
pages   the pages of the three editions as derived values
pdfs    the PDFs
bags    the bags of sealed charges
build   brings a site up to date
labels  labels for packs
"""
