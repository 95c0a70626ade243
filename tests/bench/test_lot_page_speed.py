"""Customer pages of lots, from their records to files, against the bare template.

KILNFOLIO_BENCH_LOTS says how many, 200 where it is absent.
"""

import os

from tests.bench.mills import make_mill

from kilnfolio.pipeline import Report, current, lot_tokens, review_folder
from kilnfolio.publish.pages import render_customer
from kilnfolio.publish.templating import environment

LOTS = int(os.environ.get("KILNFOLIO_BENCH_LOTS", "200"))


def test_lot_pages(book, tmp_path):
    mill = review_folder(make_mill(tmp_path / "mill", charges=LOTS // 10))
    tokens = current(lot_tokens(mill.folder, Report()))
    env = environment(mill.folder.mill.record, menu=())
    calls = []

    def write(folder, pages):
        for number, text in enumerate(pages):
            (tmp_path / folder / f"{number}.html").write_text(text, "utf-8")

    def ours():
        return (page.html for page in render_customer(
            mill.folder, mill.dossiers, mill.lots, env, tokens))

    class Kept:
        """Keeps what the template is given, so that it alone can be called again."""

        def get_template(self, name):
            template = env.get_template(name)

            class Noted:
                def render(self, *args, **values):
                    calls.append((template, args, values))
                    return template.render(*args, **values)

            return Noted()

    noted = [page.html for page in render_customer(
        mill.folder, mill.dossiers, mill.lots, Kept(), tokens)]
    (tmp_path / "ours").mkdir()
    (tmp_path / "bare").mkdir()
    assert len(calls) == len(tokens) == LOTS
    assert [template.render(*args, **values) for template, args, values in calls] == noted
    book.against(
        f"{LOTS:,} lot pages", lambda: write("ours", ours()), "bare template and write",
        lambda: write("bare", (template.render(*args, **values)
                               for template, args, values in calls)), 1.3)
