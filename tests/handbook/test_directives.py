"""Directives: what they print agrees with published values, and mistakes are reported."""

import re
from pathlib import Path

import pytest
from markupsafe import Markup
from tests.handbook.chapters import DRAWING, body_of, problems_of

from kilnfolio.handbook import tables
from kilnfolio.handbook.pages import plain_words
from kilnfolio.handbook.tables import Column, Table, html
from kilnfolio.rendering.templating import status

PROBLEM = """::: problem
id: x
ask: >-
  What about {ask}?
steps:
{steps}
answer: >-
  {answer}.
:::
"""

#: The practice problems of the handbook: steps, and the answers worked out by hand beforehand.
#: 4 and 12: common practice; 5 and 6: psychrometer and Wood Handbook eq. 4-5; 7: Wood Handbook
#: 2010, p. 13-3; 8: Wengert; 9 and 10: normal and binomial tables; 11: ISPM 15.
ANSWERS = [
    (
        "- {let: a, compute: moisture_content, mass: 214.6 g, oven_dry_mass: 121.5 g}\n"
        "- {let: b, compute: moisture_content, mass: 198.3 g, oven_dry_mass: 113.6 g}\n"
        "- {let: m, compute: mean, of: [a, b]}",
        "{a} {b} {m}",
        "76.6 % 74.6 % 75.6 %",
    ),
    (
        "- {let: d, compute: oven_dry_mass, mass: 4.862 kg, mc: 75.6 %}\n"
        "- {let: a, compute: moisture_content, mass: 3.978 kg, oven_dry_mass: 2.769 kg}\n"
        "- {let: b, compute: moisture_content, mass: 3.402 kg, oven_dry_mass: 2.769 kg}",
        "{d} {a} {b}",
        "2.769 kg 43.7 % 22.9 %",
    ),
    (
        "- {let: c, compute: controlling_moisture_content, "
        "of: [62.4 %, 58.1 %, 55.0 %, 51.7 %, 49.9 %, 46.2 %]}\n"
        "- {let: m, compute: mean, of: [62.4 %, 58.1 %, 55.0 %, 51.7 %, 49.9 %, 46.2 %]}",
        "{c} {m}",
        "58.5 % 53.9 %",
    ),
    (
        "- {let: r, compute: drying_rate, mc_from: 43.7 %, mc_to: 41.0 %, time: 18 h}",
        "{r}",
        "3.6 points/day",
    ),
    (
        "- {let: h, compute: relative_humidity, dry_bulb: 60 °C, wet_bulb: 50 °C}\n"
        "- {let: e, compute: equilibrium_moisture_content, temperature: 60 °C, "
        "relative_humidity: h}",
        "{h} {e}",
        "58.6 % 8.9 %",
    ),
    (
        "- {let: s, compute: emc_from_bulbs, dry_bulb: 43.3 °C, wet_bulb: 41.6 °C}\n"
        "- {let: t, compute: emc_from_bulbs, dry_bulb: 43.3 °C, wet_bulb: 41.1 °C}",
        "{s} {t}",
        "19.2 % 17.7 %",
    ),
    (
        "- {let: m, compute: meter_temperature_correction, reading: 14.0 %, "
        "wood_temperature: 45 °C, calibration_temperature: 20 °C}",
        "{m}",
        "11.8 %",
    ),
    (
        "- {let: s, compute: equalizing_start, target: 8 %}\n"
        "- {let: e, compute: equalizing_emc, target: 8 %}",
        "{s} {e} {s.target}",
        "6.0 % 6.0 % 8 %",
    ),
    (
        "- {let: i, compute: confidence_interval, mean: 12.2 %, sd: 0.86 %, readings: 30, "
        "confidence: 95 %}\n- {let: s, compute: share_shown, readings: 30, failures: 0, "
        "confidence: 95 %}",
        "{i} {s}",
        "11.9 % to 12.5 % 90.5 %",
    ),
    (
        "- {let: m, compute: mean_for_share_below, limit: 19 %, sd: 3.0 %, share: 95 %}",
        "{m}",
        "14.1 %",
    ),
    (
        "- {let: r, compute: longest_run_above, interval: 5 min, temperatures: [55.2 °C, 56.1 °C, "
        "56.4 °C, 56.8 °C, 56.9 °C, 55.9 °C, 56.3 °C], threshold: 56 °C}",
        "{r}",
        "15 min",
    ),
    (
        "- {let: w, compute: water_removed, volume: 1 m³, basic_density: 560 kg/m³, mc_from: 60 %, "
        "mc_to: 10 %}",
        "{w}",
        "280 kg (617 lb)",
    ),
]


