"""Customer pages of lots, from reviewed records to files, against the bare template.

The floor fills the same template with the same values, already worked out and in words, and writes
the same bytes: nobody can make these pages with less. Drawings and QR codes are given to both sides
finished; `test_drawing_speed` times them. KILNFOLIO_BENCH_LOTS says how many pages, 200 where it is
absent.
"""

import os
from collections.abc import Iterator, Mapping

from tests.bench.mills import make_mill
from tests.reviewed import Reviewed, reviewed_mill

from kilnfolio.rendering.templating import environment
from kilnfolio.site.pages import customer
from kilnfolio.site.sealed import lot_addresses

LOTS = int(os.environ.get("KILNFOLIO_BENCH_LOTS", "200"))
#: What `CustomerLot` draws when it is printed.
DRAWN = ("strip", "chart", "qr")


def test_lot_pages(book, tmp_path):
    mill = reviewed_mill(make_mill(tmp_path / "mill", charges=LOTS // 10))
    tokens = {lot: lot_addresses(mill.folder.graph, lot).live[0] for lot in mill.lots}
    env = environment(mill.folder.mill.record, menu=())
    drawn = {
        lot: {name: getattr(_view(mill, lot, token), name) for name in DRAWN}
        for lot, token in tokens.items()
    }
    pages = []

    def write(folder, pages):
        (tmp_path / folder).mkdir(exist_ok=True)
        for number, text in enumerate(pages):
            (tmp_path / folder / f"{number}.html").write_text(text, "utf-8")

    def ours():
        return _pages(mill, env, tokens, drawn)

    def bare():
        for template, values in pages:
            yield template.render(values)

    class Kept:
        """Keeps the template's arguments, so that it can be rendered again by itself."""

        def get_template(self, name):
            template = env.get_template(name)

            class Noted:
                def render(self, **values):
                    pages.append((template, values))
                    return template.render(values)

            return Noted()

    noted = list(_pages(mill, Kept(), tokens, drawn))
    assert len(pages) == len(tokens) == LOTS
    assert list(bare()) == noted
    book.against(
        f"{LOTS:,} lot pages, drawings finished",
        lambda: write("ours", ours()),
        "bare template with finished drawings, and write",
        lambda: write("bare", bare()),
        1.5,
    )


def _view(mill: Reviewed, lot: str, token: str) -> customer.CustomerLot:
    return customer.customer_lot(mill.folder, lot, mill.dossiers, mill.lots[lot], token)


def _pages(
    mill: Reviewed,
    env: object,
    tokens: Mapping[str, str],
    drawn: Mapping[str, Mapping[str, object]],
) -> Iterator[str]:
    """Yield the customer page of every lot."""
    for lot, token in tokens.items():
        view = _view(mill, lot, token)
        vars(view).update(drawn[lot])
        yield customer.render_lot(env, view, token).html
