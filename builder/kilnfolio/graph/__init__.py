"""Values derived from files and from each other, each computed once and only when asked for.

Words
-----
derived value   a typed function of a graph and a key, registered with `derived`. While it runs,
                the graph notes every file, value and group it reads.
table           a derived mapping whose entries are tracked one by one.
inline value    computed where it is needed and kept in the process only; what it reads counts as
                read by whoever asked for it.
group           names under a key, such as the charges of each kiln. Derived values join names to
                groups while they run; whoever reads a group depends on its members alone.
input           a file, a folder of files, a list of file names, an option, a version of the code.

A graph in memory (`memory.MemoryGraph`) computes what it is asked for: it serves commands, the
audit and tests. A graph on disk (`disk.DiskGraph`) keeps values in SQLite from one build to the
next; a run (`run.Run`) brings it up to date in the order of a plan and computes only what read
something that changed. A value that comes out as before stops the change there. Both run the same
functions, so that a command and a build cannot disagree.

This package knows nothing of timber.
"""
