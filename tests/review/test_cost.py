"""What drying cost, at the mill's own prices: worked by hand, and refused where it cannot add up."""

import pytest
from tests.minimal import minimal_mill

from kilnfolio.pipeline.build import build_site
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.prices import Prices
from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.cost import Dried, cost_of

PRICES = {
    "format": 1,
    "kiln_day": "95 CAD/day",
    "handling": "22 CAD/m³",
    "timber": "650 CAD/m³",
    "interest": "7 %",
}


def mill(tmp_path, prices, **changes):
    return minimal_mill(tmp_path / "mill", files={"content/prices.yaml": prices}, **changes)


def test_a_charge_worked_by_hand():
    """By hand: 21 d x 95 = 1995; 19 600 kWh x 0.11 = 2156; 30 m³ x 22 = 660; 30 m³ x 650 = 19 500 at
    7 % for 21/365 of a year = 78.53; together 4889.53, over 30 m³ 162.98."""
    cost = cost_of(Dried(21.0, 30.0, 19_600.0), Prices.model_validate(PRICES), (0.11, "CAD"))
    assert {line.what: line.cost for line in cost.lines} == {
        "days": 1995.0,
        "energy": 2156.0,
        "handling": 660.0,
        "interest": 78.53,
    }
    assert (cost.cost, cost.per_volume, cost.missing, cost.currency) == (4889.53, 162.98, (), "CAD")


def test_what_has_no_price_is_named_and_not_counted():
    only = Prices.model_validate({"format": 1, "handling": "20 EUR/m³"})
    cost = cost_of(Dried(10.0, 25.0, 9000.0), only, None)
    assert (cost.cost, cost.per_volume, cost.currency) == (500.0, 20.0, "EUR")
    assert cost.missing == ("days", "energy", "interest")
    assert cost_of(Dried(10.0, 25.0, None), Prices(format=1), None) is None


def test_two_currencies_are_never_added():
    euros = Prices.model_validate({"format": 1, "handling": "20 EUR/m³"})
    assert cost_of(Dried(10.0, 25.0, 9000.0), euros, (0.11, "CAD")) is None


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"kiln_day": "95"}, "95 CAD/day"),
        ({"kiln_day": "95 CAD/m³"}, "95 CAD/day"),
        ({"kiln_day": "95 EUR/day"}, "EUR and CAD"),
        ({"interest": None}, "'interest' is missing"),
        ({"interest": "-1 %"}, "interest"),
        ({"degrade": "4 %"}, "degrade"),
    ],
)
def test_prices_that_cannot_be_added_are_refused(tmp_path, change, said):
    record = {key: value for key, value in (PRICES | change).items() if value is not None}
    with pytest.raises(RecordProblems) as refused:
        checked_mill(mill(tmp_path, record))
    assert said in str(refused.value)
    assert "content/prices.yaml" in str(refused.value)


def test_prices_in_another_currency_than_the_tariff_are_refused(tmp_path):
    root = mill(tmp_path, PRICES, mill=lambda record: record.update(energy_tariff="0.2 EUR/kWh"))
    with pytest.raises(RecordProblems, match="EUR"):
        checked_mill(root)


def test_the_page_of_a_charge_says_what_a_cubic_metre_cost(tmp_path):
    """By hand from the record: C1's volume and days as its page prints them."""

    def metered(charge):
        charge["energy"] = "1000 kWh"

    root = mill(
        tmp_path,
        {"format": 1, "handling": "22 CAD/m³"},
        mill=lambda record: record.update(energy_tariff="0.5 CAD/kWh"),
        charge=metered,
    )
    build_site(root, tmp_path / "site", workers=1, pdfs=False)
    page = (tmp_path / "site/mill/charges/C1.html").read_text("utf-8")
    _, _, told = page.partition('id="cost"')
    assert "Cost of a cubic metre" in told
    assert "No price, so not counted:" in told
    assert "1000\u00a0kWh × 0.5" in told
    assert 'id="cost"' not in "".join(
        path.read_text("utf-8") for path in (tmp_path / "site/auditor").rglob("*.html")
    )
