"""A new charge is judged on the charts it stands on; all others keep their verdicts."""

import shutil

from tests.minimal import FILES, minimal_mill, minimal_records

from kilnfolio.pipeline.build import build_site
from kilnfolio.records.earlier import CHARGES
from kilnfolio.trends import control

HEAD = "charge,kiln,species,thickness,started,ended,target_mc,final_mc,wick_per_day [K]\n"


def rows(name, kiln, thickness):
    """Return a year of the mill's own list: one kiln, one timber, a little scatter."""
    return "".join(
        f"{name}-{month},{kiln},quercus-rubra,{thickness},2024-{month:02}-01,2024-{month:02}-20,"
        f"8,{8 + month % 3 / 10},{month % 4 / 100}\n"
        for month in range(1, 13)
    )


def test_a_new_charge_leaves_the_charts_of_others_unjudged(tmp_path, monkeypatch):
    judged: list[str] = []

    def judge(series, looks, real=control.judge):
        judged.extend(series.numbers)
        return real(series, looks)

    monkeypatch.setattr(control, "judge", judge)
    root = minimal_mill(
        tmp_path / "mill",
        files={
            "content/kilns/k2.yaml": minimal_records()["kiln"] | {"id": "k2", "name": "Kiln 2"},
            CHARGES: HEAD + rows("A", "k1", "4/4") + rows("B", "k2", "8/4"),
        },
    )

    def build():
        judged.clear()
        build_site(root, root / "site", pdfs=False, workers=1)
        return set(judged)

    assert {"A-1", "B-1", "C1"} <= build()
    first = root / FILES["charge"]
    second = root / "content/charges/2026/C2/charge.yaml"
    shutil.copytree(first.parent, second.parent)
    second.write_text(first.read_text().replace("id: C1", "id: C2").replace("P1", "P9"))
    again = build()
    assert {"A-1", "C1", "C2"} <= again  # one kiln and one timber
    assert not [number for number in again if number.startswith("B-")]
