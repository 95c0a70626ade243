"""Practice problems in a browser: new numbers each time, with the hints and answers Python works out."""

import re

from playwright.sync_api import expect
from tests.browser.kinds import addresses
from tests.reviewed import demo_mill

from kilnfolio.rendering.regional import regional_format
from kilnfolio.review.limits import LimitTable
from kilnfolio.training.kinds import by_topic
from kilnfolio.training.problem import KINDS, make_problem

FIRST = next(iter(by_topic().values()))[0]


def worked(seed: int) -> tuple[str, str]:
    """Return the first problem's question and its answer in words, as Python works them out."""
    mill = demo_mill()
    regional = regional_format(mill.mill.record)
    problem = make_problem(FIRST, seed, LimitTable(mill.limits.record), regional)
    return words(problem.ask), words(problem.answer)


def words(html: str) -> str:
    return "".join(re.sub(r"<[^>]+>", "", str(html)).replace("&#39;", "'").split())


def shown(page) -> tuple[str, str]:
    problem = page.locator(f"#{FIRST.slug}")
    return (
        "".join(problem.locator(".asked").text_content().split()),
        "".join(problem.locator(".worked").text_content().split()),
    )


def test_new_numbers_are_others_each_time_and_are_those_of_python(page, demo_site):
    page.goto(addresses(demo_site)["practice"])
    problem = page.locator(f"#{FIRST.slug}")
    seen = [shown(page)]
    for _ in range(20):
        problem.get_by_role("button", name="New numbers").click()
        seen.append(shown(page))
        number = int(problem.locator(".set").text_content())
        assert seen[-1] == worked(number - 1)
    assert len(set(seen)) == 21


def test_a_typed_answer_is_judged_by_the_new_numbers(page, demo_site):
    """From the question as printed: 100 × (green − dry) ÷ dry, and the wet basis instead."""
    page.goto(addresses(demo_site)["practice"])
    problem = page.locator(f"#{FIRST.slug}")
    for _ in range(3):
        problem.get_by_role("button", name="New numbers").click()
        asked = problem.locator(".asked").text_content()
        green, dry = (float(one) for one in re.findall(r"([\d.]+)\s*g\b", asked))
        for value, said in (
            (100 * (green - dry) / green, "wet basis"),
            (100 * (green - dry) / dry, "Right."),
        ):
            problem.get_by_role("textbox").fill(f"{value:.1f} %")
            problem.get_by_role("button", name="Check my answer").click()
            expect(problem.locator(".said")).to_contain_text(said)


def test_a_bare_figure_is_in_the_unit_of_the_question(page, demo_site):
    """The demonstration asks in °F and grams: 125.6 is °F, 52.0 °C says so, 3,466 g are 3466 g."""
    page.goto(addresses(demo_site)["practice"])

    def answer(problem: str, typed: str) -> str:
        box = page.locator(f"#{problem}")
        box.get_by_role("textbox").fill(typed)
        box.get_by_role("button", name="Check my answer").click()
        return box.locator(".said").text_content()

    celsius = page.evaluate(
        """() => {
          const [asked] = window.practiceShown("wet-bulb-to-set").typed;
          return (asked.value - 32) / 1.8;
        }"""
    )
    for typed in (
        f"{celsius * 1.8 + 32:.1f}",
        f"{celsius:.1f} °C",
        f"{celsius:.1f} deg C",
        f"{celsius * 1.8 + 32:.1f} F",
        f"{celsius * 1.8 + 32:.1f} °",
    ):
        assert answer("wet-bulb-to-set", typed) == "Right.", typed
    assert "That is in °C" in answer("wet-bulb-to-set", f"{celsius:.1f}")

    asked = page.locator("#mass-when-due .asked").text_content()
    mc, dry = (float(one) for one in re.findall(r"([\d.]+)\s*(?:%|g\b)", asked))
    grams = dry * (1 + mc / 100)
    for typed in (
        f"{grams:,.0f} g",
        f"{grams / 1000:.3f} kg",
        f"{grams / 1000:.3f} kg".replace(".", ","),
    ):
        assert answer("mass-when-due", typed) == "Right.", typed
    assert answer("mass-when-due", f"{dry:,.0f} g") != "Right."


def test_answers_stay_folded_until_opened_and_after_new_numbers(page, demo_site):
    page.goto(addresses(demo_site)["practice"] + "?answers=open")
    problem = page.locator(f"#{FIRST.slug}")
    answer = problem.locator(".worked")
    expect(answer).to_be_hidden()
    problem.get_by_text("Hint", exact=True).click()
    assert problem.locator("details").first.inner_text().count("\n") >= 1
    problem.get_by_text("Answer", exact=True).click()
    expect(answer).to_be_visible()
    problem.get_by_role("button", name="New numbers").click()
    expect(answer).to_be_hidden()


def test_new_numbers_apply_to_every_problem_and_an_address_opens_a_set(page, demo_site):
    page.goto(addresses(demo_site)["practice"])
    before = page.locator(".asked").all_text_contents()
    page.get_by_role("button", name="New numbers everywhere").click()
    after = page.locator(".asked").all_text_contents()
    assert len(before) == len(KINDS)
    assert all(old != new for old, new in zip(before, after, strict=True))
    page.goto(addresses(demo_site)["practice"] + "?set=3")
    assert shown(page) == worked(2)


def test_without_script_the_first_set_is_shown_and_no_dead_button(browser, demo_site):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(addresses(demo_site)["practice"])
    assert shown(page) == worked(0)
    expect(page.get_by_role("button", name="New numbers everywhere")).to_have_count(0)
    context.close()
