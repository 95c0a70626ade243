"""A mill's own house style: in every edition and PDF, checked for contrast, and never able to hide
what protects the reader."""

from __future__ import annotations

import re

import pytest
from tests.minimal import minimal_mill
from tests.own_house import BRAND, LOGO, own_house

from kilnfolio.records.checking import refuse_problems_of
from kilnfolio.records.folder import open_mill
from kilnfolio.records.problems import RecordProblems
from kilnfolio.rendering.contrast import TEXT, contrast, nearest
from kilnfolio.rendering.own import NOTHING
from kilnfolio.rendering.templating import render
from kilnfolio.site.context import context_of
from kilnfolio.site.house import SHEET, house, our_colours
from kilnfolio.site.house_style import FRAME, style_problems


def refused(tmp_path, files, **brand) -> str:
    """Return the problems of an invalid house style."""
    minimal_mill(tmp_path, files={**own_house(**brand), **files})
    with pytest.raises(RecordProblems) as raised:
        refuse_problems_of(open_mill(tmp_path), [(house, "")])
    return str(raised.value)


# WCAG 2.2, definition of contrast ratio: black on white is 21:1, a colour on itself 1:1; #767676 on
# white is the well-known grey at the edge of 4.5:1 (WebAIM, contrast checker), and #777777 below
# it.
@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ("#000000", "#ffffff", 21.0),
        ("#ffffff", "#ffffff", 1.0),
        ("#767676", "#ffffff", 4.54),
        ("#777777", "#ffffff", 4.48),
    ],
)
def test_contrast_is_computed_as_in_wcag(one, other, expected):
    assert contrast(one, other) == pytest.approx(expected, abs=0.005)


def test_the_nearest_shade_has_the_contrast_and_is_no_further_than_necessary():
    shade = nearest("#999999", ["#ffffff"])
    assert shade is not None
    assert contrast(shade, "#ffffff") >= TEXT
    assert contrast(shade, "#ffffff") < TEXT + 0.2
    assert nearest("#808080", ["#ffffff", "#000000", "#767676"]) is None


def test_a_mill_without_a_house_style_adds_nothing(tmp_path):
    minimal_mill(tmp_path)
    graph = open_mill(tmp_path).graph
    assert house(graph).of("customer", "en") is NOTHING
    assert not house(graph).files
    for name in ("layout.html", "withdrawn.html"):  # names a template does not know are refused
        html = render(context_of(graph, "mill").env, name, "x.html", title="x", paper=False)
        assert "assets/own" not in html
        assert 'class="own' not in html


def test_every_edition_has_the_house_style(tmp_path):
    minimal_mill(tmp_path, mill={"customer_languages": ["en", "fr"]}, files=own_house())
    graph = open_mill(tmp_path).graph
    made = house(graph)
    assert {SHEET, "assets/own/logo.svg", "assets/own/saw.svg"} <= set(made.files)
    for edition, tag in (("mill", "en"), ("auditor", "en"), ("customer", "en"), ("customer", "fr")):
        own = made.of(edition, tag)
        assert "Since 1921" in own.block("masthead", "../")
        assert 'src="../assets/own/saw.svg"' in own.block("closing", "../")
        assert ("look after your boards" in own.block("closing", "")) is (edition == "customer")
        assert "For use at Minimal Mill" in own.block("cover")
        assert not own.block("cover", "")
    # a PDF contains all it needs: nothing is fetched when it is printed
    assert not re.search(r'url\("(?!data:)', made.paper)
    assert 'src="data:' in made.of("customer", "en").block("closing")
    assert context_of(graph, "mill").env.globals["own"].sheet == SHEET


def test_a_colour_for_light_mode_is_not_used_in_dark_mode(tmp_path):
    minimal_mill(tmp_path, files=own_house(colours={"light": {"link": "#1b4f72"}}))
    sheet = house(open_mill(tmp_path).graph).files[SHEET].decode()
    dark = sheet.partition("(prefers-color-scheme: dark) { :root")[2].partition("}")[0]
    assert f"--water: {our_colours('dark')['water']};" in dark


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_colour_too_faint_is_refused_and_a_stronger_one_suggested(tmp_path, scheme):
    ground = our_colours(scheme)["paper-sunk"]
    said = refused(tmp_path, {}, colours={scheme: {"accent": "#8a8a8a"}})
    assert "content/brand.yaml:" in said
    assert "words need 4.5 to 1" in said
    shade = re.search(r"everywhere is '(#[0-9a-f]{6})'", said)
    assert shade is not None
    assert contrast(shade[1], ground) >= TEXT


