"""What a site is made of: every kind of task, in order.

Each function here is given a desk and the name of one thing, takes what it needs from the shelves
and says what it made. What it read is noted by the desk.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import cast
from zoneinfo import ZoneInfo

from kilnfolio.archive.as_sealed import (
    as_sealed_library,
    by_todays_limits,
    sealed_dossier,
)
from kilnfolio.archive.bag import ABOUT, BAGS, about_bags, bag_files
from kilnfolio.archive.canonical import canonical
from kilnfolio.archive.entries import Entry
from kilnfolio.archive.ledger import dossier_path, lot_record_path, read_ledger
from kilnfolio.archive.lots import LotState, lot_state
from kilnfolio.archive.seal import SealState, state
from kilnfolio.archive.standing import broken_words, changed_words, demo_keys
from kilnfolio.archive.tokens import NO_KEY
from kilnfolio.incremental.engine import Desk, Job, Kind, Made
from kilnfolio.incremental.shelves import (
    NotedFolder,
    NotedHoldings,
    addresses,
    note_dossiers,
    note_sealed,
    part_of_ledger,
    sealed_folder,
)
from kilnfolio.incremental.store import Member, pack
from kilnfolio.incremental.tree import ASIDE
from kilnfolio.paper.charge_pdf import charge_pdf, charge_record
from kilnfolio.paper.lot_pdf import lot_sheet, print_sheet
from kilnfolio.paper.printing import pdf_of
from kilnfolio.records.begun import Begun
from kilnfolio.records.book import Sources
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import (
    NOTHING_YET,
    RECORD_KINDS,
    by_practice,
    identity_of,
    name_problems,
    newest_first,
    open_by_practice,
    problems_of,
    read_record,
    stray_problem,
    superseded_problems,
    twice_problem,
)
from kilnfolio.records.limits import Limits
from kilnfolio.records.lot import Lot
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located, Record
from kilnfolio.records.moment import build_date
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.records.practice import practices
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.yaml_source import Document
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.review import review_charge, review_lot
from kilnfolio.review.running import review_open
from kilnfolio.site.lot_record import SCHEMA_PATH, lot_record, record_schema
from kilnfolio.site.pages import AUDITOR, MILL, SCRIPTS, Noun
from kilnfolio.site.pages import audit as audit_room
from kilnfolio.site.pages.customer import CustomerLot, customer_lot, render_lot, with_record
from kilnfolio.site.pages.histories import charge_line, lot_line
from kilnfolio.site.pages.holdings import (
    ALL,
    SHOWN,
    groups_of_charge,
    groups_of_lot,
    when_of_charge,
    when_of_lot,
)
from kilnfolio.site.pages.home import search_page
from kilnfolio.site.pages.rows import CHARGES, LOTS, facts_of, shard_of
from kilnfolio.site.pages.tallies import tally_year
from kilnfolio.site.seals import seal_view
from kilnfolio.site.search import INDEX_PATH, entries_of, index_of, synonyms_of
from kilnfolio.site.search import Entry as Found
from kilnfolio.site.series import series_files
from kilnfolio.site.static import assets
from kilnfolio.training.anonymous import Scene
from kilnfolio.training.drills import Drill, make_drills, scene_of

#: The records of which a mill has one.
_SINGLE: Mapping[str, type[Record]] = {
    "content/mill.yaml": Mill, "schedules/sources.yaml": Sources, "schedules/limits.yaml": Limits}
#: The noun of each list of records, and the word its model and cells go by.
_WORD = {"species": "species", "schedules": "schedule", "notations": "notation", "kilns": "kiln",
         "loggers": "logger", "charges": "charge", "lots": "lot"}
#: The registers, each by the noun of its records.
_REGISTERS = {"charges": CHARGES, "lots": LOTS}
_LIBRARY = ("species", "schedules", "notations", "kilns", "loggers")


def folder_of(desk: Desk) -> NotedFolder:
    """Return the mill's records as tasks read them."""
    folder: NotedFolder = desk.kept.setdefault("folder", NotedFolder(desk))
    return folder


