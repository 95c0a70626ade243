"""Sealed records and their proof: addresses of lots, seals, the ledger, bags and the audit.

Rooms
-----
tokens        unguessable addresses of lots
canonical     canonical JSON of a record, and its digest
compare       compares two records number by number
durable       files that are complete or absent after a power cut
keys          the key with which a mill seals
keyring       the public keys a mill has sealed with, and when
ledger        seals and amendments, one signed line each, chained
checking      reads a ledger and checks it
adding        adds entries, one writer at a time
seal          seals and amends charges, and tells whether they still are as sealed
lots          seals the record that a lot's customer reads, which labels refer to
recompute     reviews a sealed charge again from the sealed files
bag           one BagIt bag per charge
descriptor    the Data Package descriptor of a bag's tables
bag_readme    how each figure was computed, for a reader without kilnfolio
audit         checks all of it without trusting any of it
report        an audit in words
"""
