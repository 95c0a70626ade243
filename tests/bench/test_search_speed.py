"""Search in Chromium, as a ratio to reading every text of the index once.

Run by name: sh builder/run test tests/bench -s
"""

import yaml
from tests.conftest import PROJECT

#: A question may cost this many plain passes over the texts of the whole index.
MOST = 5.0


def test_a_question_against_one_pass_over_the_texts(book, browser, demo_site):
    questions = [
        entry["query"]
        for entry in yaml.load(
            (PROJECT / "tests/data/search-queries.yaml").read_text("utf-8"), yaml.CSafeLoader
        )
    ]
    page = browser.new_page()
    page.goto((demo_site / "mill/index.html").as_uri())
    took = page.evaluate(
        """async questions => {
      await kilnfolioSearch.ready();
      const texts = window.KILNFOLIO_SEARCH.entries.map(entry => entry[5].toLowerCase());
      const timed = deed => {
        const begun = performance.now();
        deed();
        return performance.now() - begun;
      };
      return questions.map(question => [
        timed(() => texts.filter(text => text.includes(question.toLowerCase()))),
        timed(() => kilnfolioSearch.find(question)),
      ]);
    }""",
        questions,
    )
    page.close()
    pairs = [(max(low, 0.05) / 1000, high / 1000) for low, high in took]
    found = book.compare(
        "a question in the search", pairs, "one pass over the texts of the index", MOST
    )
    assert found.met
