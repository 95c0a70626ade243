"""A small cut of the demonstration: some charges, their lots, and what these name."""

import shutil
from pathlib import Path

import yaml


def cut_of(source: Path, target: Path, charges: set[str]) -> None:
    """Copy a demonstration with some charges and their lots, and of the library what these name."""
    for name in ("mill.yaml", "kilns", "loggers", "demo-keys"):
        path, copy = source / "content" / name, _made(target, "content", name)
        (shutil.copytree if path.is_dir() else shutil.copyfile)(path, copy)
    named: set[str] = set()
    for charge in charges:
        (home,) = (source / "content/charges").glob(f"*/{charge}")
        shutil.copytree(home, _made(target, home.relative_to(source).as_posix()))
        record = yaml.load((home / "charge.yaml").read_text("utf-8"), yaml.CSafeLoader)
        named |= {record["schedule"], *(one["species"] for one in record["stock"])}
    for lot in (source / "content/lots").glob("*.yaml"):
        if {
            pack["charge"] for pack in yaml.load(lot.read_text("utf-8"), yaml.CSafeLoader)["packs"]
        } <= charges:
            shutil.copyfile(lot, _made(target, "content/lots", lot.name))
    for schedule in (source / "schedules").glob("*wood/*.yaml"):
        if schedule.stem in named:
            named |= set(
                yaml.load(schedule.read_text("utf-8"), yaml.CSafeLoader)["for_stock"]["species"]
            )
    for path in (source / "schedules").rglob("*.yaml"):
        below = path.relative_to(source)
        if path.stem in named or below.parts[1] in ("notations", "limits.yaml", "sources.yaml"):
            shutil.copyfile(path, _made(target, below.as_posix()))


def _made(target: Path, *names: str) -> Path:
    path = target.joinpath(*names)
    path.parent.mkdir(parents=True, exist_ok=True)
    return path
