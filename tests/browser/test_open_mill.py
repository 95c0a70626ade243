"""A French mill with a brand, a theme and a check of its own: every edition, for every reader."""

import json
import os

import pytest
from tests.archive.sealing import SEALED_AT, key, write_key
from tests.browser.test_access import BY_LOOKS, PRUNE, breaches
from tests.handbook.test_translations import FILES as CHAPTERS
from tests.minimal import minimal_mill
from tests.own_house import own_house
from tests.review.test_own_checks import CODE, FILE, PARTS
from tests.trust.sealing import seal_lot_again

from kilnfolio.archive.audit import audit
from kilnfolio.archive.seal import seal
from kilnfolio.archive.tokens import make_token_key
from kilnfolio.archive.trust import TrustedKey
from kilnfolio.cli import main
from kilnfolio.cli.audit import makers
from kilnfolio.pipeline.build import build_site
from kilnfolio.records.folder import open_mill
from kilnfolio.review.reviews import dossiers

#: Pages that hold what the mill brought, by edition.
PAGES = {
    "mill": (
        "index.html",
        "charges/C1.html",
        "checks/index.html",
        "checks/own-energy-read.html",
        "handbook/index.fr.html",
        "handbook/small.fr.html",
    ),
    "auditor": ("index.html", "charges/C1.html"),
}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("open") / "mill"
    lot = {"gtin": "9521234543213"}
    languages = {"language": "fr", "customer_languages": ["en", "fr"]}
    files = {**own_house(), **CHAPTERS, FILE: CODE, "content/checks/parts.py": PARTS}
    minimal_mill(root, files=files, lot=lot, mill=languages)
    before = os.environ.get("XDG_CONFIG_HOME")
    os.environ["XDG_CONFIG_HOME"] = str(root.parent / "config")
    try:
        assert main(["allow", str(root), "--yes"]) == 0
        write_key(root)
        make_token_key(root / "keys/lot-addresses.key")
        mill = open_mill(root)
        seal(mill, dossiers(mill)["C1"], "A. N. Other", key(), SEALED_AT)
        seal_lot_again(root)
        build_site(root, root / "site", workers=1)
    finally:
        if before is None:
            del os.environ["XDG_CONFIG_HOME"]
        else:
            os.environ["XDG_CONFIG_HOME"] = before
    return root


def customer_pages(site):
    return sorted(path.relative_to(site) for path in (site / "customer").glob("*/**/index.html"))


def test_axe_core_finds_no_barrier(browser, made):
    """In both schemes; what does not depend on colour is looked for in one."""
    site = made / "site"
    paths = [f"{edition}/{path}" for edition, found in PAGES.items() for path in found]
    paths += [path.as_posix() for path in customer_pages(site)]
    assert len(paths) == 10  # the customer's page in English and in French
    page = browser.new_page(viewport={"width": 360, "height": 900})
    for path in paths:
        page.emulate_media(color_scheme="light")
        page.goto((site / path).as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 360, path
        assert page.locator(".deferral").first.is_visible(), path
        page.evaluate(PRUNE)
        assert breaches(page) == [], path
        page.emulate_media(color_scheme="dark")
        assert page.locator(".deferral").first.is_visible(), path
        assert breaches(page, BY_LOOKS) == [], path
    page.close()


def test_the_mills_own_check_is_shown_as_its_own(made):
    for edition in PAGES:
        charge = (made / "site" / edition / "charges/C1.html").read_text("utf-8")
        assert "The meter was read (the mill's own check)" in charge.replace("&#39;", "'")
    catalogue = (made / "site/mill/checks/own-energy-read.html").read_text("utf-8")
    assert (
        json.loads((made / "content/ledger/dossiers/C1-1.json").read_bytes())["rules"]["own_code"]
        in catalogue
    )


def test_the_mills_own_figure_is_on_its_own_page_only(made):
    pages = {
        edition: (made / "site" / edition / "charges/C1.html").read_text("utf-8")
        for edition in PAGES
    }
    assert "Days on a rule of a hundred" in pages["mill"]
    assert "Days on a rule of a hundred" not in pages["auditor"]


def test_the_audit_is_whole(made):
    known = (TrustedKey(public_key=key().public),)
    agreed = audit(made / "site/auditor", trusted=known, again=makers(run_own=True))
    assert agreed.outcome == "identical", (agreed.all_differences, agreed.all_open)
    asked = audit(made / "site/auditor", trusted=known, again=makers())
    assert asked.holds, asked.all_differences
    assert {one.kind for one in asked.all_open} == {"own-checks-not-run"}
