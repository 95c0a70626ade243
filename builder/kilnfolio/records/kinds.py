"""The kinds of record a mill keeps: the registry of their models and paths.

Readers, ``new``, ``schema``, ``upgrade``, the reference page and the graph all take their list of
kinds from here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cached_property
from importlib import import_module

from kilnfolio.graph.inputs import Index
from kilnfolio.runtime.values import dataclass

TYPE_CHECKING = False  # saves importing typing
if TYPE_CHECKING:
    from kilnfolio.records.model import Record

#: Placeholders in a path, and the pattern of each.
_PARTS = {"ID": "([^/]+)", "YEAR": "[^/]+", "REVISION": "[^/]+"}


@dataclass(frozen=True)
class RecordKind:
    """A kind of record.

    Attributes
    ----------
    name : str
        Its name, as in ``charge``, also for the schema and the command ``new``.
    model_at : str
        The module of this package and the class of its model. Models are imported on demand, since
        a build with nothing to do needs none.
    paths : tuple of str
        Where its files are in a mill folder; ``ID`` stands for the record's id.
    draft : bool
        Whether it may be a draft: ``new`` begins records of these kinds.
    local_times : bool
        Whether it holds times that are in the mill's zone unless they give an offset.
    """

    name: str
    model_at: str
    paths: tuple[str, ...]
    draft: bool = False
    local_times: bool = False

    @cached_property
    def model(self) -> type[Record]:
        """The model of its records."""
        module, _, name = self.model_at.partition(":")
        found: type[Record] = getattr(import_module(f"kilnfolio.records.{module}"), name)
        return found

    @property
    def single(self) -> bool:
        """Whether a mill has only one."""
        return "ID" not in self.paths[0]

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """Matches the path of a record; its one group is the record's name."""
        return re.compile("|".join(map(_pattern, self.paths)))

    @property
    def globs(self) -> tuple[str, ...]:
        """Patterns that find its files in a mill folder."""
        return tuple(re.sub("|".join(_PARTS), "*", path) for path in self.paths)

    def name_at(self, path: str) -> str | None:
        """Return the name of the record at a path; None if it is of another kind."""
        match = self.pattern.fullmatch(path)
        return None if match is None else next(filter(None, match.groups()), "")


def _pattern(path: str) -> str:
    return "".join(
        _PARTS.get(part, re.escape(part)) for part in re.split(f"({'|'.join(_PARTS)})", path)
    )


#: Every kind, in the order in which a mill needs them.
RECORD_KINDS: dict[str, RecordKind] = {
    kind.name: kind
    for kind in (
        RecordKind("mill", "mill:Mill", ("content/mill.yaml",)),
        RecordKind("brand", "brand:Brand", ("content/brand.yaml",)),
        RecordKind("prices", "prices:Prices", ("content/prices.yaml",)),
        RecordKind("kiln", "kiln:Kiln", ("content/kilns/ID.yaml",), draft=True),
        RecordKind("instrument", "instrument:InstrumentTrials", ("content/instruments/ID.yaml",)),
        RecordKind("logger", "logger:LoggerProfile", ("content/loggers/ID.yaml",)),
        RecordKind("species", "species:Species", ("schedules/species/ID.yaml",), draft=True),
        RecordKind(
            "schedule",
            "schedule:Schedule",
            ("schedules/hardwood/ID.yaml", "schedules/softwood/ID.yaml"),
            draft=True,
        ),
        RecordKind("notation", "notation:Notation", ("schedules/notations/ID.yaml",)),
        RecordKind("limits", "limits:Limits", ("schedules/limits.yaml",)),
        RecordKind("sources", "sourced:Sources", ("schedules/sources.yaml",)),
        RecordKind(
            "charge",
            "charge:Charge",
            ("content/charges/YEAR/ID/charge.yaml",),
            draft=True,
            local_times=True,
        ),
        RecordKind("order", "order:OpenOrder", ("content/orders/ID.yaml",), draft=True),
        RecordKind("lot", "lot:Lot", ("content/lots/ID.yaml",), draft=True, local_times=True),
    )
}

#: Earlier revisions of schedules, which are always complete.
SUPERSEDED = RecordKind(
    "superseded", "schedule:Schedule", ("schedules/superseded/ID/REVISION.yaml",)
)
#: The list of the index for files that would be ignored.
MISPLACED = "misplaced"
#: The list of the index for the files of the mill's house style, beside its record.
HOUSE = "house"
_HOUSE = re.compile(r"content/(brand|theme)/[^/]+")
#: The list of the index for the files of the mill's own code.
OWN_CODE = "own code"
_OWN_CODE = re.compile(r"content/checks/[A-Za-z0-9_-]+\.py")
_ALL = (*RECORD_KINDS.values(), SUPERSEDED)
#: How records are stored in each folder of the second level.
_KEPT_AS = {
    "/".join(path.split("/")[:2]): path.split("/", 2)[2]
    for kind in _ALL
    if not kind.single
    for path in kind.paths
}
#: Names of files that were probably meant as records, including endings added by editors or mail
#: programs.
_YAML = re.compile(r"\.(yaml|yml|yaml\.txt)$", re.IGNORECASE)


def kind_at(path: str) -> tuple[RecordKind, str] | None:
    """Return the kind and name of the record at a path; None for any other file."""
    for kind in _ALL:
        if (name := kind.name_at(path)) is not None:
            return kind, name
    return None


def misplaced(names: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Yield YAML files that would be silently ignored where they are, with the reason.

    Parameters
    ----------
    names : iterable of str
        Paths relative to the root of the mill folder.
    """
    for name in sorted(names):
        if not _YAML.search(name) or kind_at(name):
            continue
        folder = "/".join(name.split("/")[:2])
        if folder in _KEPT_AS:
            yield name, f"records of this kind are kept as {folder}/{_KEPT_AS[folder]}"
        elif folder == name and name.startswith("content/"):
            yield name, "a folder holds one mill, in content/mill.yaml"


def is_own_code(path: str) -> bool:
    """Return whether a file of a mill folder is the mill's own code."""
    return _OWN_CODE.fullmatch(path) is not None


def _index_entry(path: str) -> tuple[str, str] | None:
    """Return the list of the index that a file belongs to, and its name there."""
    if found := kind_at(path):
        return found[0].name, found[1]
    if _HOUSE.fullmatch(path):
        return HOUSE, path
    if is_own_code(path):
        return OWN_CODE, path
    return (MISPLACED, path) if any(misplaced([path])) else None


#: The input files of a mill folder, and how they are sorted into lists.
INDEX = Index(
    folders=("content", "schedules", "keys"),
    trees=("content/handbook", "content/ledger", "content/demo-keys", "keys"),
    entry=_index_entry,
    private=("keys",),
)