def problem(steps, ask="it", answer="nothing"):
    indented = "\n".join("  " + line for line in steps.splitlines())
    return PROBLEM.replace("{steps}", indented).replace("{ask}", ask).replace("{answer}", answer)


@pytest.mark.parametrize(("steps", "asked", "said"), ANSWERS)
def test_a_practice_problem_prints_the_answer_worked_out_by_hand(tmp_path, steps, asked, said):
    body = body_of(tmp_path, problem(steps, answer=asked))
    (answer,) = body.answers
    assert plain_words(answer.html).replace("\u00a0", " ").startswith(said + ".")
    # On the page the answer is folded away.
    assert re.search(
        r"<details><summary>Answer</summary>.*" + re.escape(said.split()[0]),
        str(body.html),
        re.DOTALL,
    )


def test_arguments_are_quoted_as_entered(tmp_path):
    steps = "- {let: rh, compute: relative_humidity, dry_bulb: 110 °F, wet_bulb: 41.1 °C}"
    body = body_of(tmp_path, problem(steps, ask="{rh.dry_bulb} and {rh.wet_bulb}"))
    assert "43.3 °C (110 °F) and 41.1 °C (106.0 °F)" in plain_words(body.html).replace(
        "\u00a0", " "
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            problem("- {let: a, compute: moisture_contnt, mass: 1 g, oven_dry_mass: 1 g}"),
            "01-small.md:15:23: compute 'moisture_contnt': there is no formula of this name. "
            "Did you mean 'moisture_content'?",
        ),
        (
            problem("- {let: a, compute: moisture_content, mas: 1 g, oven_dry_mass: 1 g}"),
            "01-small.md:15:41: the argument 'mas': moisture_content takes mass, oven_dry_mass. "
            "Did you mean 'mass'?",
        ),
        (
            problem("- {let: a, compute: moisture_content, mass: 1 mm, oven_dry_mass: 1 g}"),
            "01-small.md:15:47: mass '1 mm': has the unit 'mm'",
        ),
        (
            problem("- {let: a, compute: moisture_content, mass: 1 g}"),
            "01-small.md:15:5: moisture_content needs 'oven_dry_mass'",
        ),
        (
            problem("- {let: a, compute: moisture_content, mass: 1 g, oven_dry_mass: 0 g}"),
            "01-small.md:15:5: moisture_content cannot be computed: oven_dry_mass must lie above 0",
        ),
        (problem("- {let: a, compute: wet_basis, mc: b}"), "mc 'b'"),
        (
            problem("- {let: a, compute: wet_basis, mc: 20 %}", answer="{b}"),
            "01-small.md:16:9: the placeholder {b}: no step gives it. Known here: a, a.mc",
        ),
        (
            "::: problem\nid: x\nask: y\nanswr: z\nsteps: []\nanswer: z\n:::\n",
            "01-small.md:13:1: the key 'answr' is not known here",
        ),
        ("::: example\ntitle: x\nsay: [\n:::\n", "01-small.md:1"),
        (
            "::: table\nkind: emc-by-bulb\ncaption: x\n:::\n",
            "01-small.md:11:7: kind 'emc-by-bulb': there is no table of this kind. "
            "Did you mean 'emc-by-bulbs'?",
        ),
        (
            "::: table\nkind: emc-by-bulbs\ncaption: x\ndry_bulb: [40 m]\ndepression: [2 K]\n:::\n",
            "01-small.md:13:12: dry_bulb, item 1 '40 m': has the unit 'm'",
        ),
        (
            "::: figure\nname: nothere\ncaption: x\nalt: y\n:::\n",
            "01-small.md:11:7: name 'nothere': there is no drawing "
            "content/handbook/figures/nothere.svg",
        ),
        ("::: figure\nname: nothere\ncaption: x\n:::\n", "the key 'alt' is missing"),
        ("::: chart\nkind: emv\ncaption: x\nalt: y\n:::\n", "01-small.md:11:7: kind 'emv'"),
    ],
)
def test_a_mistake_in_a_directive_is_reported_at_its_place(tmp_path, text, said):
    problems = problems_of(tmp_path, text)
    assert any(said in one for one in problems), problems


