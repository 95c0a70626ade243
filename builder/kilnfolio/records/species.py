"""A species: its wood, moisture, shrinkage, movement, and the defects it is prone to."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from kilnfolio.records.model import Name, Record, Slug, Text, in_range, record_error
from kilnfolio.records.quantities import Density, Length, Percent, Rate, Temperature
from kilnfolio.records.ranges import Thickness
from kilnfolio.records.sourced import Known, Sourced

#: The thickness up to which a ceiling without one applies: the schedule index lists 4/4 to 6/4
#: together [mm].
_SIX_QUARTER_MM = 38.1

Kind = Literal["hardwood", "softwood"]

#: Drying defects, by their slug in the handbook's atlas.
Defect = Literal[
    "surface-checks",
    "end-checks",
    "honeycomb",
    "collapse",
    "bow",
    "crook",
    "cup",
    "twist",
    "casehardening",
    "stain",
    "mould",
    "sticker-stain",
    "loose-knots",
    "resin-bleed",
    "uneven-moisture",
]


class SpecificGravity(Known):
    """Oven-dry mass over the mass of as much water, by the volume used."""

    basic: Annotated[float, "green volume", Field(ge=0.08, le=1.3)] | None = None
    """On the green volume."""
    at_12: Annotated[float, Field(ge=0.08, le=1.5)] | None = None
    """On the volume at 12 % MC."""


class GreenMoisture(Known):
    """Moisture content of the living tree."""

    heartwood: Annotated[Percent, in_range(20, 300)] | None = None
    """Heartwood [% MC]."""
    sapwood: Annotated[Percent, in_range(20, 300)] | None = None
    """Sapwood [% MC]."""
    whole_stem: Annotated[Percent, in_range(20, 300)] | None = None
    """Mean of the whole stem, if heartwood and sapwood are not distinguished [% MC]."""


class Shrinkage(Known):
    """Shrinkage from green to oven-dry."""

    radial: Annotated[Percent, in_range(0, 20)] | None = None
    """Radial [% of the green size]."""
    tangential: Annotated[Percent, in_range(0, 25)] | None = None
    """Tangential [% of the green size]."""
    volumetric: Annotated[Percent, in_range(0, 35)] | None = None
    """Volumetric [% of the green volume]."""


class Movement(Known):
    """Change of size for each point of moisture content between about 6 and 14 %."""

    radial: float | None = None
    """Radial coefficient [1/% MC]."""
    tangential: float | None = None
    """Tangential coefficient [1/% MC]."""


class DensityRange(Known):
    """Density as another source gives it, or at another moisture content."""

    basis: Literal["basic", "at 12 %"]
    """Oven-dry mass over green volume, or mass and volume both at 12 % MC."""
    low: Density
    """The value, or the lower end of a range."""
    high: Density | None = None
    """The upper end of a range."""


class ShrinkageTo12(Known):
    """Shrinkage down to 12 % MC, from which no shrinkage to oven-dry may be read."""

    start: Literal["green", "fibre saturation"]
    """Where the source begins."""
    radial: Annotated[Percent, in_range(0, 20)] | None = None
    """Radial [% of the first size]."""
    tangential: Annotated[Percent, in_range(0, 25)] | None = None
    """Tangential [% of the first size]."""


class Durability(Known):
    """Natural durability of the heartwood, in the words or classes of the source."""

    words: Text
    """As in 'EN 350 fungi 2'."""


class KilnCode(Known):
    """A code of a drying schedule that a source prints beside the species."""

    thickness: Name
    """The thickness it is for, as in 4/4."""
    code: Name
    """As in T6-D4."""


class DryingNote(Known):
    """What a source says of drying it."""

    note: Text
    """In a sentence, in our own words."""


class SafeDailyLoss(Known):
    """The fastest loss of moisture that does not open checks while the wood is wet."""

    thickness: Thickness
    """The thickness it is for."""
    rate: Annotated[Rate, in_range(0.1, 60)]
    """Points of MC a day."""


class WetCeiling(Known):
    """The hottest dry bulb while the wood is wet."""

    dry_bulb: Annotated[Temperature, in_range(20, 130)]
    """The ceiling."""
    while_above: Annotated[Percent, in_range(10, 100)]
    """It applies while the controlling MC is above this."""
    thickness: Length | None = None
    """The thickness it is for; by default 4/4 to 6/4."""
    sort: Name | None = None
    """The sort it is for, as in sapwood; by default every sort that has none of its own."""


class Prone(Known):
    """A defect this species is prone to."""

    defect: Defect
    """The defect, as the atlas names it."""
    note: Text
    """When and why, in a sentence."""


class Hazard(Known):
    """What its dust or sap can do to people."""

    dust: Text | None = None
    """What the dust does to people."""
    skin: Text | None = None
    """Effect on skin and eyes."""


class MeterCorrection(Known):
    """Correction of a resistance meter set to its base species."""

    base_species: Name
    """The species the meter is set to."""
    slope: float
    """Corrected = slope × reading + offset."""
    offset: Annotated[float, "points of MC"] = 0.0
    """Points of MC."""


class Species(Record):
    """``schedules/species/ID.yaml``."""

    format: Literal[1]
    """The record format."""
    id: Slug
    """The scientific name in lower case with a hyphen."""
    trade_name: Name
    """The name the trade uses."""
    scientific_name: Name
    """Genus and species, in Latin."""
    also_called: list[Name] = []
    """Other names, for search and for readers elsewhere."""
    kind: Kind
    """Whether it is a hardwood or a softwood."""
    region: Name
    """Where the trees grow."""
    refractory: bool = False
    """Dries slowly and checks easily: daily weighing while wet."""
    specific_gravity: list[SpecificGravity] = []
    """Specific gravity, one entry per source; the first is used."""
    basic_density: Sourced[Density] | None = None
    """Basic density, if a source gives it; otherwise it follows from the basic specific gravity."""
    densities: list[DensityRange] = []
    """What other sources give, and density at 12 % MC."""
    green_mc: list[GreenMoisture] = []
    """Green moisture content, one entry per source."""
    fsp: Sourced[Percent] | None = None
    """The fibre saturation point."""
    shrinkage: Shrinkage | None = None
    """Shrinkage green to oven-dry."""
    shrinkage_elsewhere: list[Shrinkage] = []
    """Values for the same from other sources, if they disagree."""
    shrinkage_to_12: list[ShrinkageTo12] = []
    """Shrinkage down to 12 % MC only."""
    movement: Movement | None = None
    """Movement in use, by point of MC."""
    durability: list[Durability] = []
    """Natural durability, one entry per source."""
    kiln_codes: list[KilnCode] = []
    """Codes of schedules printed beside it."""
    drying_notes: list[DryingNote] = []
    """What sources say about drying it."""
    safe_daily_loss: list[SafeDailyLoss] = []
    """Safe daily loss by thickness."""
    ceiling_while_wet: WetCeiling | None = None
    """The hottest dry bulb while it is wet, for stock up to 6/4."""
    thick_ceilings: list[WetCeiling] = []
    """The same for thicker stock, each with its thickness, and for sorts that bear more heat."""
    prone_to: list[Prone] = []
    """Defects it is prone to."""
    hazards: list[Hazard] = []
    """What its dust or sap can do to people."""
    meter_correction: MeterCorrection | None = None
    """Correction of a resistance meter for this species."""
    notes: Text | None = None
    """What a drying supervisor should know, in a few sentences."""

    @model_validator(mode="after")
    def _density_of_wood(self) -> Self:
        given = self.basic_density.value if self.basic_density else None
        if given and not 80 <= given.value <= 1300:
            raise record_error(
                given.entered,
                "no wood has such a basic density; formulas take 80 to 1300 kg/m³",
                "Compare it with its source",
                at=("basic_density", "value"),
            )
        return self

    @model_validator(mode="after")
    def _slower_if_thicker(self) -> Self:
        ordered = sorted(enumerate(self.safe_daily_loss), key=lambda one: one[1].thickness.value)
        for (_, thin), (place, thick) in pairwise(ordered):
            if thick.thickness.value == thin.thickness.value:
                wrong, why = "thickness", "this thickness is listed twice"
            elif thick.rate.value >= thin.rate.value:
                wrong, why = "rate", f"thicker timber dries slower than {thin.thickness.entered}"
            else:
                continue
            raise record_error(
                getattr(thick, wrong).entered,
                why,
                "Compare both entries with their source",
                at=("safe_daily_loss", place, wrong),
            )
        return self

    @property
    def basic_specific_gravity(self) -> float | None:
        """The first basic specific gravity on record."""
        return next((sg.basic for sg in self.specific_gravity if sg.basic is not None), None)

    @property
    def basic_density_kg_m3(self) -> float | None:
        """Basic density [kg/m³]: oven-dry mass over green volume."""
        if self.basic_density:
            return self.basic_density.value.value
        gravity = self.basic_specific_gravity
        return None if gravity is None else 1000.0 * gravity

    @property
    def ceilings(self) -> list[WetCeiling]:
        """All ceilings while wet on the sheet, for every thickness and sort."""
        return [self.ceiling_while_wet, *self.thick_ceilings] if self.ceiling_while_wet else []

    @property
    def thickest_ceiling_mm(self) -> float:
        """The thickest stock for which the sheet has a ceiling [mm]; 0 if it has none."""
        return max(
            (one.thickness.value if one.thickness else _SIX_QUARTER_MM for one in self.ceilings),
            default=0.0,
        )

    def ceiling_at(
        self, thickness_mm: float, sort: str | None = None
    ) -> tuple[float, float] | None:
        """Return the hottest dry bulb while wet [°C], and the MC above which it holds [%].

        Parameters
        ----------
        thickness_mm : float
            Thickness of the stock [mm]. Between the thicknesses on record the ceiling is
            interpolated; thinner or thicker stock takes the nearest.
        sort : str, optional
            Sort of the wood, as in "sapwood". A sort without ceilings of its own takes those of
            the species.

        Returns
        -------
        tuple or None
            None if the sheet has none.
        """
        own = [one for one in self.ceilings if sort and one.sort == sort]
        known = sorted(
            (
                one.thickness.value if one.thickness else _SIX_QUARTER_MM,
                one.dry_bulb.value,
                one.while_above.value,
            )
            for one in own or [one for one in self.ceilings if one.sort is None]
        )
        if not known:
            return None
        sizes, temps, above = (list(values) for values in zip(*known, strict=True))
        return float(np.interp(thickness_mm, sizes, temps)), min(above)

    @property
    def fsp_pct(self) -> float:
        """Fibre saturation point [% MC]; 30 if the record gives none (Wood Handbook, ch. 4)."""
        return self.fsp.value.value if self.fsp else 30.0
