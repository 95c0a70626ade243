"""Problems about MC, sample boards and controlling boards."""

from __future__ import annotations

from kilnfolio.training.expressions import (
    Part,
    Term,
    computed,
    each,
    either,
    result_of,
    rounded,
    words,
)
from kilnfolio.training.problem import Draw, Step, Written, kind

MC = "Moisture content"
BOARDS = "Sample boards"
CONTROL = "Controlling MC"


def _mass_at(dry: Part, mc: Part) -> Term:
    return computed("mass_at", oven_dry_mass=dry, mc=mc)


def _section(draw: Draw, mc: Part, dry: Part = None) -> tuple[Term, Term]:
    """Return the green and oven-dry mass of a section of about this MC."""
    dry = draw.number(58.0, 130.0, 0.1) if dry is None else dry
    return words(rounded(_mass_at(dry, mc), 0.1), "g"), words(dry, "g")


def _pair(draw: Draw, mc: Part) -> list[Step]:
    """Return the steps that give the MCs of two sections of a board of about this MC."""
    size = draw.number(64.0, 124.0, 0.1)
    pair: list[Step] = []
    for name, off in (("first", draw.number(0.2, 0.9, 0.1)), ("second", -0.4)):
        green, dry = _section(draw, mc + off, rounded(size + draw.number(-3.0, 3.0, 0.1), 0.1))
        pair.append(
            {"let": name, "compute": "moisture_content", "mass": green, "oven_dry_mass": dry}
        )
    return pair


@kind("section-mc", MC, "One moisture section")
def _section_mc(draw: Draw) -> Written:
    green, dry = _section(draw, draw.number(32.0, 110.0, 0.1))
    return Written(
        "A moisture section weighs {mc.mass} when it is cut. It leaves the oven at "
        "{mc.oven_dry_mass}, and a weighing two hours later shows the same. What was its MC?",
        "MC is the water as a share of the oven-dry mass, not of the green mass.",
        [{"let": "mc", "compute": "moisture_content", "mass": green, "oven_dry_mass": dry}],
        "The MC was {mc}.",
    )


@kind("two-sections", MC, "Two sections of one board")
def _two_sections(draw: Draw) -> Written:
    return Written(
        "Two moisture sections are cut from the ends of a sample board. The first weighs "
        "{first.mass} green and {first.oven_dry_mass} oven-dry, the second {second.mass} and "
        "{second.oven_dry_mass}. What MC is taken for the board between them?",
        "Work out each section by itself; then take the mean.",
        [
            *_pair(draw, draw.number(55.0, 95.0, 0.1)),
            {"let": "board", "compute": "mean", "of": ["first", "second"]},
        ],
        "The sections stood at {first} and {second}; the board is taken as {board}.",
    )


@kind("wet-basis", MC, "A figure on the wet basis")
def _wet_basis(draw: Draw) -> Written:
    mc = words(draw.number(24.0, 96.0, 0.1), "%")
    return Written(
        "A buyer of chips asks for the MC of green slabs on the wet basis. Your sections say "
        "{wet.mc} on the oven-dry basis that drying works with. Which figure do you give, and by "
        "how many points would somebody be wrong who put it on a sample-board sheet?",
        "On the wet basis the water is a share of wood and water together.",
        [
            {"let": "wet", "compute": "wet_basis", "mc": mc},
            {"let": "slip", "compute": "difference", "a": mc, "b": "wet"},
        ],
        "On the wet basis it is {wet}. On a board sheet it would be {slip} too low, and every step "
        "would come early.",
    )


@kind("water-in-a-board", MC, "The water a board still holds")
def _water_in_board(draw: Draw) -> Written:
    dry = words(draw.number(1.62, 3.45, 0.005), "kg", 3)
    mc = words(draw.number(30.0, 88.0, 0.5), "%")
    return Written(
        "A sample board has an oven-dry mass of {mass.oven_dry_mass}. At {mass.mc} MC, what does "
        "it weigh, and how much of that is water?",
        "The oven-dry mass does not change; the water is what stands above it.",
        [
            {"let": "mass", "compute": "mass_at", "oven_dry_mass": dry, "mc": mc},
            {"let": "water", "compute": "difference", "a": "mass", "b": dry},
        ],
        "It weighs {mass}, of which {water} is water.",
    )


