"""Values derived from files and from each other, each computed once and only when asked for.

Words
-----
derived value   a typed function of a graph and a key, registered with `derived`. While it runs,
                the graph notes every file, value and group it reads.
table           a derived mapping whose entries are tracked separately.
inline value    computed where it is needed and cached in this process only; what it reads counts as
                read by the value that uses it.
group           names under a key, such as the charges of each kiln. Derived values join names to
                groups while they run; a value that reads a group depends only on its members.
input           a file, a folder, a list of file names, an option, or a version of the code.

A graph in memory (`memory.MemoryGraph`) computes what it is asked for; commands, the audit and
tests use it. A graph on disk (`disk.DiskGraph`) keeps values in SQLite from one build to the next;
a run (`run.Run`) brings it up to date in the order of a plan and recomputes only values that read
something that changed. A value that comes out the same as before propagates no further. Both kinds
run the same functions, so a command and a build cannot disagree.

Nothing in this package is about timber.
"""
