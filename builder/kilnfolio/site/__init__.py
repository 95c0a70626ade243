"""The site: view models, templates, assets and search of every edition.

Modules
-------
pages/      a view model for each kind of page
editions    who may see what, and the guard that keeps to it
lot_record  a lot's record as data
seals       the ledger's entries for a charge or lot, as pages print them
search      the search index
series      the recomputed series of a charge as CSV
static      style sheets, fonts and scripts of an edition
serving     the headers a server of the customer edition needs, and a check of a live server
qr          QR codes
templates/, assets/
"""
