"""Patterns of the words in a lot's record, used to translate them.

A record is sealed in English. A page in French takes the sealed words, finds the pattern they match
and prints its French translation with the same figures; the script that compares a page with its
label does the same (``assets/label.js``). Patterns of earlier versions stay here, because records
sealed then are still read.

A slot stands for words that are translated by these patterns in turn. Slots in `FIGURES` take a
figure with its unit; slots in `AS_WRITTEN` take a name, which is not translated. A pair of patterns
is a singular and a plural; its first slot is the count.
"""

from __future__ import annotations

from kilnfolio.rendering.lot_state import STATES

Phrase = str | tuple[str, str]

#: Slots for figures.
FIGURES = frozenset({"n", "of", "low", "high", "mean", "mean_low", "mean_high", "share", "target"})
#: Slots for names and for people's own words.
AS_WRITTEN = frozenset({"name", "other", "claim", "lot"})

#: Words of records; pages in other languages are checked for these.
RECORD: tuple[Phrase, ...] = (
    *(state.verdict for state in STATES.values()),
    "keeps the order",
    "does not keep the order",
    "The lot as measured meets the order: {n} of {of} readings within, mean {mean}.",
    "The lot as measured keeps the order: {n} of {of} readings within, mean {mean}.",
    "The lot as measured does not meet the order.",
    "The lot as measured does not keep the order.",
    "Not assessed: the drying record of this lot is under review at the mill.",
    "Not assessed: no final survey is on record.",
    "Not assessed: the row of EN 14298 for this target is not available.",
    "Not assessed: the row of EN 14298 for this target is not in hand.",
    "EN 14298, target {target}: mean {mean_low} to {mean_high}, {share} of pieces "
    "from {low} to {high}",
    "target {target} MC",
    "no piece above {high} MC",
    "{share} of pieces at or below {high} MC",
    "{share} of pieces from {low} to {high} MC",
    "{share} of pieces from {low} to {high} MC, mean {mean_low} to {mean_high}",
    "{low} to {high}",
    "at least {share} of the boards lie within what was ordered, at {n} confidence, if the pieces "
    "were picked at random",
    "boards of this lot's own packs",
    "boards of the kiln load this lot comes from",
    "boards of the kiln loads this lot comes from",
    "Version {n}, issued {date}",
    "pack {name}",
    "packs {name} and {other}",
    ("{n} pack", "{n} packs"),
    ("{n} piece", "{n} pieces"),
    "{n} board feet",
    "{n} board feet ({size})",
    "{size} ({n} board feet)",
    "{first}; {second}",
    "{size} thick",
    "{size} thick, {rest}",
    "random widths, {rest}",
    "random widths",
    "resistance meter, {corrections}",
    "resistance meter",
    "oven-dry sections",
    "corrected for temperature when measured",
    "corrected for species when measured",
    "not corrected for temperature",
    "corrected here from {from} to {to}",
    "corrected here from {name}",
    "Ordered: {claim}; the test sections are within it.",
    "Ordered: {claim}; the test sections kept it.",
    "Ordered: {claim}; not supported by the mill's record.",
    "{claim}. Not supported by the mill's record. The claim is not on the intake papers.",
    "{claim}. Not supported by the mill's record. The claim does not stand on the papers of the "
    "intake.",
    "Not supported by the mill's record: do not take this lot as heat-treated. The official mark on "
    "the wood governs; ask the mill.",
    "The mill's record shows the core of the pieces measured at {runs}. The official mark on the "
    "wood governs; this page is not a certificate.",
    "{temperature} or above for {time} without a break",
    ("{n} minute", "{n} minutes"),
)

#: Messages of the label check, written by ``assets/label.js``.
LABEL: tuple[Phrase, ...] = (
    "matches the label",
    "does not match the label",
    "not checked against its label",
    "amended after this label was printed",
    "The record on this page is the one the label was printed for.",
    "The mill has amended this record and sealed it again. This page shows the newer record.",
    "The label carries another seal than this page. Do not rely on this page. Ask the mill, and "
    "give the lot number.",
    "This page was not opened by the code on a label. Compare the words or digits below with those "
    "on the label.",
    "This page shows {fault}, which is not in the record that was sealed. Do not rely on this page. "
    "Ask the mill, and give the lot number.",
    "a record",
    "the record itself",
    "what it says of “{claim}”, which was taken out",
)

#: Sentences of a room, which a page's script writes too; see ``site/pages/indoors.py``.
INDOORS: tuple[Phrase, ...] = (
    "In air of {air} humidity it settles at about {mean} MC.",
    "In air of {air} humidity it settles at about {mean} MC. A width of {size} moves on the way: "
    "{moves}.",
    "{cut} stays as it is",
    "{cut} shrinks by about {by}",
    "{cut} swells by about {by}",
    "flat-sawn",
    "plain-sawn",
    "back-sawn",
    "quarter-sawn",
    "Write a temperature from 0 to 50 °C (32 to 122 °F) and a humidity from 5 to 95 %.",
)

#: Words of a page outside the record: advice, charts, rooms.
PAGE: tuple[Phrase, ...] = (
    *INDOORS,
    *(words for state in STATES.values() for words in (state.meaning, state.advice)),
    "This page states what was measured, on the pieces measured, on the date given. It does not "
    "say how the timber behaves afterwards, nor that it suits a use, nor anything about strength.",
    "Keep it under cover, off the ground and wrapped until it is used. Timber at {target} MC stays "
    "as it is in air of about {humidity} relative humidity at {temperature}; in other air it "
    "changes.",
    "A heated room in winter",
    "A living room through most of the year",
    "An unheated room, or a damp summer",
    "target {target}",
    "mean {mean}",
    "ordered: {low} to {high}",
    "ordered: up to {high}",
    "ordered: {low} and above",
    "shaded: ordered",
    "boards",
    "moisture content, %",
    "Moisture content measured, and ordered",
    "Readings of lot {lot}",
    "{low} to under {high}",
    ("{range}: {n} reading", "{range}: {n} readings"),
    "Measured: {low} to {high}, mean {mean}. Ordered: {rest}.",
    "Measured: {low} to {high}, mean {mean}. Target {target}.",
    "{n} readings from {low} to {high}, mean {mean}.",
    "{n} readings from {low} to {high}, mean {mean}. Ordered: {rest}.",
    "at most {high}",
    "up to {high}",
    "{low} and above",
    "Code that leads to the record of lot {lot}",
    "Mean MC {mean}, {date}",
)
