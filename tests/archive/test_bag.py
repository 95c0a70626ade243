"""Bags: valid for another BagIt tool, the same bytes every time, and every changed bit reported."""

import csv
import datetime as dt
import hashlib
import json
import os
import random
import re
import shutil
import subprocess

import bagit
import pytest
from tests.archive import sealing
from tests.minimal import FILES, minimal_mill
from tests.runtime.test_files import noted_syncs

from kilnfolio.archive.bag import NotSealedError, bag_files, pack, read_bag, verify_files
from kilnfolio.archive.proofs import ENTRIES
from kilnfolio.physics.air import relative_humidity
from kilnfolio.records.checking import checked_mill

#: A bag of a few hundred bytes: only files and manifests.
SMALL = pack(
    {"a.txt": b"one\n", "b/c 100%.csv": b"t,x\n1,2\n", "empty": b""},
    {"README.txt": b"words\n", "bag-info.txt": b"External-Identifier: C1\n"},
)


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    return sealing.sealed_mill(tmp_path_factory.mktemp("mill"))


@pytest.fixture
def bag(mill, tmp_path):
    return sealing.bag_of(mill, tmp_path / "bags")


def test_another_tool_reads_it_as_a_crate(bag):
    """The RO-Crate project's own library; it ends with an error where the root is not in order."""
    from rocrate.rocrate import ROCrate  # takes a fifth of a second to load

    found = ROCrate(str(bag / "data"))
    assert found.name == "Drying record of charge C1"
    assert found.mainEntity.id == "dossier.json"
    assert found.license["name"]
    here = {
        path.relative_to(bag / "data").as_posix()
        for path in (bag / "data").rglob("*")
        if path.is_file()
    }
    assert {part.id for part in found.data_entities} == here - {found.metadata.id}
    sizes = {part.id: int(part["contentSize"]) for part in found.data_entities}
    assert sizes == {path: (bag / "data" / path).stat().st_size for path in sizes}


def test_another_bagit_tool_finds_it_valid(bag):
    made = bagit.Bag(str(bag))
    made.validate()
    assert made.version_info == (1, 0)
    assert set(made.algorithms) == {"sha256", "sha512"}
    assert made.info["External-Identifier"] == "C1"
    assert made.info["Bagging-Date"] == "2026-06-08"
    assert set(made.payload_files()) == {
        path.relative_to(bag).as_posix() for path in (bag / "data").rglob("*") if path.is_file()
    }


def test_the_readmes_commands_check_the_manifests_with_common_tools(bag):
    for algorithm in ("sha256", "sha512"):
        tool = shutil.which(f"{algorithm}sum")
        if tool is None:
            pytest.skip("no checksum tool on the PATH")
        for manifest in (f"manifest-{algorithm}.txt", f"tagmanifest-{algorithm}.txt"):
            subprocess.run([tool, "--strict", "--quiet", "-c", manifest], cwd=bag, check=True)


def test_a_bags_data_is_a_mill_folder_that_can_be_reviewed_by_itself(bag):
    folder = checked_mill(bag / "data")
    assert list(folder.charges) == ["C1"]
    again = sealing.review(bag / "data")
    sealed = json.loads((bag / "data/dossier.json").read_bytes())
    assert json.loads(again.model_dump_json()) == sealed


def test_the_raw_files_are_the_mills_own_bytes(mill, bag):
    for noun in (
        "charge",
        "log",
        "mill",
        "kiln",
        "logger",
        "species",
        "schedule",
        "limits",
        "sources",
    ):
        assert (bag / "data" / FILES[noun]).read_bytes() == (mill / FILES[noun]).read_bytes()
    assert not (bag / "data" / FILES["lot"]).exists()
    assert not list(bag.rglob("*.pem"))


def test_the_same_seal_gives_the_same_bytes(mill, tmp_path, monkeypatch):
    first = bag_files(mill, "C1", notice=sealing.NOTICE)
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    elsewhere = shutil.copytree(mill, tmp_path / "elsewhere")
    assert bag_files(elsewhere, "C1", notice=sealing.NOTICE) == first
    out = sealing.bag_of(elsewhere, tmp_path / "out")
    sealing.bag_of(elsewhere, tmp_path / "out")  # over the existing one
    assert read_bag(out) == (first, [])
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["C1"]