def holdings_of(desk: Desk, edition: str = "mill") -> NotedHoldings:
    """Return what the pages of an edition are made from."""
    if edition not in desk.kept:
        folder = folder_of(desk)
        desk.kept[edition] = {
            "mill": lambda: NotedHoldings(desk, folder, routes.MENU),
            "customer": lambda: NotedHoldings(desk, folder, ()),
            "auditor": lambda: NotedHoldings(desk, folder, audit_room.MENU, searchable=False,
                                             foot=())}[edition]()
    holdings: NotedHoldings = desk.kept[edition]
    return holdings


# --- records --------------------------------------------------------------------------------------

def _paths(desk: Desk, nouns: Iterable[str]) -> Iterator[str]:
    for noun in nouns:
        for paths in desk.get(f"names:{noun}").values():
            yield from paths


def _library_names(desk: Desk) -> Iterator[str]:
    yield from _SINGLE
    yield from _paths(desk, _LIBRARY)


def _noun_of(path: str) -> str:
    noun = Path(path).parts[1]
    return "schedules" if noun in ("hardwood", "softwood") else noun


def _read(desk: Desk, path: str, model: type[Record], zone: ZoneInfo | None = None
          ) -> Located | Begun:
    """Return the record of a file, and note that it was read."""
    desk.has(f"file:{path}")
    return read_record(desk.root, path, model, zone)


def _read_library(desk: Desk, path: str) -> Made:
    if path in _SINGLE:
        return Made({f"record:{path}": _read(desk, path, _SINGLE[path])})
    word = _WORD[_noun_of(path)]
    read = _read(desk, path, RECORD_KINDS[word])
    _refuse(name_problems(read))
    if isinstance(read, Begun):
        return _begun(read)
    members = {(f"schedules-of-species:{species}", read.record.id, read.record.id)
               for species in read.record.for_stock.species} if word == "schedule" else set()
    return Made({f"{word}:{Path(path).stem}": read}, members)


def _begun(read: Begun) -> Made:
    """Return a record that is still to be filled in: nothing is made of it but its name."""
    return Made({f"begun:{read.name}": read}, {("begun", read.name, read.name)})


def _read_superseded(desk: Desk, identity: str) -> Made:
    """Read the earlier revisions of a schedule."""
    paths = desk.get("names:superseded")[identity]
    found = [cast("Located[Schedule]", _read(desk, path, Schedule)) for path in paths]
    schedules = folder_of(desk).schedules
    _refuse(problem for one in found for problem in superseded_problems(one, schedules))
    return Made({f"superseded-schedule:{identity}": newest_first(found)})


def _check_library(desk: Desk, path: str) -> Made:
    word, name = _WORD.get(_noun_of(path), ""), Path(path).stem
    begun = f"begun:{word} {name}"
    read = desk.get(f"record:{path}" if path in _SINGLE else
                    begun if desk.has(begun) else f"{word}:{name}")
    _refuse(problems_of(folder_of(desk), read))
    return Made()


def _check_names(desk: Desk, _: str) -> Made:
    """Refuse files that would be passed over, and names that two files have."""
    problems = [stray_problem(name, why) for name, why in desk.get("misplaced")]
    for noun in _WORD:
        for paths in desk.get(f"names:{noun}").values():
            for later in paths[1:]:
                read = _read(desk, later, RECORD_KINDS[_WORD[noun]], _zone(desk))
                problems.append(twice_problem(read, paths[0]))
    _refuse(problems)
    return Made()


def _refuse(problems: Iterable[Problem]) -> None:
    if found := list(problems):
        raise RecordProblems(found)


def _zone(desk: Desk) -> ZoneInfo:
    mill: Located[Mill] = desk.get("record:content/mill.yaml")
    return mill.record.zone


def _charge_names(desk: Desk) -> Iterator[str]:
    yield from _paths(desk, ["charges"])


