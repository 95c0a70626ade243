"""Dates and identifiers in running text stand in an element of their own, which no line's end breaks.

That a browser keeps them whole is shown in ``tests/browser/test_reflow.py``.
"""

import pytest

from kilnfolio.rendering.unbroken import unbroken


@pytest.mark.parametrize(
    ("words", "whole"),
    [
        ("Charge HB-26-040 ended 2026-03-08.", ["HB-26-040", "2026-03-08"]),
        ("pack HBP-26-304-01, by ISPM-15", ["HBP-26-304-01", "ISPM-15"]),
        ("4-4 oak, 12-14 %, step-by-step, X-ray", []),
        ("content/charges/HB-26-040/charge.yaml", []),
    ],
)
def test_dates_and_identifiers_are_found(words, whole):
    page = unbroken(f"<p>{words}</p>")
    assert page.count('<span class="whole">') == len(whole)
    for one in whole:
        assert f'<span class="whole">{one}</span>' in page
    assert page.replace('<span class="whole">', "").replace("</span>", "") == f"<p>{words}</p>"


@pytest.mark.parametrize(
    "page",
    [
        '<a href="charges/HB-26-040.html" title="since 2026-03-08">it</a>',
        "<title>Charge HB-26-040</title>",
        '<script type="application/json">{"day": "2026-03-08"}</script>',
        "<option>HB-26-040</option>",
        '<svg><text x="1">2026-03-08</text></svg>',
        '<time datetime="2026-03-08">2026-03-08</time>',
        "<code>HB-26-040</code>",
    ],
)
def test_what_is_no_running_text_stays(page):
    assert unbroken(page) == page
