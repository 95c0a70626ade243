"""Measure forecasts and early warnings on the check charges, and write the figures pages print.

``python -m tests.forecast.measure`` writes ``builder/kilnfolio/forecast/measured.yaml`` in about
two minutes. Run it after any change of the forecast; the figures are kept in that file only.
"""

import sys
from pathlib import Path

import numpy as np
import yaml
from tests.forecast.check_charges import group, plan
from tests.forecast.planted import rates
from tests.forecast.table import all_trials

from kilnfolio.forecast.evaluation import SHARES
from kilnfolio.forecast.green_load import Load, basis_for, forecast_load

OUT = Path(__file__).parents[2] / "builder/kilnfolio/forecast/measured.yaml"
COMMAND = "python -m tests.forecast.measure"
HEAD = f"# Written by `{COMMAND}`, from the invented charges of tests/data/drying; do not edit.\n"
FAULTS = {
    "wrong by 2": "one weighing wrong by 2 points of MC",
    "wrong by 4": "one weighing wrong by 4 points",
    "wrong by 8": "one weighing wrong by 8 points",
    "swapped, gap < 4": "two tags swapped, boards less than 4 points apart",
    "swapped, gap 4 to 10": "two tags swapped, 4 to 10 points apart",
    "swapped, gap > 10": "two tags swapped, more than 10 points apart",
    "wick, 1.3": "a wick so dry that the true depression is 1.3 times the one shown",
    "wick, 1.6": "a wick so dry that it is 1.6 times the one shown",
}


def measured(each=200, whole=True):
    """The content of the file, as plain data."""
    return {
        "command": COMMAND,
        "warnings": _warnings(rates(each, whole=whole)),
        "forecasts": _forecasts(list(all_trials(whole))),
        "loads": _loads(),
    }


def _warnings(found):
    faults = []
    for kind, words in FAULTS.items():
        hits, planted = found.found[kind]
        row = {"fault": words, "planted": planted, "found": hits}
        pair = found.found.get(kind.replace("swapped", "right pair"))
        if kind.startswith("swapped") and pair:
            row["right_pair"] = pair[0]
        if kind in found.wick_days:
            row["days_until_found"] = round(float(np.median(found.wick_days[kind])), 1)
        faults.append(row)
    drift, _ = found.found["drift, sound"]
    return {
        "sound_weighings": found.weighings,
        "sound_weighings_named": found.flagged,
        "sound_charges": found.charges,
        "sound_charges_named": found.charges_flagged,
        "sound_charges_with_drift": drift,
        "other_charges": found.others[2],
        "other_charges_named": found.others[3],
        "other_weighings": found.others[0],
        "other_weighings_named": found.others[1],
        "faults": faults,
    }


def _forecasts(found):
    rows = []
    for share in SHARES:
        here = [one for one in found if one.share == share]
        rows.append(
            {
                "share": share,
                "charges": len(here),
                "median_error": _rounded([one.curve for one in here], 0.5),
                "error_90": _rounded([one.curve for one in here], 0.9),
                "line": _rounded([one.line for one in here], 0.5),
                "exponential": _rounded([one.exponential for one in here], 0.5),
                "in80": sum(one.in80 for one in here),
                "in95": sum(one.in95 for one in here),
                "next_step_days": round(
                    float(np.nanmedian([one.next_step_days for one in here])), 2
                ),
            }
        )
    return rows


def _rounded(values, share):
    return round(float(np.quantile(values, share)), 1)


def _loads():
    charges = in80 = in95 = 0
    for wood in ("oak", "maple"):
        for model in "ABC":
            earlier = [one.run for one in group(wood, model, "earlier")]
            days = forecast_load(Load(wood, 27.0, plan(wood)), basis_for(wood, 27.0, earlier)).days
            for one in group(wood, model, "test"):
                end = one.end / 24.0
                charges += 1
                in80 += days.low80 <= end <= days.high80
                in95 += days.low95 <= end <= days.high95
    return {"charges": charges, "in80": int(in80), "in95": int(in95)}


if __name__ == "__main__":
    OUT.write_text(HEAD + yaml.safe_dump(measured(), sort_keys=False, width=100), "utf-8")
    sys.stdout.write(f"{OUT.name} written\n")
