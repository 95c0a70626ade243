"""A forecast is an estimate: no dossier, seal, verdict, audit or customer's page can contain one.

None of the code that makes them imports the forecast, directly or indirectly.
"""

import ast
from functools import cache
from pathlib import Path

import pytest

from kilnfolio.archive.canonical import canonical
from kilnfolio.review.dossier import Dossier, LotDossier

ROOT = Path(__file__).parents[2] / "builder"
EVIDENCE = sorted(
    path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".").removesuffix(".__init__")
    for folder in ("review", "archive")
    for path in (ROOT / "kilnfolio" / folder).rglob("*.py")
)
PUBLISHED = [
    "kilnfolio.site.pages.customer",
    "kilnfolio.site.lot_record",
    "kilnfolio.site.editions",
    "kilnfolio.paper.lot_pdf",
    "kilnfolio.paper.audit_report",
]


def _file(module):
    path = ROOT / module.replace(".", "/")
    return next(
        (one for one in (path.with_suffix(".py"), path / "__init__.py") if one.is_file()), None
    )


@cache
def imports(module):
    """The package's modules that a module imports, anywhere in its text."""
    file = _file(module)
    if file is None:
        return frozenset()
    found = set()
    for node in ast.walk(ast.parse(file.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return frozenset(name for name in found if name.startswith("kilnfolio") and _file(name))


def reached(module):
    """Every module of the package that a module imports, directly or indirectly."""
    seen, todo = set(), [module]
    while todo:
        for name in imports(todo.pop()) - seen:
            seen.add(name)
            todo.append(name)
    return seen


@pytest.mark.parametrize("module", [*EVIDENCE, *PUBLISHED])
def test_evidence_and_published_pages_do_not_import_the_forecast(module):
    assert _file(module)
    assert not {name for name in reached(module) if name.startswith("kilnfolio.forecast")}


def test_the_import_walk_finds_a_module_that_does_import_it():
    assert "kilnfolio.forecast.mill" in reached("kilnfolio.site.pages.today")


@pytest.mark.parametrize("model", [Dossier, LotDossier])
def test_no_field_of_a_dossier_is_a_forecast(model):
    schema = canonical(model.model_json_schema()).decode()
    for word in ("low80", "high95", "hindcast", "learnt_from", "pace_"):
        assert word not in schema
