"""The mill's year: its charges and lots, October 2025 to October 2026."""

from __future__ import annotations

import datetime as dt

from demo.plans import (
    ChargePlan,
    Fault,
    HeatTreatmentPlan,
    LotPlan,
    Miscopied,
    PowerStop,
    RunningPlan,
    SurveyPlan,
)
from demo.scenario import ZONE


def _on(year: int, month: int, day: int, hour: int, minute: int) -> dt.datetime:
    return dt.datetime(year, month, day, hour, minute, tzinfo=ZONE)


_SPRUCE = "picea-mariana-8-4-heat-treated-timed"
_NOT_CONDITIONED = (("schedule-end-air", "The charge is neither equalized nor conditioned: timber "
                     "for packaging goes out as it comes from the last drying step."),)
_UNCORRECTED = SurveyPlan(corrected_for=("species",), wood_temp_c=26.0)

CHARGES = (
    # --- kiln 1 -----------------------------------------------------------------------------------
    ChargePlan("HB-25-041", "kiln-1", "quercus-rubra-4-4", "quercus-rubra", "4/4",
               _on(2025, 10, 2, 8, 30), 76.0, 5.0, 8.0, 42.0, supplier="Wolf Narrows Sawmill",
               claim="Narrows Forest Group claim 70 % (invented)", survey=SurveyPlan(52),
               power_stop=PowerStop(19.35, 3.2, "grid failure after a storm; doors kept shut"),
               resectioned=3,
               notes="Fred from the power company rang twice; generator quote still open."),
    ChargePlan("HB-25-046", "kiln-1", "acer-saccharum-4-4", "acer-saccharum", "4/4",
               _on(2025, 11, 7, 9, 10), 66.0, 4.5, 8.0, 42.0, supplier="Cedar Ford Lumber",
               fault=Fault("dry wick", day=7.6, hours=48.0)),
    ChargePlan("HB-25-050", "kiln-1", "quercus-alba-4-4", "quercus-alba", "4/4",
               _on(2025, 11, 26, 10, 20), 66.0, 4.0, 8.0, 38.5, supplier="Wolf Narrows Sawmill",
               conditioning_hours=13.0, survey=SurveyPlan(56),
               resectioned=3),
    ChargePlan("HB-26-004", "kiln-1", "betula-alleghaniensis-4-4", "betula-alleghaniensis", "4/4",
               _on(2026, 1, 14, 8, 50), 70.0, 4.5, 8.0, 42.0, supplier="Petite-Rive Bois",
               fault=Fault("stopped fan", day=3.62, hours=7.5),
               notes="Night shift one short all week."),
    ChargePlan("HB-26-011", "kiln-1", "quercus-rubra-4-4", "quercus-rubra", "5/4",
               _on(2026, 2, 9, 9, 40), 78.0, 4.5, 8.0, 42.0, supplier="Stillwater Yard",
               conditioning_hours=18.0, fault=Fault("early step", day=8.0, size=2.0)),
    ChargePlan("HB-26-019", "kiln-1", "prunus-serotina-4-4", "prunus-serotina", "4/4",
               _on(2026, 4, 8, 8, 20), 57.0, 4.0, 8.0, 42.0, supplier="Cedar Ford Lumber",
               fault=Fault("arithmetic slip", day=3.0, size=-1.0)),
    ChargePlan("HB-26-027", "kiln-1", "tilia-americana-4-4", "tilia-americana", "4/4",
               _on(2026, 5, 12, 9, 30), 104.0, 8.0, 8.0, 35.0, supplier="Petite-Rive Bois",
               conditioning_hours=8.0, survey=_UNCORRECTED),
    ChargePlan("HB-26-034", "kiln-1", "betula-alleghaniensis-4-4", "betula-alleghaniensis", "5/4",
               _on(2026, 6, 24, 8, 10), 71.0, 4.5, 12.0, 42.0, supplier="Petite-Rive Bois",
               claim="Narrows Forest Group claim 70 % (invented)",
               resectioned=3, survey=SurveyPlan(72), miscopied=Miscopied(49, "14.1 %", 17)),
    # --- kiln 2 -----------------------------------------------------------------------------------
    ChargePlan("HB-25-043", "kiln-2", "prunus-serotina-4-4", "prunus-serotina", "4/4",
               _on(2025, 10, 23, 9, 0), 56.0, 4.0, 8.0, 28.0, supplier="Cedar Ford Lumber",
               survey=SurveyPlan(50)),
    ChargePlan("HB-25-048", "kiln-2", _SPRUCE, "picea-mariana", "8/4",
               _on(2025, 11, 18, 7, 40), 48.0, 3.5, 16.0, 28.0, boards=6, sawn_days_before=5,
               supplier="Loon Portage Mill", heat_treatment=HeatTreatmentPlan(),
               waivers=_NOT_CONDITIONED,
               survey=SurveyPlan(60)),
    ChargePlan("HB-25-053", "kiln-2", "tilia-americana-4-4", "tilia-americana", "4/4",
               _on(2025, 12, 4, 8, 40), 102.0, 8.0, 8.0, 28.0, supplier="Petite-Rive Bois",
               conditioning_hours=8.0, fault=Fault("equalizing cut short", hours=30.0)),
    ChargePlan("HB-26-006", "kiln-2", _SPRUCE, "picea-mariana", "8/4",
               _on(2026, 1, 20, 7, 50), 47.0, 3.5, 16.0, 28.0, boards=6, sawn_days_before=6,
               supplier="Loon Portage Mill", fault=Fault("cold core", size=0.5),
               waivers=_NOT_CONDITIONED,
               heat_treatment=HeatTreatmentPlan(leaks=(0.005, 0.02, 0.199, 0.01)),
               survey=SurveyPlan(60)),
    ChargePlan("HB-26-008", "kiln-2", "juglans-nigra-4-4", "juglans-nigra", "4/4",
               _on(2026, 2, 25, 10, 15), 80.0, 4.5, 8.0, 24.5, supplier="Stillwater Yard",
               survey=SurveyPlan(48)),
    ChargePlan("HB-26-015", "kiln-2", "pinus-strobus-8-4-timed", "pinus-strobus", "8/4",
               _on(2026, 3, 24, 8, 0), 70.0, 4.0, 10.0, 28.0, boards=6, sawn_days_before=4,
               supplier="Loon Portage Mill", conditioning_hours=8.0),
    ChargePlan("HB-26-038", "kiln-2", "acer-saccharum-4-4", "acer-saccharum", "5/4",
               _on(2026, 8, 19, 9, 20), 65.0, 4.5, 8.0, 28.0, supplier="Cedar Ford Lumber",
               survey=_UNCORRECTED, fault=Fault("mis-weighed board", day=12.5)),
    # --- kiln 3 -----------------------------------------------------------------------------------
    ChargePlan("HB-25-044", "kiln-3", "acer-saccharum-4-4-dh", "acer-saccharum", "4/4",
               _on(2025, 11, 4, 9, 30), 62.0, 4.0, 8.0, 18.0, boards=6, conditioning_hours=20.0,
               supplier="Cedar Ford Lumber"),
    ChargePlan("HB-25-052", "kiln-3", "quercus-rubra-8-4-dh", "quercus-rubra", "8/4",
               _on(2025, 12, 8, 9, 0), 23.0, 1.0, 8.0, 18.0, start="air-dried", first_step=6,
               boards=6, conditioning_hours=36.0, sawn_days_before=310, supplier="Stillwater Yard"),
    ChargePlan("HB-26-013", "kiln-3", "fraxinus-americana-4-4-dh", "fraxinus-americana", "4/4",
               _on(2026, 3, 12, 9, 45), 46.0, 3.0, 8.0, 18.0, boards=6, conditioning_hours=18.0,
               supplier="Wolf Narrows Sawmill", survey=SurveyPlan(84),
               fault=Fault("small survey", size=12)),
    ChargePlan("HB-26-030", "kiln-3", "acer-saccharum-4-4-dh", "acer-saccharum", "5/4",
               _on(2026, 5, 20, 9, 15), 63.0, 4.0, 8.0, 15.0, boards=6, conditioning_hours=24.0,
               supplier="Cedar Ford Lumber",
               resectioned=2, notes="Compressor belt squeals on cold starts; ask for a price."),
    ChargePlan("HB-26-040", "kiln-3", "quercus-rubra-8-4-dh", "quercus-rubra", "8/4",
               _on(2026, 8, 20, 8, 45), 17.5, 1.0, 8.0, 18.0, start="air-dried", first_step=7,
               boards=6, conditioning_hours=40.0, sawn_days_before=290, supplier="Stillwater Yard"),
)