def _review_charge(desk: Desk, path: str) -> Made:
    number = Path(path).parent.name
    if entries := part_of_ledger(desk, "charge", number).of(number):
        # sealed: its own files and the library may change, its record and review do not
        folder = sealed_folder(desk, number)
        note_dossiers(desk, number, len(entries))
        return _reviewed(folder.charges[number],
                         sealed_dossier(desk.root, entries[-1], len(entries), folder))
    mill: Located[Mill] = desk.get("record:content/mill.yaml")
    rule = practices()[mill.record.practice].rule
    read = _read(desk, path, Charge, mill.record.zone)
    mill_folder = folder_of(desk)
    number = identity_of(read)
    is_open = isinstance(read, OpenCharge)
    read = open_by_practice(read, rule) if isinstance(read, OpenCharge) else \
        by_practice(cast("Located[Charge]", read), rule)
    desk.lay_out(f"{'open-charge' if is_open else 'charge'}:{number}", read)
    _refuse([*name_problems(read), *problems_of(mill_folder, read)])
    if isinstance(read, OpenCharge):
        members = {("open-charges", number, number)}
        if read.so_far:
            members |= {("moments", _moment(read.so_far.record.unloaded), number)}
        return Made({f"open-charge:{number}": read}, members)
    return _reviewed(read, review_charge(mill_folder, number))


def _reviewed(located: Located[Charge], dossier: Dossier) -> Made:
    charge = located.record
    number = charge.id
    members = {(f"charges/{group}", *when_of_charge(charge)) for group in groups_of_charge(charge)}
    members |= {("years", str(charge.started.year), str(charge.started.year)),
                _quarter("charges", charge.started), ("moments", _moment(charge.unloaded), number)}
    members |= {(f"charges-with-pack:{pack}", number, number)
                for pack in (charge.stacking.packs if charge.stacking else ())}
    return Made({f"charge:{number}": _without_lines(located), f"dossier:{number}": dossier},
                members)


def _quarter(noun: str, day: dt.date) -> Member:
    return f"quarters:{noun}", shard_of(day), shard_of(day)


def _without_lines(located: Located) -> Located:
    """Return a record without the place of every value: those are needed while it is read only."""
    return Located(located.record, Document(located.file, None, {}, {}))


def _moment(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).isoformat()


def _read_lot(desk: Desk, path: str) -> Made:
    """Read a lot; what it is a part of is looked at when all are read."""
    located = _read(desk, path, Lot, _zone(desk))
    _refuse(name_problems(located))
    if isinstance(located, Begun):
        return _begun(located)
    lot = located.record
    charges = sorted({pack.charge for pack in lot.packs})
    if any(desk.has(f"open-charge:{charge}") for charge in charges):
        members = {("waiting-lots", lot.id, lot.id)}
        members |= {(f"lots-with-pack:{pack.number}", f"2 {lot.id}", lot.id) for pack in lot.packs}
        members |= {(f"lots-waiting-for:{charge}", lot.id, lot.id) for charge in charges}
        return Made({f"waiting-lot:{lot.id}": located}, members)
    members = {(f"lots/{group}", *when_of_lot(lot)) for group in groups_of_lot(lot)}
    members |= {("years", str(lot.issued.year), str(lot.issued.year)),
                _quarter("lots", lot.issued)}
    members |= {("moments", _moment(lot.shipped), lot.id)} if lot.shipped else set()
    members |= {(f"lots-with-pack:{pack.number}", f"1 {lot.id}", lot.id) for pack in lot.packs}
    members |= {(f"lots-of-charge:{charge}", lot.id, lot.id) for charge in charges}
    return Made({f"lot:{lot.id}": located}, members)


def _review_lot(desk: Desk, path: str) -> Made:
    number, folder = Path(path).stem, folder_of(desk)
    if unpublished := folder.waiting_lots.get(number) or folder.begun.get(f"lot {number}"):
        _refuse(problems_of(folder, unpublished))
        return Made()
    holdings = holdings_of(desk)
    lot = folder.lots[number].record
    if entries := part_of_ledger(desk, "lot", number).of_lot(number):
        note_sealed(desk, entries[-1:])
        dossier = review_lot(as_sealed_library(folder, desk.root, entries[-1]), number,
                             holdings.dossiers)
    else:
        _refuse(problems_of(folder, folder.lots[number]))
        dossier = review_lot(folder, number, holdings.dossiers)
    return Made({f"verdict:{number}": dossier,
                 f"lot-line:{number}": lot_line(holdings, lot, dossier)})


def _running(desk: Desk, number: str) -> Made:
    return Made({f"running:{number}": review_open(folder_of(desk), number)})


# --- what many pages are made from ----------------------------------------------------------------

def _one(_: Desk) -> tuple[str]:
    return ("",)


