"""GTINs and their check digit, by the examples of the GS1 General Specifications (from memory)."""

import pytest
from tests.minimal import minimal_mill
from tests.records.refusal import refused

from kilnfolio.records.checking import checked_mill
from kilnfolio.records.gs1 import batch_path, batch_uri, check_digit


@pytest.mark.parametrize(
    "number",
    [
        "6291041500213",  # section 7.9: a GTIN-13
        "376104250021234569",  # the same: an SSCC
        "09521234543213",  # the GTIN of the examples of GS1 Digital Link
    ],
)
def test_the_check_digit_completes_the_published_numbers(number):
    assert check_digit(number[:-1]) == int(number[-1])


def test_every_single_wrong_digit_is_found():
    """What the check digit is for; two neighbours that changed places are found unless they differ
    by 5 (the weights are 3 and 1)."""
    good = "9521234543213"
    for place, digit in enumerate(good[:-1]):
        for other in "0123456789":
            bad = good[:place] + other + good[place + 1 : -1]
            assert (check_digit(bad) == int(good[-1])) == (other == digit)


def test_a_batch_has_the_path_of_the_standard():
    # GS1 Digital Link: (01) GTIN in 14 digits, (10) batch or lot (from memory)
    assert batch_path("9521234543213", "L-26-014") == "01/09521234543213/10/L-26-014"
    assert batch_uri("9521234543213", "L1") == "https://id.gs1.org/01/09521234543213/10/L1"


@pytest.mark.parametrize(
    ("written", "why"),
    [
        ("9521234543214", "would have to be 3"),
        ("952123454321", "would have to be"),
        ("12a", "8, 12"),
    ],
)
def test_a_wrong_gtin_is_refused_at_its_line(tmp_path, written, why):
    minimal_mill(tmp_path, lot={"gtin": written})
    [problem] = refused(checked_mill, tmp_path)
    assert "content/lots/L1.yaml:" in problem
    assert why in problem
