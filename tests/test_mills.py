"""The mills that benchmarks are run on: reviewed without a complaint, and the same every time."""

from hashlib import sha256
from pathlib import Path

from tests.bench.mills import charge_file, charge_ids, make_mill
from tests.reviewed import reviewed_mill


def digests(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): sha256(path.read_bytes()).hexdigest()
        for path in (folder / "content").rglob("*")
        if path.is_file()
    }


def test_a_made_mill_is_reviewed_without_a_complaint(tmp_path):
    mill = make_mill(tmp_path / "mill", charges=10)
    reviewed = reviewed_mill(mill)
    assert list(reviewed.dossiers) == charge_ids(10)
    assert all(charge_file(mill, identity).is_file() for identity in charge_ids(10))
    assert len(reviewed.lots) == 100
    findings = [
        finding
        for review in (*reviewed.dossiers.values(), *reviewed.lots.values())
        for finding in review.findings
    ]
    assert {finding.outcome for finding in findings} <= {"pass", "no data", "not applicable"}
    held = {finding.check for finding in findings if finding.outcome == "pass"}
    assert {"drier-than-the-air-allows", "step-timing", "lot-moisture"} <= held
    # air-dried to 20 %: no board is wet enough for a safe rate to hold
    safe_rate = [finding for finding in findings if finding.check == "daily-loss"]
    assert {finding.outcome for finding in safe_rate} == {"not applicable"}
    assert all("above 30 %" in finding.message for finding in safe_rate)


def test_the_same_seed_makes_the_same_mill(tmp_path):
    first, second, other = (
        digests(make_mill(tmp_path / name, charges=3, seed=seed))
        for name, seed in (("first", 1), ("second", 1), ("other", 2))
    )
    assert first == second
    assert first.keys() == other.keys()
    assert first != other
