"""All calculators, in the order of the page and in the units and words of the mill's region."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from kilnfolio.calculators.climates import climates
from kilnfolio.calculators.form import Calculator, Choice, Field
from kilnfolio.calculators.loads import rates_and_loads
from kilnfolio.calculators.sizes import sizes
from kilnfolio.calculators.surveys import surveys
from kilnfolio.calculators.weights import weights
from kilnfolio.records.mill import Mill
from kilnfolio.rendering.amounts import restated as restate
from kilnfolio.rendering.regional import regional_format
from kilnfolio.review import figures


def calculators(mill: Mill) -> tuple[Calculator, ...]:
    """Return the calculators of a mill, in the order of the page."""
    regional = regional_format(mill)
    made = (*weights(), *climates(mill), *sizes(), *rates_and_loads(), *surveys())
    if regional.customary_first:
        made = tuple(replace(one, fields=tuple(map(_in_customary, one.fields))) for one in made)
    return tuple(
        _in_regional_words(replace(one, holds=regional.localized(one.holds)), regional.phrase)
        for one in made
    )


#: Rounding of example numbers, by US customary unit.
_ROUNDED_TO = {
    "°F": 1.0,
    "lb": 0.01,
    "oz": 0.1,
    "in": 0.125,
    "ft": 10.0,
    "lb/ft³": 1.0,
    "bf": 100.0,
}


def _in_customary(asked: Field) -> Field:
    """Return a field with its example as a round number in the US customary unit."""
    if not asked.us or figures.is_customary(
        asked.of.parse(asked.example.split()[0] + " " + asked.example.split()[-1])
    ):
        return asked
    *numbers, unit = asked.example.split()
    step = _ROUNDED_TO.get(asked.us, 0.1)
    restated = [
        restate(asked.of.parse(f"{number} {unit}"), asked.us, step).entered for number in numbers
    ]
    if any(not one.endswith(f" {asked.us}") for one in restated):
        return asked
    return replace(
        asked, example=" ".join([*(one.rpartition(" ")[0] for one in restated), asked.us])
    )


def _in_regional_words(calculator: Calculator, phrase: Callable[[str], str]) -> Calculator:
    """Return a calculator with its text in the words of the mill's region."""

    def chosen(choice: Choice) -> Choice:
        return replace(
            choice, options=tuple((value, phrase(words)) for value, words in choice.options)
        )

    timber = calculator.timber
    if timber and timber.direction:
        timber = replace(timber, direction=chosen(timber.direction))
    return replace(
        calculator,
        purpose=phrase(calculator.purpose),
        holds=phrase(calculator.holds),
        fields=tuple(replace(asked, label=phrase(asked.label)) for asked in calculator.fields),
        choices=tuple(map(chosen, calculator.choices)),
        timber=timber,
    )