#: The demonstration's present: what is on record ends here.
NOW = _on(2026, 10, 15, 7, 50)
#: Charges that run at that time: one going well, one in trouble, one with sections in the oven.
RUNNING = (
    RunningPlan(ChargePlan("HB-26-042", "kiln-1", "quercus-rubra-4-4", "quercus-rubra", "4/4",
                           _on(2026, 9, 26, 9, 0), 77.0, 4.5, 8.0, 42.0,
                           supplier="Wolf Narrows Sawmill"),
                note="Step taken on time; boards look clean. Watch S4, the slowest."),
    RunningPlan(ChargePlan("HB-26-043", "kiln-2", "acer-saccharum-4-4", "acer-saccharum", "4/4",
                           _on(2026, 10, 5, 9, 30), 66.0, 4.5, 8.0, 28.0,
                           supplier="Cedar Ford Lumber",
                           fault=Fault("dry wick", day=3.0, hours=166.0)),
                rounds_missed=2,
                note="Wet bulb creeps up although nothing was set. No time to look before the "
                     "shift ended; boards not weighed yesterday."),
    RunningPlan(ChargePlan("HB-26-044", "kiln-3", "fraxinus-americana-4-4-dh",
                           "fraxinus-americana", "4/4", _on(2026, 10, 14, 15, 10), 47.0, 3.0, 8.0,
                           18.0, boards=6, supplier="Wolf Narrows Sawmill"),
                in_the_oven=("S4", "S5", "S6"),
                note="Second half of the sections went into the oven at 14:00; out at noon."),
)

