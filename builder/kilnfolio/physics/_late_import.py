"""Modules that are imported when something of theirs is first used."""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.util import LazyLoader, find_spec, module_from_spec


def import_when_used(package: str, *names: str) -> None:
    """Put modules into a package that import themselves when something of theirs is first used.

    Parameters
    ----------
    package : str
        The package.
    names : str
        Names of its modules; those that are imported already, or that it does not have, are left
        as they are.
    """
    parent = import_module(package)
    for name in names:
        whole = f"{package}.{name}"
        spec = None if whole in sys.modules else find_spec(whole)
        if spec and spec.loader:
            spec.loader = LazyLoader(spec.loader)
            module = sys.modules[whole] = module_from_spec(spec)
            spec.loader.exec_module(module)
            setattr(parent, name, module)
