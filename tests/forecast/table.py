"""Print how the forecast does on the check charges: ``python -m tests.forecast.table [--whole]``.

By default it forecasts the charges of role ``test`` from those of role ``earlier``; with
``--whole`` also every earlier charge from the other earlier ones.
"""

import sys

from tests.forecast.check_charges import group

from kilnfolio.forecast.charge import learn_for
from kilnfolio.forecast.evaluation import table, trials


def all_trials(whole=False, models="ABC", count=None):
    """Yield the trials of every model and wood."""
    for model in models:
        for wood in ("oak", "maple"):
            earlier = group(wood, model, "earlier")
            learnt = learn_for(wood, 27.0, [one.run for one in earlier])
            for one in group(wood, model, "test")[:count]:
                yield from trials(one.run, one.end, learnt, model, one.crossings)
            for one in earlier if whole else ():
                others = [other.run for other in earlier if other is not one]
                yield from trials(
                    one.run, one.end, learn_for(wood, 27.0, others), model, one.crossings
                )


if __name__ == "__main__":
    sys.stdout.write(table(all_trials("--whole" in sys.argv)) + "\n")