_BAND = {"target_mc": "8 %", "rule": "band", "lowest": "6 %", "highest": "10 %", "share": "95 %",
         "mean_lowest": "7 %", "mean_highest": "9.5 %"}
_FURNITURE = {"target_mc": "8 %", "rule": "band", "lowest": "6 %", "highest": "9 %",
              "share": "90 %"}
_EN_8 = {"target_mc": "8 %", "rule": "en-14298"}
_EN_12 = {"target_mc": "12 %", "rule": "en-14298"}
_EN_16 = {"target_mc": "16 %", "rule": "en-14298"}
_KD19 = {"target_mc": "16 %", "rule": "maximum", "highest": "19 %", "share": "95 %"}
_SHOWN = {"claimed_confidence": "95 %"}
_CLAIM = "Narrows Forest Group claim 70 % (invented)"
_SHED = ("12 °C", "79 %")

LOTS = (
    LotPlan("HBL-25-101", "HB-25-041", (0, 1, 2, 3), "Red oak, kiln-dried, select and better",
            _EN_8, "Quillfeather Joinery", "PO 7731-Q", 6, claim=_CLAIM,
            notes="Buyer asks for the widest boards on top of each pack."),
    LotPlan("HBL-25-102", "HB-25-041", (4, 5, 6, 7, 8, 9, 10, 11),
            "Red oak, kiln-dried, No. 1 common", _BAND | {"share": "90 %"},
            "Marrowstone Floors", "MF-20418", 11),
    LotPlan("HBL-25-103", "HB-25-043", (0, 1, 2, 3, 4), "Black cherry, kiln-dried, furniture grade",
            _BAND, "Ashgrove & Tallis Cabinetmakers", "AT 3302", 5),
    LotPlan("HBL-25-104", "HB-25-044", (0, 1, 2, 3), "Hard maple, kiln-dried, white sapwood",
            _FURNITURE, "Pellinore Furniture", "PF/25/881", 7),
    LotPlan("HBL-25-105", "HB-25-046", (0, 1, 2, 3, 4, 5), "Hard maple, kiln-dried, flooring stock",
            _EN_8, "Marrowstone Floors", "MF-20466", 8),
    LotPlan("HBL-25-108", "HB-25-048", (6, 7), "Spruce, kiln-dried, for garden framing", _EN_16,
            "Fennimore Sash and Door", "FSD 1097", 6, storage=_SHED),
    LotPlan("HBL-25-106", "HB-25-048", (0, 1, 2, 3, 4, 5),
            "Spruce, kiln-dried, for packaging", _KD19, "Brackwater Crate and Pallet",
            "BCP 5590", 4,
            storage=_SHED, heat_treatment_stated=True),
    LotPlan("HBL-26-001", "HB-25-050", (0, 1, 2, 3, 4, 5), "White oak, kiln-dried, rift and plain",
            _EN_8, "Quillfeather Joinery", "PO 7802-Q", 9),
    LotPlan("HBL-26-002", "HB-25-050", (6, 7, 8, 9), "White oak, kiln-dried, stave offcuts",
            _BAND, "Dunmorrow Cooperage", "DC-118", 14, length="0.9 m to 1.8 m"),
    LotPlan("HBL-25-107", "HB-25-053", (0, 1, 2, 3, 4, 5), "Basswood, kiln-dried, carving grade",
            _EN_8, "Tamsin Vale Carvers' Guild", "TV 64", 5, thickness="26 mm"),
    LotPlan("HBL-26-003", "HB-26-006", (0, 1, 2, 3, 4, 5, 6, 7),
            "Spruce, kiln-dried, for packaging", _KD19, "Brackwater Crate and Pallet",
            "BCP 5714", 6,
            storage=_SHED, heat_treatment_stated=True),
    LotPlan("HBL-26-004", "HB-25-052", (0, 1, 2), "Red oak, kiln-dried, 8/4 for table tops", _BAND,
            "Pellinore Furniture", "PF/26/017", 9),
    LotPlan("HBL-26-005", "HB-26-004", (0, 1, 2, 3, 4, 5, 6, 7),
            "Yellow birch, kiln-dried, cabinet", _EN_8, "Corrigan Lathe Kitchens", "CLK-9042", 7),
    LotPlan("HBL-26-006", "HB-26-008", (0, 1, 2, 3), "Black walnut, kiln-dried, steamed sapwood",
            _BAND, "Ashgrove & Tallis Cabinetmakers", "AT 3391", 6),
    LotPlan("HBL-26-007", "HB-26-008", (4, 5, 6), "Black walnut, kiln-dried, No. 1 common", _EN_8,
            "Corrigan Lathe Kitchens", "CLK-9107", 12),
    LotPlan("HBL-26-008", "HB-26-011", (0, 1, 2, 3, 4, 5),
            "Red oak, kiln-dried, 27 mm skip-dressed", _EN_8, "Quillfeather Joinery",
            "PO 7911-Q", 8, thickness="27 mm"),
    LotPlan("HBL-26-009", "HB-26-013", (0, 1, 2, 3), "White ash, kiln-dried, handle stock",
            _EN_8 | _SHOWN, "Old Sable Tool Handles", "OST 2207", 5, length="1.0 m to 1.8 m"),
    LotPlan("HBL-26-010", "HB-26-015", (0, 1, 2, 3, 4, 5), "Eastern white pine, kiln-dried, shop",
            {"target_mc": "10 %", "rule": "maximum", "highest": "12 %", "share": "95 %"},
            "Fennimore Sash and Door", "FSD 1180", 6, storage=("17 °C", "55 %")),
    LotPlan("HBL-26-011", "HB-26-019", (0, 1, 2, 3, 4, 5), "Black cherry, kiln-dried, wide boards",
            _BAND, "Pellinore Furniture", "PF/26/140", 7),
    LotPlan("HBL-26-012", "HB-26-027", (0, 1, 2, 3, 4, 5, 6), "Basswood, kiln-dried, blind stock",
            _EN_8, "Fennimore Sash and Door", "FSD 1223", 5),
    LotPlan("HBL-26-013", "HB-26-030", (0, 1, 2, 3), "Hard maple, kiln-dried, 27 mm for worktops",
            _EN_8, "Corrigan Lathe Kitchens", "CLK-9260", 8, thickness="27 mm"),
    LotPlan("HBL-26-014", "HB-26-034", (0, 1, 2, 3, 4, 5, 6, 7, 8),
            "Yellow birch, kiln-dried for interior joinery", _EN_12 | _SHOWN,
            "Quillfeather Joinery", "PO 8040-Q", 6, storage=("18 °C", "65 %"), claim=_CLAIM,
            reissued_days_after=13),
    LotPlan("HBL-26-015", "HB-26-038", (0, 1, 2, 3, 4), "Hard maple, kiln-dried, stair treads",
            _EN_8, "Old Sable Tool Handles", "OST 2310", 9),
    LotPlan("HBL-26-016", "HB-26-040", (0, 1, 2, 3, 4), "Red oak, kiln-dried, 8/4 for newel posts",
            _BAND, "Quillfeather Joinery", "PO 8177-Q", 7),
)
