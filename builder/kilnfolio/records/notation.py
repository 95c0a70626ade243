"""Schedule notations: a code such as T4-D2 and the tables that expand it into steps.

The dry-bulb code gives a temperature for each range of MC; the letter of the second code gives
the MC ranges and its digit the depressions. Both sets of breakpoints are merged: a step begins
wherever either table changes.
"""

from __future__ import annotations

import re
from typing import Literal, Self

from pydantic import model_validator

from kilnfolio.records.model import Name, Record, Text, record_error
from kilnfolio.records.quantities import Percent, Temperature, TemperatureDifference
from kilnfolio.records.schedule import Step
from kilnfolio.records.sourced import Known

CODE = re.compile(r"(T\d{1,2})-([A-F])([1-8])")


class DryBulbStage(Record):
    """A dry bulb from one MC downward."""

    from_mc: Percent | Literal["green"]
    """The MC at which the stage begins."""
    dry_bulb: Temperature
    """Its dry bulb."""


class Notation(Known):
    """``schedules/notations/ID.yaml``: one notation and its tables."""

    format: Literal[1]
    """The record format."""
    id: Name
    """The notation's id; its file is named the same."""
    title: Text
    """What the notation is."""
    dry_bulb: dict[Name, list[DryBulbStage]]
    """The stages of each code, by falling MC."""
    mc_classes: dict[Name, list[Percent | Literal["green"]]]
    """The MC at which each depression stage begins, by letter."""
    depressions: dict[Name, list[TemperatureDifference]]
    """The depression of each stage, by digit."""
    notes: Text | None = None
    """How far the tables may be trusted."""

    @model_validator(mode="after")
    def _every_stage_from_green_down(self) -> Self:
        rows = {code: [stage.from_mc for stage in stages] for code, stages in self.dry_bulb.items()}
        for code, starts in {**rows, **self.mc_classes}.items():
            begin = [_start(mc) for mc in starts]
            if not begin or begin[0] < float("inf") or begin != sorted(set(begin), reverse=True):
                raise record_error(
                    code,
                    "its stages must begin at green and fall from there",
                    "Begin the row with 'green', then put the MCs in falling order",
                )
        empty = next((digit for digit, row in self.depressions.items() if not row), None)
        if empty is not None:
            raise record_error(empty, "the row holds no depressions", "Add one for each stage")
        return self


def expand(code: str, notation: Notation) -> tuple[Step, ...]:
    """Return the steps of a notation code.

    Parameters
    ----------
    code : str
        The code, as in ``T4-D2``.
    notation : Notation
        The notation with its tables.

    Returns
    -------
    tuple of Step
        The steps from green to final; each begins where either table changes.

    Raises
    ------
    ValueError
        The code does not belong to this notation, or names a row that the tables lack.
    """
    match = CODE.fullmatch(code)
    if (
        not match
        or match[1] not in notation.dry_bulb
        or match[2] not in notation.mc_classes
        or match[3] not in notation.depressions
    ):
        raise ValueError(
            f"{code!r} is not a code of the notation {notation.id!r}: "
            "a code is T1 to T14, a letter A to F and a digit 1 to 8, as in T4-D2"
        )
    stages = notation.dry_bulb[match[1]]
    starts = notation.mc_classes[match[2]]
    depressions = notation.depressions[match[3]]
    begin = sorted(
        {_start(stage.from_mc) for stage in stages} | {_start(mc) for mc in starts}, reverse=True
    )
    steps: list[Step] = []
    last_air: tuple[float, float] | None = None
    for start, end in zip(begin, [*begin[1:], None], strict=True):
        stage = [stage for stage in stages if _start(stage.from_mc) >= start][-1]
        depression = [
            kelvin for mc, kelvin in zip(starts, depressions, strict=False) if _start(mc) >= start
        ][-1]
        air = (stage.dry_bulb.value, depression.value)
        if air == last_air:
            steps.pop()  # the air does not change: one step, not two
        last_air = air
        until = "final" if end is None else Percent(end, f"{end:g} %")
        steps.append(Step(dry_bulb=stage.dry_bulb, depression=depression, until_mc=until))
    return tuple(steps)


def _start(mc: Percent | str) -> float:
    return float("inf") if isinstance(mc, str) else mc.value
