"""A charge whose boards are only read by a hand meter has its page and its workings."""

from tests.minimal import DROP, minimal_mill

from kilnfolio.records.folder import open_mill
from kilnfolio.review.review import review_charge
from kilnfolio.site.pages.workings.charge import charge_workings

ROUNDS = [
    {"at": "2026-06-02T08:00", "method": "hand meter", "mc": {"N1": "19 %", "N2": "18 %"}},
    {"at": "2026-06-06T08:00", "method": "hand meter", "mc": {"N1": "13 %", "N2": "12 %"}},
]


def test_workings_are_made_without_weighed_boards(tmp_path):
    root = minimal_mill(tmp_path, charge={"boards": DROP, "weighings": DROP, "mc_rounds": ROUNDS})
    folder = open_mill(root)
    dossier = review_charge(folder, "C1")
    assert [one.mc_pct for one in dossier.controlling] == [19.0, 13.0]  # the wettest half of two
    shown = charge_workings(folder, folder.charges["C1"].record, dossier)
    assert "water-removed" in shown
    assert "mc-from" not in shown  # what a meter showed has no working