def _charges(desk: Desk) -> Iterable[str]:
    return desk.group(f"charges/{ALL}")


def _lots(desk: Desk) -> Iterable[str]:
    return desk.group(f"lots/{ALL}")


def _build_date(desk: Desk, _: str) -> Made:
    """Make the date pages print: SOURCE_DATE_EPOCH where set, else the newest moment on record."""
    desk.has("option:epoch")
    return Made({"build-date": build_date(folder_of(desk))})


def _latest(desk: Desk, _: str) -> Made:
    last = desk.last("moments")
    newest = dt.datetime.fromisoformat(last) if last else NOTHING_YET
    return Made({"latest": newest.astimezone(_zone(desk))})


def _years(desk: Desk, _: str) -> Made:
    return Made({"years": tuple(sorted({int(year) for year in desk.group("years")},
                                       reverse=True))})


def _quarters(desk: Desk, noun: str) -> Made:
    return Made({f"quarters:{noun}": tuple(sorted(set(desk.group(f"quarters:{noun}")),
                                                  reverse=True))})


def _facts_names(desk: Desk) -> Iterator[str]:
    for noun in _REGISTERS:
        yield from (f"{noun}:{quarter}" for quarter in desk.get(f"quarters:{noun}"))


def _facts(desk: Desk, name: str) -> Made:
    noun, _, quarter = name.partition(":")
    rows = holdings_of(desk).register_rows(_REGISTERS[noun], f"quarter:{quarter}")
    return Made({f"facts:{name}": facts_of(quarter, rows)})


def _charge_line(desk: Desk, number: str) -> Made:
    holdings = holdings_of(desk)
    return Made({f"charge-line:{number}":
                 charge_line(holdings, holdings.folder.charges[number].record)})


def _year_names(desk: Desk) -> Iterable[str]:
    return map(str, desk.get("years"))


def _tally(desk: Desk, year: str) -> Made:
    holdings = holdings_of(desk)
    return Made({f"tally:{year}": tally_year(
        [holdings.lines[number] for number in holdings.charges[f"year:{year}"]],
        [holdings.lot_lines[number] for number in holdings.lots[f"year:{year}"]])})


# --- seals ----------------------------------------------------------------------------------------

def _ledger(desk: Desk, _: str) -> Made:
    """Read the ledger once, and give each charge and lot its own entries."""
    desk.has("tree:content/ledger")
    ledger = read_ledger(desk.root)
    cells: dict[str, object] = {"ledger": ledger.differences, "demo-keys": demo_keys(desk.root)}
    lines: dict[str, list[object]] = {}
    members = set()
    for line in ledger.lines:
        entry = line.entry
        of = f"charge:{entry.charge}" if isinstance(entry, Entry) else f"lot:{entry.lot}"
        lines.setdefault(f"entries:{of}", []).append(line)
        if isinstance(entry, Entry):
            members.add(("public-keys", entry.public_key, entry.public_key))
    return Made({**cells, **{cell: tuple(found) for cell, found in lines.items()}}, members)


def _seal(desk: Desk, number: str) -> Made:
    ledger = part_of_ledger(desk, "charge", number)
    entries = ledger.of(number)
    if not entries:
        return Made({f"seal-view:{number}": seal_view((), frozenset())})
    folder = sealed_folder(desk, number)
    for file in entries[-1].files:
        if entries[-1].is_own(file.path):
            desk.has(f"file:{file.path}")
    stands = state(desk.root, number, ledger)
    other = by_todays_limits(folder, holdings_of(desk).dossiers[number], folder_of(desk).limits)
    return Made({f"seal-view:{number}": seal_view(
        entries, desk.get("demo-keys"), tuple(one.sentence for one in other), number,
        changed_words(stands))}, _broken(stands, number))


def _broken(stands: SealState | LotState, name: str) -> set[Member]:
    return {("broken", name, broken_words(stands, name))} if stands.differences else set()


def _key(desk: Desk, _: str) -> Made:
    """Say so where the mill has no key for the addresses of its lots."""
    if addresses(desk, "any"):
        return Made()
    return Made(members={("warnings", "addresses", NO_KEY)})