@kind("damp-from-the-oven", MC, "Taken from the oven too soon")
def _damp_section(draw: Draw) -> Written:
    dry = draw.number(62.0, 118.0, 0.1)
    left = draw.number(0.6, 2.4, 0.1)
    green = words(rounded(_mass_at(dry, draw.number(50.0, 92.0, 0.1)), 0.1), "g")
    return Written(
        "A section of {true.mass} green is taken from the oven at {soon.oven_dry_mass} because "
        "the shift ends. The next morning, at constant mass, it would have been "
        "{true.oven_dry_mass}. How far out is the MC, and which way?",
        "Work the MC with both oven masses. Which of them is the smaller MC?",
        [
            {
                "let": "soon",
                "compute": "moisture_content",
                "mass": green,
                "oven_dry_mass": words(rounded(dry + left, 0.1), "g"),
            },
            {
                "let": "true",
                "compute": "moisture_content",
                "mass": green,
                "oven_dry_mass": words(dry, "g"),
            },
            {"let": "short", "compute": "difference", "a": "true", "b": "soon"},
        ],
        "The hurried section says {soon}, the dried one {true}: {short} too low. An oven stopped "
        "early always makes timber look drier than it is.",
    )


@kind("most-water", MC, "As wet as wood can be")
def _most_water(draw: Draw) -> Written:
    gravity = words(draw.number(0.32, 0.68, 0.01), "", 2)
    stated = draw.pick((110.0, 130.0, 150.0, 180.0))
    return Written(
        "A sheet gives an MC of {stated} for a species of basic specific gravity "
        "{most.basic_specific_gravity}. What is the most its wood could hold, every cell full?",
        "Wood substance has a specific gravity of 1.54; the rest of the room can fill with water.",
        [{"let": "most", "compute": "maximum_mc", "basic_specific_gravity": gravity}],
        "Full of water it would be at {most}. {verdict}",
        {
            "stated": words(stated, "%", 0),
            "verdict": either(
                result_of("most") >= stated,
                "The sheet is possible, though a board so wet is worth weighing again.",
                "The sheet cannot be right: look for a slip in a mass.",
            ),
        },
    )


# --- sample boards --------------------------------------------------------------------------------


def _board_of(draw: Draw, mc: Part) -> tuple[Term, Term]:
    """Return the mass of a board of about this MC, and its oven-dry mass [g]."""
    dry = draw.number(1650.0, 3400.0, 1.0)
    return words(rounded(_mass_at(dry, mc), 1.0), "g", 0), dry


@kind("board-oven-dry", BOARDS, "Oven-dry mass of a sample board")
def _board_oven_dry(draw: Draw) -> Written:
    mc = draw.number(48.0, 98.0, 0.1)
    green, _ = _board_of(draw, mc)
    return Written(
        "A sample board weighs {dry.mass} when its sections are cut; they give a mean of {dry.mc}. "
        "What is its oven-dry mass?",
        "Divide by one plus the MC as a fraction.",
        [{"let": "dry", "compute": "oven_dry_mass", "mass": green, "mc": words(mc, "%")}],
        "Its oven-dry mass is {dry}. Write it on the board's own line: every later MC rests on it.",
    )


@kind("board-now", BOARDS, "MC of a board today")
def _board_now(draw: Draw) -> Written:
    mass, dry = _board_of(draw, draw.number(9.0, 62.0, 0.1))
    return Written(
        "Sample board D, oven-dry mass {mc.oven_dry_mass}, weighs {mc.mass} this morning. What is "
        "its MC?",
        "The same formula as for a section, with the board's oven-dry mass.",
        [
            {
                "let": "mc",
                "compute": "moisture_content",
                "mass": mass,
                "oven_dry_mass": words(dry, "g", 0),
            }
        ],
        "Board D stands at {mc}.",
    )


@kind("mass-when-due", BOARDS, "The mass at which a step falls due")
def _mass_when_due(draw: Draw) -> Written:
    dry = words(draw.number(1650.0, 3400.0, 1.0), "g", 0)
    trigger = words(draw.pick((50.0, 40.0, 35.0, 30.0, 25.0, 20.0, 15.0)), "%", 0)
    return Written(
        "The next step begins at {due.mc}. Before the shift you want to pencil on the sheet what a "
        "board of oven-dry mass {due.oven_dry_mass} will then weigh. What do you write?",
        "Multiply by one plus the MC as a fraction.",
        [{"let": "due", "compute": "mass_at", "oven_dry_mass": dry, "mc": trigger}],
        "It will weigh {due}. The boards of the wettest half decide together; one board at its "
        "mark is not yet the step.",
    )


