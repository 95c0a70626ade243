"""From a mill folder to a site: what is computed, in which order, and how the site is replaced.

A build finds the files that changed, computes what depends on them, and replaces the site at the
end. An interrupted build leaves the old site as it was, and its results for the next build.

Rooms
-----
plan    every derived value of a site, in order
pages   the pages of the three editions as derived values
pdfs    the PDFs
bags    the bags of sealed charges
at_rest whether there is anything to build, found out by the standard library alone
build   brings a site up to date
labels  labels for packs
"""
