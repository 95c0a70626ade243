"""The kiln-side page of an open charge: the settings, each board, and fields for a round."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from contextlib import suppress
from importlib import resources

from markupsafe import Markup

from kilnfolio.records.model import TO_FILL
from kilnfolio.records.setpoints import AirState
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review import figures
from kilnfolio.review.kiln_state import BoardState, KilnState, kiln_state, mass_due
from kilnfolio.review.round_check import mass_words
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.kiln_forecast import BoardForecast, KilnForecast
from kilnfolio.site.pages.today import kiln_today

#: The folder of these pages in the mill edition.
HOME = "kiln-side"


@dataclass(frozen=True)
class BoardField:
    """A board on the page: its tag, its unit, and its state in words."""

    tag: str
    unit: str
    words: str


@dataclass(frozen=True)
class StepChoice:
    """A step that can be set."""

    number: int
    words: str


def kiln_side_names(context: SiteContext) -> list[str]:
    """Return the open charges whose record is complete enough for a kiln-side page."""
    return [
        name
        for name in sorted(context.open_reviews)
        if context.open_reviews[name].located and context.open_reviews[name].dossier
    ]


def kiln_side_page(context: SiteContext, name: str) -> Page:
    """Return the kiln-side page of an open charge."""
    review = context.open_reviews[name]
    assert review.located
    assert review.dossier
    state = kiln_state(context.folder, review.located.record)
    steps = {
        step.number: context.regional.as_set(
            AirState(step.dry_bulb_c, step.wet_bulb_c, step.relative_humidity_pct, step.emc_pct),
            context.pressure_pa,
        )
        for step in state.steps
    }
    label = state.next_due.label if state.next_due else ""
    next_step = state.next_due.step if state.next_due else None
    coming = min(next_step or (state.step or 0) + 1, len(state.steps))
    reading = context.regional.reading
    one = kiln_today(context, review, review.dossier.ended)
    data = state.as_json() | {
        "invented": review.located.record.invented,
        "open_stop": _open_stop(context, name),
    }
    charge = review.located.record
    metered = [tag for one in charge.mc_rounds if one.method != "pins" for tag in one.mc]
    return context.page(
        "kiln_side.html",
        routes.kiln_side(name),
        f"{state.kiln_name}, charge {name}",
        "kiln side",
        one=one,
        state=state,
        boards=list(_fields(state, one.forecast)),
        metered=list(dict.fromkeys([*(board.tag for board in state.boards), *metered])),
        last_metered=charge.mc_rounds[-1] if charge.mc_rounds else None,
        steps=[
            StepChoice(number, f"{reading(air.dry_bulb_c)} / {reading(air.wet_bulb_c)}")
            for number, air in steps.items()
        ],
        next_step=coming,
        next_air=(reading(steps[coming].dry_bulb_c), reading(steps[coming].wet_bulb_c))
        if label == f"step {coming}"
        else None,
        state_json=Markup(json.dumps(data, ensure_ascii=True).replace("<", "\\u003c")),
        summary=f"Write down rounds, steps and stops of charge {name} at the kiln.",
        robots="noindex",
    )


def _open_stop(context: SiteContext, name: str) -> dict[str, str] | None:
    """Return the start and cause of a recorded stop that has not ended; None if there is none."""
    running = context.folder.open_charges.get(name)
    value = running.document.value if running else None
    stops = value.get("stops") if isinstance(value, dict) else None
    for one in reversed(stops or []):
        if not isinstance(one, dict) or str(one.get("end")) not in (TO_FILL, "None"):
            continue
        with suppress(ValueError):
            start = dt.datetime.fromisoformat(str(one.get("start")))
            if start.tzinfo is None:
                start = start.replace(tzinfo=context.folder.mill.record.zone)
            return {"start": start.isoformat(timespec="minutes"), "cause": str(one.get("cause"))}
    return None


def _fields(state: KilnState, forecast: KilnForecast | None) -> Iterator[BoardField]:
    coming = {board.tag: board for board in forecast.boards} if forecast else {}
    for board in state.boards:
        words = _board_words(state, board, coming.get(board.tag))
        yield BoardField(board.tag, board.unit, ", ".join(words))


def _board_words(
    state: KilnState, board: BoardState, coming: BoardForecast | None
) -> Iterator[str]:
    if board.last_g is not None and board.last_at is not None:
        at = dt.datetime.fromisoformat(board.last_at)
        mass = f"{mass_words(board.last_g, board.unit)} {board.unit}"
        yield f"last {mass} on {at:%d %b %H:%M}"
    if board.oven_dry_g is None:
        yield "sections in the oven"
    if board.mc_pct is not None:
        yield f"MC {figures.measure(board.mc_pct, '%', 1)}"
    if coming and coming.now:
        at = dt.datetime.fromisoformat(state.next_round)
        yield f"about {coming.now} expected on {at:%d %b %H:%M}"
    if state.next_due and (due := mass_due(board, state.next_due)) is not None:
        mass = f"{mass_words(due, board.unit)} {board.unit}"
        if step := state.next_due.step:
            yield f"step {step} at {mass}"
        else:
            yield (
                f"equalize at {mass}" if state.next_due.label == "equalize" else f"target at {mass}"
            )
        if board.last_g is not None and board.last_g <= due:
            yield "which it has reached"
        elif coming and coming.at:
            yield f"likely {coming.at:%d %b %H:%M}"


def worker_names(context: SiteContext) -> list[str]:
    """Return the files beside the pages: the service worker for offline use, and the manifest."""
    return ["worker.js", "pages.json", "app.webmanifest"] if kiln_side_names(context) else []


def worker_file(context: SiteContext, name: str) -> Page:
    """Return a file beside the pages."""
    numbers = kiln_side_names(context)
    if name == "worker.js":  # a service worker controls only pages in or below its own folder
        text = (resources.files("kilnfolio.site") / "assets/kiln-side-worker.js").read_text("utf-8")
    elif name == "pages.json":
        kept = [f"{number}.html" for number in numbers] + [
            "../assets/site.css",
            "../assets/kiln-side.css",
            "../assets/kiln-side.js",
            "../assets/entry-codes.js",
            "../assets/vendor/qrcode-generator.js",
            "../assets/wood.js",
            "../assets/fonts.js",
        ]
        text = json.dumps(kept, indent=1)
    else:
        mill = context.folder.mill.record.name
        text = json.dumps(
            {
                "name": f"{mill}: at the kiln",
                "short_name": "At the kiln",
                "display": "standalone",
                "start_url": f"{numbers[0]}.html",
                "scope": "./",
                "background_color": "#fbf8f2",
                "theme_color": "#7a4719",
            },
            indent=1,
        )
    return Page(f"{HOME}/{name}", text, name, "script", "")