@kind("sections-to-today", BOARDS, "From the saw to this morning")
def _sections_to_today(draw: Draw) -> Written:
    start = draw.number(55.0, 95.0, 0.1)
    pair = _pair(draw, start)
    green, dry = _board_of(draw, start)
    later = words(rounded(_mass_at(dry, draw.number(18.0, 44.0, 0.1)), 1.0), "g", 0)
    return Written(
        "A sample board weighs {dry.mass} between two sections: {first.mass} green and "
        "{first.oven_dry_mass} oven-dry, and {second.mass} and {second.oven_dry_mass}. Some days "
        "later it weighs {now.mass}. What is its MC now?",
        "Four steps: each section, their mean, the oven-dry mass, today's MC.",
        [
            *pair,
            {"let": "start", "compute": "mean", "of": ["first", "second"]},
            {"let": "dry", "compute": "oven_dry_mass", "mass": green, "mc": "start"},
            {"let": "now", "compute": "moisture_content", "mass": later, "oven_dry_mass": "dry"},
        ],
        "It began at {start}, its oven-dry mass is {dry}, and it is now at {now}.",
    )


@kind("sections-a-point-out", BOARDS, "What a careless section costs")
def _sections_out(draw: Draw) -> Written:
    mc = draw.number(58.0, 92.0, 0.1)
    out = draw.pick((1.0, 1.5, 2.0, 3.0))
    green, dry = _board_of(draw, mc)
    later = words(rounded(_mass_at(dry, draw.number(7.0, 11.0, 0.1)), 1.0), "g", 0)
    return Written(
        "A board weighed {right.mass} when cut. Its sections say {right.mc}, but one lay on the "
        "saw table before weighing, and {wrong.mc} was written. Near the end the board weighs "
        "{true.mass}. By how much is the MC on the sheet wrong?",
        "Take both MCs through to the oven-dry mass and then to today's MC.",
        [
            {"let": "right", "compute": "oven_dry_mass", "mass": green, "mc": words(mc, "%")},
            {
                "let": "wrong",
                "compute": "oven_dry_mass",
                "mass": green,
                "mc": words(rounded(mc - out, 0.1), "%"),
            },
            {"let": "true", "compute": "moisture_content", "mass": later, "oven_dry_mass": "right"},
            {
                "let": "sheet",
                "compute": "moisture_content",
                "mass": later,
                "oven_dry_mass": "wrong",
            },
            {"let": "off", "compute": "difference", "a": "true", "b": "sheet"},
        ],
        "The sheet says {sheet}; the board is at {true}, {off} wetter. Sections dried in the air "
        "before weighing make every later figure too low.",
    )


@kind("scale-step", BOARDS, "What the scale can tell apart")
def _scale_step(draw: Draw) -> Written:
    dry = draw.number(1650.0, 3400.0, 1.0)
    mass = rounded(_mass_at(dry, draw.number(8.0, 40.0, 0.1)), 1.0)
    step = draw.pick((5.0, 10.0, 20.0))
    low, high, dried = (words(value, "g", 0) for value in (mass, mass + step, dry))
    return Written(
        "A board of oven-dry mass {low.oven_dry_mass} shows {low.mass}; one step of the scale more "
        "would be {high.mass}. How many points of MC is one step worth?",
        "Work both masses and take the difference.",
        [
            {"let": "low", "compute": "moisture_content", "mass": low, "oven_dry_mass": dried},
            {"let": "high", "compute": "moisture_content", "mass": high, "oven_dry_mass": dried},
            {"let": "worth", "compute": "difference", "a": "high", "b": "low"},
        ],
        "{low} against {high}: one step is worth {worth}. No MC of this board is known more finely "
        "than that.",
    )


@kind("cut-again", BOARDS, "A board sectioned again")
def _cut_again(draw: Draw) -> Written:
    mc = draw.number(9.0, 17.0, 0.1)
    mass, dry = _board_of(draw, mc)
    green, oven = _section(draw, mc)
    sheet = words(rounded(dry * draw.pick((0.985, 0.99, 1.008, 1.012)), 1.0), "g", 0)
    return Written(
        "Late in the charge a board of {dry.mass} is sectioned again: {section.mass} fresh, "
        "{section.oven_dry_mass} oven-dry. The sheet has carried an oven-dry mass of "
        "{carried.oven_dry_mass}. What oven-dry mass do you use from now on, and what MC did the "
        "sheet show at this weighing?",
        "The new section gives the true MC; the board's mass and that MC give its oven-dry mass.",
        [
            {
                "let": "section",
                "compute": "moisture_content",
                "mass": green,
                "oven_dry_mass": oven,
            },
            {"let": "dry", "compute": "oven_dry_mass", "mass": mass, "mc": "section"},
            {
                "let": "carried",
                "compute": "moisture_content",
                "mass": mass,
                "oven_dry_mass": sheet,
            },
        ],
        "The board is at {section}, so its oven-dry mass is {dry}. The sheet showed {carried}. "
        "Keep both values and the reason on the record.",
    )