def _lot_view(desk: Desk, number: str) -> Made:
    """Make what a lot's customer reads: the sealed record where there is one."""
    holdings = holdings_of(desk, "customer")
    view = customer_lot(holdings.folder, number, holdings.dossiers, holdings.lot_dossiers[number],
                        next(iter(addresses(desk, number)), ""))
    stands = _lot_stands(desk, number)
    seal = seal_view(stands.entries, desk.get("demo-keys"), broken=changed_words(stands))
    record = stands.record if stands.entries and stands.record else canonical(lot_record(view))
    return Made({f"lot-view:{number}": with_record(view, record.decode(), seal),
                 f"lot-seal-view:{number}": seal}, _broken(stands, f"lot {number}"))


def _lot_stands(desk: Desk, number: str) -> LotState:
    ledger = part_of_ledger(desk, "lot", number)
    if entries := ledger.of_lot(number):
        desk.has(f"file:{lot_record_path(number, len(entries)).as_posix()}")
        for file in entries[-1].files:
            if entries[-1].is_own(file.path):
                desk.has(f"file:{file.path}")
    return lot_state(desk.root, number, ledger,
                     lambda charge: part_of_ledger(desk, "charge", charge).of(charge))


# --- PDFs -----------------------------------------------------------------------------------------

#: Those that are not of one charge or lot.
_BOOKS = ("handbook", "pocket", "practice", "practice-key")


def _pdf_names(desk: Desk) -> Iterator[str]:
    yield from _BOOKS
    yield from (f"lot:{number}" for number in _lots(desk))
    yield from (f"charge:{number}" for number in _charges(desk)
                if desk.has(f"entries:charge:{number}"))


def _pdf(desk: Desk, name: str) -> Job:
    """Return what prints a PDF: a function of its own values, for whatever process does it."""
    noun, _, number = name.partition(":")
    if noun == "lot":
        paths = [f"customer/{address}/record.pdf" for address in addresses(desk, number)]
        job = lot_sheet(holdings_of(desk, "customer").env, desk.get(f"lot-view:{number}"))
        return Job(print_sheet, (job,), paths)
    if noun == "charge":
        entries = part_of_ledger(desk, "charge", number).of(number)
        sealed = dossier_path(number, len(entries)).as_posix()
        record = charge_record(
            holdings_of(desk, "auditor"), number, folder_of(desk).file(sealed).read_bytes(),
            entries[-1].at)
        return Job(charge_pdf, (record,), [f"auditor/{audit_room.record_path(number)}"])
    desk.has("option:epoch")  # books print their date
    return _book(desk, noun)


def _book(desk: Desk, name: str) -> Job:
    from kilnfolio.handbook.pages import compile_handbook
    from kilnfolio.paper import book, pocket
    from kilnfolio.paper.booklet import booklets

    holdings = holdings_of(desk)
    if name in ("practice", "practice-key"):
        html = booklets(holdings.folder, holdings.env, _drills(desk))[f"{name}.pdf"]
        return Job(pdf_of, (html,), [f"mill/{name}.pdf"])
    contents = compile_handbook(holdings.folder, "book")
    if name == "handbook":
        html = book.book_html(holdings.folder, holdings.env, contents=contents)
        return Job(book.book_pdf, (html, book.CSS), [f"mill/{book.PATH}"])
    html = pocket.pocket_html(contents, holdings.env)
    return Job(book.book_pdf, (html, pocket.CSS), [f"mill/{pocket.PATH}"])


def _printed(name: str, paths: Iterable[str], pdf: bytes, warnings: Iterable[str]) -> Made:
    return Made({f"pdf:{name}": None}, {("warnings", name, words) for words in warnings},
                dict.fromkeys(paths, pdf), {f"pdf:{name}": hashlib.sha256(pdf).digest()})


def _oldest(desk: Desk) -> Sequence[str]:
    """Return the charges drills are made from: their records change no more, so the drills stay."""
    return holdings_of(desk).charges[ALL][-SHOWN:]


def _scene(desk: Desk, number: str) -> Made:
    sealed = part_of_ledger(desk, "charge", number).of(number)
    folder = sealed_folder(desk, number) if sealed else folder_of(desk)
    cell, scene = f"scene:{number}", scene_of(folder, number)
    return Made({cell: scene}, digests={cell: hashlib.sha256(pack(scene)).digest()})


