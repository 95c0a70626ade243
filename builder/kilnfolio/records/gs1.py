"""Numbers of GS1: the check digit of a GTIN, and the path and URI of a batch.

References
----------
.. [1] GS1 General Specifications, section 7.9, Check digit calculations (from memory).
.. [2] GS1 Digital Link Standard: URI syntax, with (01) GTIN and (10) batch or lot (from memory).
"""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, WithJsonSchema

from kilnfolio.records.model import record_error

#: Lengths of a GTIN.
_LENGTHS = (8, 12, 13, 14)


def check_digit(digits: str) -> int:
    """Return the check digit that completes a number of GS1 [1]_.

    Parameters
    ----------
    digits : str
        The digits before it.
    """
    if not (digits.isascii() and digits.isdigit()):
        raise ValueError(f"digits must be digits only; they are {digits!r}")
    total = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(reversed(digits)))
    return -total % 10


def _gtin(text: str) -> str:
    digits = text.replace(" ", "")
    if not (digits.isascii() and digits.isdigit()) or len(digits) not in _LENGTHS:
        raise record_error(
            text,
            "a GTIN has 8, 12, 13 or 14 digits",
            "Write it in quotes, with all its digits, as under the bar code",
        )
    right = check_digit(digits[:-1])
    if int(digits[-1]) != right:
        raise record_error(
            text,
            f"its last digit would have to be {right}: a digit is wrong, or two changed places",
            "Compare it with the number under the bar code",
        )
    return digits


#: A GTIN as the mill was given it, in digits alone.
Gtin = Annotated[
    str,
    AfterValidator(_gtin),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": r"^ *([0-9] *){8}(([0-9] *){4}([0-9] *){0,2})?$",
            "description": "8, 12, 13 or 14 digits, the last of which checks the others",
        }
    ),
]

#: Where GS1's own resolver would look a batch up; identifies it, whoever publishes the page.
_GS1_ID = "https://id.gs1.org/"


def batch_path(gtin: str, lot: str) -> str:
    """Return the path of a batch by GS1 Digital Link [2]_, without slashes around it.

    Parameters
    ----------
    gtin : str
        The product's GTIN; the path has it in 14 digits.
    lot : str
        The lot's number.
    """
    return f"01/{gtin.zfill(14)}/10/{lot}"


def batch_uri(gtin: str, lot: str) -> str:
    """Return the URI that identifies a batch; see `batch_path`."""
    return _GS1_ID + batch_path(gtin, lot)
