"""How the program runs: workers, progress, errors, the version of its code. It knows no timber.

Modules
-------
workers       processes that share the work, on this machine or on a Dask cluster
orphans       keeps worker processes quiet whose parent has died
progress      how far a long run is
errors        why a build or a seal stops
code_version  what of the program decides the bytes of a site
"""