# --- controlling MC -------------------------------------------------------------------------------


def _boards(draw: Draw, count: Part, middle: Part = None, spread: float = 8.0) -> Term:
    """Return the MCs of so many boards, all different, as entered."""
    middle = draw.number(22.0, 60.0, 0.1) if middle is None else middle
    mcs = draw.numbers(count, middle - spread, middle + spread, 0.1)
    return each(mcs, lambda mc: words(mc, "%"))


@kind("wettest-half", CONTROL, "The wettest half of an even number")
def _wettest_half(draw: Draw) -> Written:
    return Written(
        "Sample boards stand at {control.of}. What is the controlling MC?",
        "Put them in order, keep the wetter half, take the mean.",
        [
            {
                "let": "control",
                "compute": "controlling_moisture_content",
                "of": _boards(draw, draw.pick((6, 8, 10))),
            }
        ],
        "The controlling MC is {control}.",
    )


@kind("wettest-half-odd", CONTROL, "The wettest half of an odd number")
def _wettest_half_odd(draw: Draw) -> Written:
    return Written(
        "One board is out for sectioning; the others stand at {control.of}. What is the "
        "controlling MC?",
        "Of an odd number the larger half controls: of seven boards four, of five three.",
        [
            {
                "let": "control",
                "compute": "controlling_moisture_content",
                "of": _boards(draw, draw.pick((5, 7, 9))),
            }
        ],
        "The controlling MC is {control}.",
    )


@kind("mean-would-mislead", CONTROL, "Why the plain mean will not do")
def _mean_misleads(draw: Draw) -> Written:
    boards = _boards(draw, 6)
    return Written(
        "Boards stand at {control.of}. By how much would the plain mean of all of them run ahead "
        "of the controlling MC?",
        "Work out both. The mean lets dry boards vote on air that wet ones must bear.",
        [
            {"let": "control", "compute": "controlling_moisture_content", "of": boards},
            {"let": "plain", "compute": "mean", "of": boards},
            {"let": "ahead", "compute": "difference", "a": "control", "b": "plain"},
        ],
        "Controlling MC {control}, plain mean {plain}: steps by the mean would come {ahead} early, "
        "while the wet boards can least bear it.",
    )


@kind("is-the-step-due", CONTROL, "Is the step due?")
def _step_due(draw: Draw) -> Written:
    trigger = draw.pick((50.0, 40.0, 35.0, 30.0, 25.0))
    middle = trigger - draw.number(0.0, 4.5, 0.1)
    boards = _boards(draw, 6, middle, 5.0)
    return Written(
        "The next step begins at a controlling MC of {room.a}. This morning's boards: "
        "{control.of}. Do you step?",
        "A step is due when the controlling MC is at the trigger or below it.",
        [
            {"let": "control", "compute": "controlling_moisture_content", "of": boards},
            {"let": "room", "compute": "difference", "a": words(trigger, "%", 0), "b": "control"},
        ],
        "The controlling MC is {control}. {verdict}",
        {
            "verdict": either(
                trigger >= rounded(result_of("control"), 0.1),
                "Yes: the trigger is reached.",
                "No: it is still above the trigger. Hold the air and weigh again next round.",
            )
        },
    )


@kind("control-from-masses", CONTROL, "From four masses to the controlling MC")
def _control_from_masses(draw: Draw) -> Written:
    middle = draw.number(24.0, 52.0, 0.1)
    steps: list[Step] = []
    parts = []
    for name in ("A", "B", "C", "D"):
        mass, dry = _board_of(draw, middle + draw.number(-6.0, 6.0, 0.1))
        steps.append(
            {
                "let": name,
                "compute": "moisture_content",
                "mass": mass,
                "oven_dry_mass": words(dry, "g", 0),
            }
        )
        parts.append(f"{name} {{{name}.mass}} (oven-dry {{{name}.oven_dry_mass}})")
    steps.append(
        {"let": "control", "compute": "controlling_moisture_content", "of": ["A", "B", "C", "D"]}
    )
    return Written(
        f"Four boards are weighed: {', '.join(parts)}. What is the controlling MC?",
        "Four MCs, then the mean of the wetter two.",
        steps,
        "The boards stand at {A}, {B}, {C} and {D}; the controlling MC is {control}.",
    )