def test_a_background_may_not_hide_an_outcome(tmp_path):
    # the red of a fail on a red page
    said = refused(tmp_path, {}, colours={"light": {"paper": "#95291a"}})
    assert "'#95291a'" in said


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        (
            "brand/logo.svg",
            LOGO.format("red").replace("<path", "<script>1</script><path"),
            "script",
        ),
        ("brand/logo.svg", LOGO.format("red").replace("<path", '<path onclick="x()"'), "onclick"),
        (
            "brand/logo.svg",
            LOGO.format("red").replace("<path", '<image href="https://e.example/x"/><path'),
            "fetches",
        ),
        ("brand/logo.svg", "<svg", "cannot be read as SVG"),
        ("brand/logo.svg", LOGO.replace('viewBox="0 0 120 40"', ""), "viewBox"),
        ("brand/figures.woff2", b"no font", "cannot be read as a typeface"),
        ("brand/spare.svg", LOGO, "neither content/brand.yaml nor a block"),
        ("theme/closing.html", "<p>Dry, guaranteed</p>", "'guaranteed'"),
        ("theme/closing.html", "<script>hide()</script>", "<script>"),
        ("theme/closing.html", '<p onclick="x()">a</p>', "onclick="),
        ("theme/closing.html", '<p class="outcome">pass</p>', "own-"),
        ("theme/closing.html", "</div></main><p>a</p>", "</div>"),
        ("theme/closing.html", "<p>a", "never closed"),
        ("theme/closing.html", "<p>a</p><!-- <p>", "begins a tag and never ends it"),
        ("theme/closing.html", '<img src="https://e.example/x.png" alt="">', "no such picture"),
        ("theme/closing.html", '<a href="javascript:x()">a</a>', "https://"),
        ("theme/closing.html", "{% for a in 'ab' %}{% endfor %}", "for"),
        ("theme/closing.html", "{{ mill.name.upper() }}", "call"),
        ("theme/closing.html", "{{ charges }}", "'charges' is undefined"),
        ("theme/closing.html", "{% if %}", "closing.html:1"),
    ],
)
def test_what_a_house_style_may_not_contain_is_refused(tmp_path, name, content, words):
    said = refused(tmp_path, {f"content/{name}": content})
    assert words in said
    assert f"content/{name}" in said or "content/brand.yaml:" in said


# Style that would hide, cover, move, recolour or reword a caution, an outcome, a seal or the safety
# wording.
@pytest.mark.parametrize(
    "rule",
    [
        ".deferral { display: none }",
        ".outcome-fail { color: var(--ink) }",
        ".caution { padding: 0 }",
        ".invented { border: none }",
        "#seal { margin: 0 }",
        ".label-words { padding: 0 }",
        "* { color: var(--ink) }",
        "p { margin: 0 }",
        "footer { margin: 0 }",
        "[class] { margin: 0 }",
        ":not(.own-x) { margin: 0 }",
        ".own-closing + p { margin: 0 }",
        ".own-closing ~ footer { margin: 0 }",
        ".own-closing, .deferral { margin: 0 }",
        ".own-closing:has(p) { margin: 0 }",
        "h1 { display: none }",
        "h1 { color: var(--paper) }",
        "h1 { font-size: 0 }",
        ".masthead { margin-bottom: -20rem }",
        ".masthead { padding: 900rem }",
        ".own-closing { margin-top: -20rem }",
        ".own-closing { position: fixed }",
        ".own-closing { transform: scale(40) }",
        ".own-closing { box-shadow: 0 0 0 9999px }",
        ".own-closing { color: red }",
        ".own-closing { color: var(--paper) }",
        ".own-closing { background: url(https://e.example/x) }",
        ".own-closing { padding: 1rem !important }",
        ".own-closing { --ink: #fff }",
        ".own-closing::before { content: 'pass' }",
        "@import 'x.css';",
        "@font-face { font-family: Own }",
        "@media (scripting: none) { .own-x { margin: 0 } }",
        "@layer own { .own-x { margin: 0 } }",
        ".own-closing { .deferral { margin: 0 } }",
        ".own-closing { margin: 0 } } .deferral { display: none }",
        ".own-closing { margin: 0",
    ],
)
def test_a_theme_cannot_change_what_protects_the_reader(rule):
    # the last one only lacks its closing brace, which the end of the file supplies; it harms
    # nothing
    found = list(style_problems(rule, "content/theme/theme.css"))
    assert bool(found) is (rule != ".own-closing { margin: 0")
    assert all(str(one).startswith("content/theme/theme.css:1:") for one in found)


@pytest.mark.parametrize("part", FRAME)
def test_the_frame_of_the_page_may_be_styled(part):
    css = f"{part} {{ border-bottom: 3px double var(--timber); padding: 0.5rem 1rem }}"
    assert not list(style_problems(css, "theme.css"))


def test_a_brand_is_read_like_any_other_record(tmp_path):
    said = refused(tmp_path, {"content/brand.yaml": {**BRAND, "colors": {}, "icon": "../x.svg"}})
    assert "'colors'" in said
    assert "content/brand/" in said