def test_two_problems_may_not_share_an_id(tmp_path):
    steps = "- {let: a, compute: wet_basis, mc: 20 %}"
    (said,) = problems_of(tmp_path, problem(steps) + "\n" + problem(steps))
    assert "'x': this chapter has it already" in said


def test_a_figure_is_numbered_and_described(tmp_path):
    body = body_of(
        tmp_path,
        "::: figure\nname: air\ncaption: >-\n  Air {q: 25 mm} up.\nalt: It rises.\n:::\n",
        **{"figures/air.svg": DRAWING},
    )
    assert '<figure class="drawing" id="fig-air">' in body.html
    assert "Figure 1.1. Air 25 mm (0.98 in) up." in plain_words(body.html).replace("\u00a0", " ")
    assert "It rises." in body.html


# --- tables ------------------------------------------------------------------------------


def cells(body):
    """Return a table's body rows as words."""
    rows = re.findall(r"<tr>(.*?)</tr>", str(body.html).partition("<tbody>")[2], re.DOTALL)
    return [
        [
            plain_words(cell).replace("\u00a0", " ")
            for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)
        ]
        for row in rows
    ]


def test_emc_by_humidity_agrees_with_the_published_table(tmp_path):
    """Wood Handbook FPL-GTR-190, Table 4-2 (read): row 70 °F, which is 21.1 °C.

    The handbook prints 4.5, 7.7, 11.0, 16.0 and 20.5 % at 20, 40, 60, 80 and 90 % RH.
    """
    body = body_of(
        tmp_path,
        "::: table\nkind: emc-by-humidity\ntemperature: [70 °F]\n"
        "relative_humidity: [20 %, 40 %, 60 %, 80 %, 90 %]\ncaption: x\n:::\n",
    )
    (row,) = cells(body)
    assert row[0] == "21.1 °C 70 °F"
    for shown, printed in zip(row[1:], (4.5, 7.7, 11.0, 16.0, 20.5), strict=True):
        assert float(shown) == pytest.approx(printed, abs=0.11)


def test_humidity_by_bulbs_agrees_with_psychrolib(tmp_path):
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    body = body_of(
        tmp_path,
        "::: table\nkind: humidity-by-bulbs\ndry_bulb: [40 °C, 60 °C, 80 °C]\n"
        "depression: [2 K, 5 K, 10 K, 20 K]\ncaption: x\n:::\n",
    )
    for dry, row in zip((40, 60, 80), cells(body), strict=True):
        for depression, shown in zip((2, 5, 10, 20), row[1:], strict=True):
            library = 100 * psychrolib.GetRelHumFromTWetBulb(dry, dry - depression, 101325.0)
            # Ventilated and thermodynamic wet bulb differ by under a point here.
            assert float(shown) == pytest.approx(library, abs=1.2)


def test_impossible_air_is_printed_as_a_dash(tmp_path):
    body = body_of(
        tmp_path,
        "::: table\nkind: emc-by-bulbs\ndry_bulb: [30 °C]\n"
        "depression: [2 K, 25 K]\ncaption: x\n:::\n",
    )
    assert cells(body)[0][2] == "–"