def test_a_later_change_of_a_shared_file_does_not_change_the_bag(mill, tmp_path):
    first = bag_files(mill, "C1", notice=sealing.NOTICE)
    later = shutil.copytree(mill, tmp_path / "later")
    sealing.change(later / FILES["mill"], "office@mill.example", "desk@mill.example")
    assert bag_files(later, "C1", notice=sealing.NOTICE) == first


def test_a_bag_is_on_the_disk_before_it_takes_its_place(mill, tmp_path, monkeypatch):
    flushed = noted_syncs(monkeypatch)
    bag = sealing.bag_of(mill, tmp_path / "bags")
    assert {path.stat().st_ino for path in (bag, *bag.rglob("*"))} <= flushed
    assert [path.name for path in bag.parent.iterdir()] == [bag.name]


def test_another_charges_seal_does_not_change_the_bag(tmp_path):
    sealing.two_charges(tmp_path)
    sealing.seal_charge(tmp_path)
    first = bag_files(tmp_path, "C1", notice=sealing.NOTICE)
    sealing.seal_charge(tmp_path, "C2")
    assert bag_files(tmp_path, "C1", notice=sealing.NOTICE) == first
    assert first[f"data/{ENTRIES}"].count(b"\n") == 1


def test_further_payload_is_covered_by_the_manifests(mill):
    files = bag_files(mill, "C1", notice=sealing.NOTICE, extra={"record.pdf": b"%PDF-1.7\n"})
    assert verify_files(files) == []
    digest = hashlib.sha256(b"%PDF-1.7\n").hexdigest()
    assert f"{digest}  data/record.pdf\n" in files["manifest-sha256.txt"].decode()


def test_a_bag_is_made_only_of_a_sealed_charge(tmp_path):
    minimal_mill(tmp_path)
    with pytest.raises(NotSealedError, match="kilnfolio seal C1"):
        bag_files(tmp_path, "C1", notice=sealing.NOTICE)


# --- the README and the descriptor ----------------------------------------------------------------


def test_the_readme_explains_everything_needed(bag):
    text = (bag / "README.txt").read_text("utf-8")
    dossier = json.loads((bag / "data/dossier.json").read_bytes())
    assert sealing.NOTICE in text
    assert "invented" in text.splitlines()[3]
    assert hashlib.sha256((bag / "data/dossier.json").read_bytes()).hexdigest() in text
    assert sealing.key().public in text
    for working in dossier["workings"]:
        result = working["result"].replace("\N{NO-BREAK SPACE}", " ")
        assert f"  {working['name']}\n" in text
        assert f"= {result}\n" in text
    assert max(map(len, text.splitlines())) <= 92
    assert "\N{NO-BREAK SPACE}" not in text


def numbers_after(text, heading, names):
    """Read 'name = number' lines of the README below a heading."""
    part = text[text.index(heading) :]
    return [float(re.search(rf"^\s+{name} = (\S+)", part, re.M)[1]) for name in names]


def test_the_readmes_formulas_by_themselves_give_the_figures(bag):
    """Follow the README as a reader would, with its own numbers: RH and EMC of the set-points."""
    from math import exp, log

    text = (bag / "README.txt").read_text("utf-8")
    dossier = json.loads((bag / "data/dossier.json").read_bytes())
    a, b, c, d, e, g = numbers_after(text, "over water:", "abcdeg")
    coefficient = float(re.search(r"A = (\S+) per °C \(ventilated", text)[1])
    pressure = float(re.search(r"air pressure: +(\d+) Pa", text)[1])

    def polynomial(name):
        line = re.search(rf"^  {name}\s* = (.+)$", text, re.M)[1]
        terms = line.replace("− ", "-").replace("+ ", "").split()
        return [float(re.match(r"[-\d.]+", term)[0]) for term in terms]

    def saturation(t):
        kelvin = t + 273.15
        return exp(a / kelvin + b + c * kelvin + d * kelvin**2 + e * kelvin**3 + g * log(kelvin))

    for point in dossier["set_points"]:
        t, wet = point["dry_bulb_c"], point["wet_bulb_c"]
        h = (saturation(wet) - coefficient * pressure * (t - wet)) / saturation(t)
        w, k, k1, k2 = (
            p[0] + p[1] * t + p[2] * t * t for p in map(polynomial, ("W", "K", "K1", "K2"))
        )
        kh = k * h
        emc = (
            1800
            / w
            * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2))
        )
        assert 100 * h == pytest.approx(point["relative_humidity_pct"], abs=0.06)
        assert emc == pytest.approx(point["emc_pct"], abs=0.011)


