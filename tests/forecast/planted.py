"""Faults planted in the check charges, and how often they are found.

``python -m tests.forecast.planted`` prints the rates. All faults are drawn from one seed.
"""

import sys
from dataclasses import dataclass, field, replace

import numpy as np
from tests.forecast.check_charges import group

from kilnfolio.forecast.curve import learn
from kilnfolio.forecast.warning import check, watch
from kilnfolio.physics import air, sorption


@dataclass
class Rates:
    """What was found in weighings and charges without fault, and of each kind of fault."""

    weighings: int = 0
    flagged: int = 0
    charges: int = 0
    charges_flagged: int = 0
    others: tuple[int, int, int, int] = (0, 0, 0, 0)
    """The same four, of the charges that no constant of the warning was chosen on."""
    found: dict = field(default_factory=dict)
    wick_days: dict = field(default_factory=dict)

    def count(self, kind, hit):
        """Count one planted fault."""
        hits, all_ = self.found.get(kind, (0, 0))
        self.found[kind] = (hits + bool(hit), all_ + 1)

    def share(self, kind):
        """Share of one kind of fault that was found."""
        hits, all_ = self.found[kind]
        return hits / all_


def groups():
    """Yield a curve, a watch, and the charges that neither was learnt from."""
    for wood in ("oak", "maple"):
        for model in "ABC":
            earlier = [one.run for one in group(wood, model, "earlier")]
            curve = learn(earlier)
            yield curve, watch(curve, earlier), [one.run for one in group(wood, model, "test")]


def left_out():
    """Yield each earlier charge with a curve and a watch learnt from the others."""
    for wood in ("oak", "maple"):
        for model in "ABC":
            earlier = [one.run for one in group(wood, model, "earlier")]
            for run in earlier:
                others = [other for other in earlier if other is not run]
                curve = learn(others)
                yield curve, watch(curve, others), run


def rates(each=200, seed=1, whole=False):
    """Plant about `each` faults of every kind in the test charges.

    With `whole`, the earlier charges are also searched for false alarms, each left out in turn.
    """
    rng = np.random.default_rng(seed)
    found = Rates()
    sound = [(curve, known, run) for curve, known, runs in groups() for run in runs]
    for place, (curve, known, run) in enumerate([*sound, *(left_out() if whole else ())], 1):
        warnings = [one for one in check(run, curve, known) if one.kind != "drift"]
        found.flagged += sum(len(one.boards) for one in warnings)
        found.weighings += int(np.isfinite(run.weighings.mc_pct[2:]).sum())
        found.charges += 1
        found.charges_flagged += bool(warnings)
        if place == len(sound):
            found.others = (
                found.weighings,
                found.flagged,
                found.charges,
                found.charges_flagged,
            )
        found.count("drift, sound", any(one.kind == "drift" for one in check(run, curve, known)))
    for i in range(each):
        curve, known, run = sound[i % len(sound)]
        row = int(rng.integers(2, run.weighings.hours.size))
        boards = len(run.weighings.boards)
        for points in (2.0, 4.0, 8.0):
            board = int(rng.integers(boards))
            mc = run.weighings.mc_pct.copy()
            mc[row, board] += points * rng.choice([-1, 1])
            found.count(f"wrong by {points:g}", _named(run, mc, row, {board}, curve, known))
        a, b = (int(x) for x in rng.choice(boards, 2, replace=False))
        mc = run.weighings.mc_pct.copy()
        gap = abs(mc[row, a] - mc[row, b])
        mc[row, [a, b]] = mc[row, [b, a]]
        kind = "gap < 4" if gap < 4 else "gap 4 to 10" if gap <= 10 else "gap > 10"
        hit = _named(run, mc, row, {a, b}, curve, known)
        found.count(f"swapped, {kind}", hit)
        if hit:
            found.count(
                f"right pair, {kind}",
                any(
                    set(one.boards) == {run.weighings.boards[a], run.weighings.boards[b]}
                    for one in hit
                    if one.kind == "swapped"
                ),
            )
        for factor in (1.3, 1.6):
            dried, begun = _dry_wick(run, factor, rng)
            hints = [
                one
                for one in check(dried, curve, known)
                if one.kind == "drift" and one.size > 1 and one.at > run.moment(begun)
            ]
            found.count(f"wick, {factor:g}", hints)
            if hints:
                days = (hints[0].at - run.moment(begun)).total_seconds() / 86_400
                found.wick_days.setdefault(f"wick, {factor:g}", []).append(days)
    return found


def _named(run, mc, row, boards, curve, known):
    """The warnings at this weighing that name one of these boards."""
    changed = replace(run, weighings=replace(run.weighings, mc_pct=mc)).until(
        float(run.weighings.hours[row])
    )
    names = {run.weighings.boards[board] for board in boards}
    at = run.started.timestamp() + 3600 * float(run.weighings.hours[row])
    return [
        one
        for one in check(changed, curve, known)
        if abs(one.at.timestamp() - at) < 60 and names & set(one.boards)
    ]


def _dry_wick(run, factor, rng):
    """A log whose wet bulb reads high from some time on, and that time [h].

    The true depression is this many times the one shown.
    """
    hours = run.air.hours
    begin = float(rng.uniform(0.2, 0.6)) * hours[-1]
    late = hours > begin
    dry, emc = run.air.dry_bulb_c[late], run.air.emc_pct[late]
    humidity = np.asarray(sorption.relative_humidity_for_emc(dry, emc))
    depression = (dry - np.asarray(air.wet_bulb(dry, humidity))) / factor
    shown = sorption.equilibrium_moisture_content(dry, air.relative_humidity(dry, dry - depression))
    logged = run.air.emc_pct.copy()
    logged[late] = shown
    return replace(run, air=replace(run.air, emc_pct=logged)), begin


def text(found):
    """The rates as a table."""
    lines = [
        f"sound weighings flagged {found.flagged} of {found.weighings}: "
        f"{100 * found.flagged / found.weighings:.2f} %; charges "
        f"{100 * found.charges_flagged / found.charges:.0f} %"
    ]
    lines += [
        f"{kind:<24}{hits:>5} of {n:>4}: {100 * hits / n:.0f} %"
        for kind, (hits, n) in sorted(found.found.items())
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(text(rates(int(sys.argv[1]) if len(sys.argv) > 1 else 200)) + "\n")