def _drills(desk: Desk) -> list[Drill]:
    holdings = holdings_of(desk)
    return make_drills(holdings.folder, {number: holdings.lines[number]
                                         for number in _oldest(desk)},
                       lambda number: cast("Scene | None", desk.get(f"scene:{number}")))


# --- pages ----------------------------------------------------------------------------------------

#: Kinds of pages that search finds through the registers.
_LISTED_APART = ("charge", "lot", "register", "script")


def _noun_names(noun: Noun, edition: str, desk: Desk) -> Iterable[str]:
    return noun.names(holdings_of(desk, edition))


def _mill_noun(kind: str, place: int, noun: Noun, desk: Desk, name: str) -> Made:
    holdings = holdings_of(desk)
    pages = noun.pages(holdings, name)
    files = series_files([holdings.dossiers[name]]) if kind == "charge" else {}
    return _pages(pages, "mill", f"{place:02}:{name}", files)


def _pages(pages: Iterable[Page], edition: str, sort: str, files: Mapping[str, str],
           ) -> Made:
    """Return pages of the mill edition, with what search finds of them."""
    pages = list(pages)
    cell = f"found:{sort}"
    found = ([(page.path, page.title, page.kind, page.summary) for page in pages
              if page.kind not in _LISTED_APART],
             [entry for page in pages for entry in entries_of(page)])
    return Made({cell: found} if any(found) else {}, {("found", sort, cell)} if any(found) else (),
                {f"{edition}/{path}": text for path, text in
                 {**{page.path: page.html for page in pages}, **files}.items()})


def _auditor_noun(kind: str, noun: Noun, desk: Desk, name: str) -> Made:
    holdings = holdings_of(desk, "auditor")
    desk.pdfs = (f"pdf:charge:{name}",)
    files = {page.path: audit_room.within(page).html for page in noun.pages(holdings, name)}
    if kind == "audit-charge":
        files |= series_files([holdings.dossiers[name]])
    return Made(files={f"auditor/{path}": text for path, text in files.items()})


def _customer_page(desk: Desk, number: str) -> Made:
    holdings = holdings_of(desk, "customer")
    desk.pdfs = (f"pdf:lot:{number}",)
    view: CustomerLot = desk.get(f"lot-view:{number}")
    files = {}
    for address in addresses(desk, number):
        page = render_lot(holdings.env, view, address)
        files[f"customer/{page.path}"] = page.html
        if view.served:
            files[f"customer/{address}/record.json"] = view.served.text
    return Made(files=files)


def _rooms() -> Mapping[str, object]:
    """Return the parts of the mill edition that are made whole."""
    from kilnfolio.calculators import render_calculators
    from kilnfolio.handbook.pages import render_handbook
    from kilnfolio.training.pages import render_drills, render_practice

    return {
        "handbook": lambda _, holdings: render_handbook(holdings.folder, holdings.env),
        "calculators": lambda _, holdings: [render_calculators(holdings.folder, holdings.env)],
        "practice": lambda _, holdings: [render_practice(holdings.folder, holdings.env)],
        "drills": lambda desk, holdings: [render_drills(_drills(desk), holdings.env)]}


def _room(desk: Desk, name: str) -> Made:
    from kilnfolio.training.pages import NUMBERS_PATH, practice_numbers

    holdings = holdings_of(desk)
    desk.pdfs = ("option:pdfs",)  # they are printed after it
    rooms = _rooms()
    files = {NUMBERS_PATH: practice_numbers(holdings.folder)} if name == "practice" else {}
    return _pages(rooms[name](desk, holdings), "mill",  # type: ignore[operator]
                  f"{list(rooms).index(name)}:{name}", files)


def _search(desk: Desk, _: str) -> Made:
    holdings = holdings_of(desk)
    cards: list[Page] = []
    entries: list[Found] = []
    for cell in desk.group("found"):
        listed, found = desk.get(cell)
        cards += [Page(path, "", title, kind, "", summary) for path, title, kind, summary in listed]
        entries += found
    page = search_page(holdings, cards)
    index = index_of(entries, synonyms_of(holdings.folder, holdings.manuscript))
    return Made(files={f"mill/{page.path}": page.html, f"mill/{INDEX_PATH}": index})