def read_by_descriptor(data, path):
    """Read a table using only its descriptor (Data Package, version 2)."""
    package = json.loads((data / "datapackage.json").read_bytes())
    [resource] = [r for r in package["resources"] if r["path"] == path]
    raw = (data / path).read_bytes()
    assert len(raw) == resource["bytes"]
    assert resource["hash"] == f"sha256:{hashlib.sha256(raw).hexdigest()}"
    dialect, fields = resource["dialect"], resource["schema"]["fields"]
    rows = list(
        csv.reader(raw.decode(resource["encoding"]).splitlines(), delimiter=dialect["delimiter"])
    )
    apart = {*dialect["headerRows"], *dialect["commentRows"]}
    [header] = [row for number, row in enumerate(rows, 1) if number in dialect["headerRows"]]
    assert header == [field["name"] for field in fields]
    body = [row for number, row in enumerate(rows, 1) if number not in apart]
    return fields, [
        {
            field["name"]: cast(cell, field, resource["schema"]["missingValues"])
            for field, cell in zip(fields, row, strict=True)
        }
        for row in body
    ]


def cast(cell, field, missing):
    if cell in missing:
        return None
    if field["type"] == "number":
        return float(cell.replace(field["decimalChar"], "."))
    if field["type"] in ("datetime", "date", "time"):
        return dt.datetime.strptime(cell, field["format"])  # noqa: DTZ007  the logger's clock
    return cell


def test_reading_the_log_by_its_descriptor_gives_the_dossiers_figures(bag):
    fields, rows = read_by_descriptor(bag / "data", sealing.LOG)
    assert [(f["type"], f.get("unit")) for f in fields] == [
        ("datetime", None),
        ("number", "°C"),
        ("number", "°C"),
    ]
    log = json.loads((bag / "data/dossier.json").read_bytes())["log"]
    assert len(rows) == log["rows"]
    first = [
        row
        for row in rows
        if row["time"] < rows[0]["time"] + dt.timedelta(hours=log["summary_hours"])
    ]
    mean = sum(row["DB"] for row in first) / len(first)
    assert mean == pytest.approx(log["air"][0]["dry_bulb_c"], abs=0.006)
    humidity = [relative_humidity(row["DB"], row["WB"], 97656.0) for row in first]
    assert sum(humidity) / len(humidity) == pytest.approx(
        log["air"][0]["relative_humidity_pct"], abs=0.06
    )


def test_the_descriptor_fits_a_semicolon_export_with_two_heading_rows(tmp_path):
    lines = minimal_mill(tmp_path / "plain").joinpath(sealing.LOG).read_text().splitlines()[1:]
    rows = [
        ";".join(
            cell.replace(".", ",")
            for cell in (*line.split(",")[0].split(), *line.split(",")[1:], "x")
        )
        for line in lines
    ]
    rows[5] = ";".join([*rows[5].split(";")[:2], "----", *rows[5].split(";")[3:]])
    profile = {
        "delimiter": ";",
        "decimal": ",",
        "heading_rows": 2,
        "names_row": 2,
        "encoding": "latin-1",
        "missing": ["----"],
        "ignored": ["spare"],
        "time": {"heading": "day", "time_heading": "clock"},
        "columns": lambda columns: columns[0].update(heading="DB °C"),
    }
    root = tmp_path / "mill"
    minimal_mill(
        root,
        logger=lambda logger: [
            logger.update({k: v for k, v in profile.items() if k not in ("time", "columns")}),
            logger["time"].update(profile["time"]),
            profile["columns"](logger["columns"]),
        ],
        log="\r\n".join(["export 7", "day;clock;DB °C;WB;spare", *rows, ""]).encode("latin-1"),
    )
    sealing.seal_charge(root)
    bag = sealing.bag_of(root, tmp_path / "out")
    fields, found = read_by_descriptor(bag / "data", sealing.LOG)
    assert [f["type"] for f in fields] == ["date", "time", "number", "number", "string"]
    assert (found[0]["day"].date(), found[1]["clock"].time()) == (
        dt.date(2026, 6, 1),
        dt.time(8, 30),
    )
    assert found[5]["DB °C"] is None
    assert found[6]["DB °C"] == float(lines[6].split(",")[1])


def test_a_charge_without_a_log_has_no_table(tmp_path):
    sealing.sealed_mill(tmp_path, charge=lambda c: c.pop("log"))
    files = bag_files(tmp_path, "C1", notice=sealing.NOTICE)
    assert json.loads(files["data/datapackage.json"])["resources"] == []


# --- nothing may change ---------------------------------------------------------------------------


