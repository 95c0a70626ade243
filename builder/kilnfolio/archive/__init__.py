"""What is kept and proved: unguessable addresses of lots, seals, the ledger, bags, the audit.

Rooms
-----
tokens        addresses of lots that cannot be guessed
canonical     one way to write a record as bytes, and its digest
compare       two records number by number, each difference named
durable       files that are whole or absent after a power cut
keys          the key a mill seals with
keyring       the public keys a mill has sealed with, and when
ledger        seals and amendments, one signed line each, chained
adding        entries added, one writer at a time
seal          a charge sealed, amended, and whether it still is as sealed
lots          the record a lot's customer reads, sealed: what a label binds
recompute     a sealed charge reviewed again from the files it was sealed on
bag           one BagIt bag a charge
descriptor    the Data Package descriptor of a bag's tables
bag_readme    how each figure was computed, for a reader without kilnfolio
audit         all of it checked, by somebody who trusts none of it
report        an audit in words
"""
