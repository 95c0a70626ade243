"""The site: view models, templates, assets and search of every edition.

Modules
-------
pages/      a view model for each kind of page
editions    who may see what, and the guard that keeps to it
lot_record  a lot's record as data
seals       how a sealed record stands, as pages print it
search      the search index
series      the recomputed series of a charge as CSV
static      style sheets, fonts and scripts of an edition
serving     how the customer edition is served, and a comparison with what was built
qr          QR codes
templates/, assets/
"""