def flipped(files, path, bit):
    data = bytearray(files[path])
    data[bit // 8] ^= 1 << bit % 8
    return {**files, path: bytes(data)}


def named(differences, path):
    return any(d.where.partition(":")[0] in (path, path.replace("%", "%25")) for d in differences)


def mentioned(differences, path):
    return named(differences, path) or any(path in d.what for d in differences)


def test_every_flipped_bit_of_a_small_bag_is_reported():
    """All eight bits of every byte of every file; the changed file is named each time."""
    assert verify_files(SMALL) == []
    for path, data in SMALL.items():
        for bit in range(8 * len(data)):
            differences = verify_files(flipped(SMALL, path, bit))
            # no manifest covers a tagmanifest; the other one shows which of the two is wrong
            found = mentioned if path.startswith("tagmanifest") else named
            assert found(differences, path), (path, bit)


def test_flipped_bits_of_a_real_bag_are_reported(mill):
    """One bit in every few bytes of a charge's bag; in every byte with KILNFOLIO_EVERY_BYTE."""
    files = bag_files(mill, "C1", notice=sealing.NOTICE)
    chance = random.Random(1)
    step = 1 if os.environ.get("KILNFOLIO_EVERY_BYTE") else 97
    for path, data in files.items():
        for byte in range(chance.randrange(step), len(data), step):
            differences = verify_files(flipped(files, path, 8 * byte + chance.randrange(8)))
            assert mentioned(differences, path), (path, byte)


@pytest.mark.parametrize("path", sorted(SMALL))
def test_a_missing_file_is_reported(path):
    differences = verify_files({name: data for name, data in SMALL.items() if name != path})
    assert named(differences, path)


@pytest.mark.parametrize(
    "path",
    [
        "data/new.txt",
        "data/b/new.txt",
        "new.txt",
        ".hidden",
        "manifest-md5.txt",
        "tagmanifest-md5.txt",
        "data/a.txt~",
    ],
)
def test_an_added_file_is_reported(path):
    differences = verify_files({**SMALL, path: b"x"})
    assert named(differences, path)


@pytest.mark.parametrize("path", sorted(SMALL))
def test_a_renamed_file_is_reported(path):
    new = {name: data for name, data in SMALL.items() if name != path}
    new[f"{path}.bak"] = SMALL[path]
    differences = verify_files(new)
    assert named(differences, path)
    assert named(differences, f"{path}.bak")


def test_two_exchanged_files_are_reported():
    differences = verify_files(
        {
            **SMALL,
            "data/a.txt": SMALL["data/b/c 100%.csv"],
            "data/b/c 100%.csv": SMALL["data/a.txt"],
        }
    )
    assert {d.where for d in differences} == {"data/a.txt", "data/b/c 100%.csv"}


def test_a_file_changed_with_only_one_manifest_is_still_reported():
    """Both SHA-256 and SHA-512 must match: whoever adjusts one of them is caught by the other."""
    changed = b"two\n"
    old, new = (
        hashlib.sha256(data).hexdigest().encode() for data in (SMALL["data/a.txt"], changed)
    )
    files = {
        **SMALL,
        "data/a.txt": changed,
        "manifest-sha256.txt": SMALL["manifest-sha256.txt"].replace(old, new),
    }
    assert {("manifest-disagrees", "data/a.txt"), ("file-changed", "manifest-sha256.txt")} <= {
        (d.kind, d.where) for d in verify_files(files)
    }


@pytest.mark.parametrize(
    "change",
    [
        lambda t: t.replace(b"\n", b"\r\n"),
        lambda t: t.rstrip(b"\n"),
        lambda t: t + t,
        lambda t: b"\n".join(reversed(t.splitlines())) + b"\n",
        lambda t: t + b"\n",
        lambda t: t[:0],
        lambda t: t.upper(),
        lambda t: b"\xff" + t,
    ],
)
def test_a_manifest_in_another_format_is_reported(change):
    for path in ("manifest-sha256.txt", "tagmanifest-sha512.txt"):
        assert named(verify_files({**SMALL, path: change(SMALL[path])}), path)


def test_links_are_reported_and_not_followed(bag, tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("elsewhere")
    target = bag / "data" / sealing.LOG
    target.unlink()
    target.symlink_to(secret)
    files, differences = read_bag(bag)
    assert [(d.kind, d.where) for d in differences] == [("not-a-file", f"data/{sealing.LOG}")]
    assert b"elsewhere" not in files.values()
