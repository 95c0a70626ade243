"""A build that makes again only what something it was made from has changed.

Words
-----
cell    a named value: a record, a review, what other pages print of a charge. It has a digest.
task    makes some cells, puts some names into groups, and writes some files of the site. While it
        runs, every cell and group it reads is noted; when one of them changes, it is run again.
group   names that belong together, as the charges of a kiln.
kind    tasks that do the same for different things. Kinds have an order, and a task reads only
        what kinds before its own have made.

What a task reads is noted as it happens and never declared, so that a page cannot forget a
dependency. A task that is run again and makes what it made before stops the change there.

Modules
-------
tasks     what a site is made of: every kind of task, in order
store     what every task made and read, in one SQLite file beside the site
inputs    the mill's files, and which of them changed
shelves   the mill's records and reviews, as the pages know them, noting who reads what
engine    runs what is stale, in the order of the kinds, in this process or in several
tree      the site as it is served, and its twin that the next build works on
"""
