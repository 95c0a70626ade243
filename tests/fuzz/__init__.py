"""Readers fed with damaged files: some hundreds on every run, more on request."""
