"""How the program runs: workers, progress, errors, code version. It knows nothing of timber.

Modules
-------
workers       processes that share the work, on this machine or on a Dask cluster
quiet_workers silences workers whose parent process has died
progress      progress of a long run
errors        errors that stop a build or a seal
code_version  the version of the code that decides the bytes of a site
"""