def test_set_points_give_back_their_emc(tmp_path):
    """The wet bulb of the table, put into psychrolib and the handbook's equation by hand."""
    from kilnfolio.physics import air, sorption

    body = body_of(
        tmp_path,
        "::: table\nkind: set-points-for-emc\nemc: [6 %, 12 %]\n"
        "dry_bulb: [60 °C, 70 °C]\ncaption: x\n:::\n",
    )
    for wanted, row in zip((6, 12), cells(body), strict=True):
        for dry, cell in zip((60, 70), row[1:], strict=True):
            celsius, fahrenheit = map(float, cell.split())
            emc = sorption.equilibrium_moisture_content(dry, air.relative_humidity(dry, celsius))
            assert emc == pytest.approx(wanted, abs=0.05)
            assert fahrenheit == pytest.approx(celsius * 1.8 + 32, abs=0.6)


def test_the_table_of_readings_for_a_share_is_right(tmp_path):
    """45 random readings without failure show 93.5 % at 95 % confidence: ln 0.05 / ln 0.935."""
    body = body_of(
        tmp_path,
        "::: table\nkind: readings-for-share\nshare: [93.5 %]\n"
        "confidence: [95 %]\ncaption: x\n:::\n",
    )
    assert cells(body) == [["at least 93.5 %", "45"]]


def test_pressure_by_altitude_is_the_standard_atmosphere(tmp_path):
    """ICAO Doc 7488: 101.325 kPa at 0 m, 89.875 kPa at 1000 m."""
    body = body_of(
        tmp_path,
        "::: table\nkind: pressure-by-altitude\naltitude: [0 m, 1000 m]\ncaption: x\n:::\n",
    )
    (_, _, low, _), (_, feet, high, mercury) = cells(body)
    assert (float(low), float(high)) == pytest.approx((101.325, 89.875), abs=0.006)
    assert float(feet) == pytest.approx(3281, abs=1)
    assert float(mercury) == pytest.approx(26.54, abs=0.01)


def test_a_status_that_all_rows_share_stands_once_below_the_table_with_the_way_to_sign_it_off():
    def shown(*words: str) -> str:
        rows = tuple((f"wood {n}", Markup("a ") + status(word)) for n, word in enumerate(words))
        table = Table(
            (Column("Wood", text=True), Column("Source", text=True)), rows, "From a book."
        )
        return str(html(table, "1.1", "table-1-1", Markup("x")))

    memory = "status-memory"
    assert shown("memory", "memory", "memory").count(memory) == 1
    assert "signed_off:" in shown("memory", "memory", "memory")
    assert shown("read", "read", "read").count("status-read") == 1
    assert "signed_off:" not in shown("read", "read", "read")
    assert shown("memory", "read", "memory").count(memory) == 2
    assert shown("memory", "memory").count(memory) == 2, "two rows say it themselves"


def test_tables_of_species_show_source_and_status(tmp_path):
    body = body_of(tmp_path, "::: table\nkind: safe-rates\ncaption: x\n:::\n")
    (row,) = cells(body)
    assert row[:3] == ["Northern red oak", "25 mm (4/4)", "3.8"]
    assert "from memory" in row[3]
    letter = row[3].split(",")[0].split()[0]
    # the letter refers to the publication and the place in it, named once below the table
    assert re.search(rf"{letter}: \(Wengert, extension articles", plain_words(str(body.html)))


def test_every_kind_of_table_that_a_chapter_uses_exists():
    chapters = Path(__file__).resolve().parents[2] / "content" / "handbook"
    used = set()
    for path in chapters.glob("*.md"):
        used |= set(re.findall(r"^::: table\nkind: ([\w-]+)", path.read_text(), re.MULTILINE))
    assert used
    assert used <= set(tables.kinds())