def _assets(edition: str, _desk: Desk, _: str) -> Made:
    files: dict[str, bytes | str] = {
        f"{edition}/{path}": data for path, data in assets(edition).items()}
    if edition == "customer":
        files[f"customer/{SCHEMA_PATH}"] = record_schema()
    return Made(files=files)


def _about_bags(desk: Desk, _: str) -> Made:
    sealed = sorted(_bag_names(desk))
    return Made(files={f"auditor/{BAGS}/{ABOUT}": about_bags(sealed, SAFETY)})


def _bag_names(desk: Desk) -> Iterator[str]:
    return (number for number in _charges(desk) if desk.has(f"entries:charge:{number}"))


def _bag(desk: Desk, number: str) -> Made:
    note_sealed(desk, part_of_ledger(desk, "charge", number).of(number))
    record = desk.out / ASIDE / "auditor" / audit_room.record_path(number)
    extra = {"record.pdf": record.read_bytes()} if desk.has(f"pdf:charge:{number}") else {}
    files = bag_files(desk.root, number, notice=SAFETY, extra=extra)
    return Made(files={f"auditor/{audit_room.bag_folder(number)}{path}": data
                       for path, data in files.items()})


# --- the kinds in their order ---------------------------------------------------------------------

def _kinds() -> Iterator[Kind]:
    yield Kind("library", _library_names, _read_library, reading=True,
               words="library records")
    yield Kind("superseded", lambda desk: tuple(desk.get("names:superseded")), _read_superseded,
               reading=True)
    yield Kind("names", _one, _check_names, reading=True)
    yield Kind("library-check", _library_names, _check_library, reading=True)
    yield Kind("ledger", _one, _ledger, reading=True)
    yield Kind("charge-review", _charge_names, _review_charge, reading=True, shared=4,
               words="charges reviewed")
    yield Kind("lot-record", lambda desk: _paths(desk, ["lots"]), _read_lot, reading=True,
               shared=100,
               words="lots read")
    yield Kind("lot-review", lambda desk: _paths(desk, ["lots"]), _review_lot, reading=True,
               shared=50,
               words="lots reviewed")
    yield Kind("running", lambda desk: desk.group("open-charges"), _running, reading=True)
    yield Kind("latest", _one, _latest)
    yield Kind("build-date", _one, _build_date)
    yield Kind("years", _one, _years)
    yield Kind("quarters", lambda _: tuple(_REGISTERS), _quarters)
    yield Kind("charge-line", _charges, _charge_line, shared=50)
    yield Kind("tally", _year_names, _tally)
    yield Kind("facts", _facts_names, _facts)
    yield Kind("key", _one, _key)
    yield Kind("seal", _charges, _seal, shared=20)
    yield Kind("lot-view", _lots, _lot_view, shared=20)
    yield Kind("scene", _oldest, _scene, shared=10)
    yield Kind("room", lambda _: tuple(_rooms()), _room)
    yield Kind("pdf", _pdf_names, _pdf, shared=1, option="pdfs", finish=_printed,
               words="PDFs")
    for edition in ("mill", "customer", "auditor"):
        yield Kind(f"assets-{edition}", _one, partial(_assets, edition), edition=edition)
    yield Kind("customer-page", _lots, _customer_page, shared=50,
               words="customer pages", edition="customer")
    for place, (name, noun) in enumerate({**MILL, **SCRIPTS}.items(), 10):
        yield Kind(f"mill-{name}", partial(_noun_names, noun, "mill"),
                   partial(_mill_noun, name, place, noun), shared=20,
                   words=f"mill pages, {name}")
    for name, noun in AUDITOR.items():
        yield Kind(f"auditor-{name}",
                   partial(_noun_names, noun, "auditor"), partial(_auditor_noun, name, noun),
                   shared=20, words=f"auditor pages, {name.removeprefix('audit-')}",
                   edition="auditor")
    yield Kind("search", _one, _search)
    yield Kind("bag", _bag_names, _bag, shared=2,
               words="bags", edition="auditor")
    yield Kind("about-bags", _one, _about_bags, edition="auditor")


#: Every kind by its name, in order: a task reads only what kinds before its own have made.
KINDS: Mapping[str, Kind] = {kind.name: kind for kind in _kinds()}
