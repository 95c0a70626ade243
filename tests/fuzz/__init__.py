"""Readers fed with damaged files, some hundred on every run and as many as asked for on request."""
