"""How the program runs: workers, progress, errors, code version. Nothing here is about timber.

Modules
-------
workers       worker processes on this machine
cluster       workers on a Dask cluster
files         atomic writes, and reads with a size limit
field_docs    what each field of a model means
quiet_workers silences workers whose parent process has died
progress      progress of a long run
environment   what this computer's user has set
errors        errors that stop a build or a seal
code_version  the version of the code that determines the bytes of a site
"""
