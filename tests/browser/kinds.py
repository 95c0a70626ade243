"""One page of every kind in the built demonstration site, for the tests that look at each."""

from pathlib import Path

from tests.conftest import PROJECT

from kilnfolio.archive.tokens import lot_token, read_token_key

#: The charge whose page shows the most: stops, gaps, survey, heat treatment; and a plain one.
CHARGE = "HB-25-041"
#: A charge that fails.
CHARGE_WITH_FINDINGS = "HB-26-019"
#: A running charge, in trouble.
RUNNING = "HB-26-043"

#: Pages of the mill edition by their kind.
MILL_PAGES = {
    "home": "index.html",
    "search": "search.html?q=honeycomb",
    "handbook": "handbook/index.html",
    "chapter": "handbook/wood-and-water.html",
    "chapter-of-tables": "handbook/schedules.html",
    "glossary": "handbook/glossary.html",
    "index-of-terms": "handbook/index-of-terms.html",
    "species-index": "species/index.html",
    "species": "species/quercus-rubra.html",
    "schedules-index": "schedules/index.html",
    "schedule": "schedules/quercus-rubra-4-4.html",
    "schedule-changes": "schedules/changes/quercus-rubra-8-4-dh.html",
    "chapter-changes": "handbook/changes/sampling.html",
    "charges-index": "charges/index.html",
    "charges-of-a-year": "charges/by-date/2025.html",
    "charge": f"charges/{CHARGE}.html",
    "charge-with-findings": f"charges/{CHARGE_WITH_FINDINGS}.html",
    "charge-running": f"charges/{RUNNING}.html",
    "charge-superseded": "charges/HB-26-034-sealed-1.html",
    "kiln-side": f"kiln-side/{RUNNING}.html",
    "plan": "plan.html",
    "charge-heat-treated": "charges/HB-26-006.html",
    "lots-index": "lots/index.html",
    "lot": "lots/HBL-25-101.html",
    "kilns-index": "kilns/index.html",
    "kiln": "kilns/kiln-1.html",
    "checks": "checks/index.html",
    "check": "checks/dry-wick.html",
    "early-warnings": "checks/early-warnings.html",
    "limit": "checks/limits/stage-emc.html",
    "compared-charges": "charges/compared/acer-saccharum-32mm.html",
    "compared-schedules": "schedules/compared/acer-saccharum-4-4-dh.html",
    "trend": "trends/timber/acer-saccharum-25-4.html",
    "degrade": "trends/degrade.html",
    "places": "trends/places/kiln-1.html",
    "measuring": "kilns/measuring.html",
    "calculators": "calculators.html",
    "sources": "sources.html",
    "records": "records.html",
    "guide": "guide/look-it-up.html",
    "guide-of-commands": "guide/publish.html",
    "guide-of-formulas": "guide/method.html",
    "practice": "practice.html",
    "drills": "drills.html",
    "bench": "bench.html",
    "lessons": "lessons.html",
}

#: Pages of the auditor edition by their kind; the rest of it uses the mill edition's templates.
AUDITOR_PAGES = {
    "audit-index": "index.html",
    "audit-charge": f"charges/{CHARGE_WITH_FINDINGS}.html",
    "audit-check": "checks/dry-wick.html",
    "audit-kiln": "kilns/kiln-1.html",
}


def addresses(site: Path) -> dict[str, str]:
    """Return the address of one page of every kind, customer and auditor pages included."""
    key = read_token_key(PROJECT, invented=True)
    lots = sorted(path.stem for path in (PROJECT / "content/lots").glob("*.yaml"))
    customer = site / "customer" / lot_token(lots[0], key) / "index.html"
    found = {}
    for kind, path in MILL_PAGES.items():
        file, mark, question = path.partition("?")
        found[kind] = (site / "mill" / file).as_uri() + mark + question
    for kind, path in AUDITOR_PAGES.items():
        found[kind] = (site / "auditor" / path).as_uri()
    return found | {"customer": customer.as_uri()}
