"""The order in which a build computes derived values."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from kilnfolio.graph.derived import Bound, Derived, Step
from kilnfolio.graph.inputs import Index


@dataclass(frozen=True)
class Plan:
    """What a build computes, in order: a value reads only what steps before its own compute.

    Attributes
    ----------
    where : str
        The module and name this plan is found by in another process, as ``package.module:NAME``.
    index : Index
        How the files of the folder are sorted.
    inputs : tuple of Step
        Values that read what people wrote. Where one fails, nothing after them is computed.
    rest : tuple of Step
        What is made of those.
    bound : mapping of str to callable
        Functions that stand in for those of inline values.
    """

    where: str
    index: Index
    inputs: tuple[Step, ...]
    rest: tuple[Step, ...]
    bound: Bound = field(default_factory=dict)

    @property
    def values(self) -> dict[str, Derived[Any]]:
        """Return every value by name."""
        return {value.name: value for step in (*self.inputs, *self.rest) for value in step}
