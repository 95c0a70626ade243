"""The order in which a build computes derived values."""

from __future__ import annotations

from dataclasses import field
from typing import Any

from kilnfolio.graph.derived import Bound, Derived, Step
from kilnfolio.graph.inputs import Index
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class Plan:
    """What a build computes, in order: a value reads only values of earlier steps.

    Attributes
    ----------
    where : str
        Where another process finds this plan, as ``package.module:NAME``.
    index : Index
        How the files of the folder are sorted into lists.
    inputs : tuple of Step
        Values that read what people wrote. If one fails, nothing of `rest` is computed.
    rest : tuple of Step
        Values computed from those.
    bound : mapping of str to callable
        Functions that replace those of inline values, by name.
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
