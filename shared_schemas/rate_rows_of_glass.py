"""Rows of the tables of glass: what it is, how it is bought, what is left on a blank and cut away."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from typing import Annotated, Literal, NamedTuple

from pydantic import Field, model_validator

from shared_schemas.base import (
    HIGHEST_INDEX,
    NO_CONTROLS,
    Contract,
    Count,
    Fault,
    Name,
    NonNegative,
    NonNegativeMoney,
    Number,
    Positive,
    Share,
    refuse_if_any,
)
from shared_schemas.blanks import BlankForm
from shared_schemas.rate_row import RateRow

WorkFamily = Literal["oxide", "fluoride", "sapphire", "semiconductor", "zinc", "chalcogenide"]
"""How a material is worked: fluor-phosphate glasses are worked as oxides, fluorides are the crystals, zinc its selenide and sulphide."""

HARDEST_HK = 10_000.0
"""Knoop hardness [kgf/mm2] that nothing reaches, diamond 8820 (http://vidrine.com/iropmat3.htm): above it a figure is in Pa."""


class PlaceInGlassMap(NamedTuple):
    """Index n_d and Abbe number v_d [-]."""

    nd: float
    vd: float


AtLeastOne = Annotated[float, Field(strict=True, ge=1)]


class GlassRow(RateRow):
    """A glass or crystal and its published physical properties (columns of the makers' data sheets; empty where not published).

    `code` is empty for a crystal whose index or Abbe number no six digits can say, `nd` or `vd` for a material that is dark there.

    The six columns of the dispersion formula are n^2 = dispersion_constant + sum B L^2 / (L^2 - C), or sum B / (L^2 - C) where
    `dispersion_form` is `poles`, L in um, from `index_from_um` to `index_to_um`; a piece as thick as a lens is clear from
    `transmits_from_um` to `transmits_to_um`.

    `cleaves`: along planes of its lattice; `hazard` says what is dangerous in its dust or waste. `work_factor` is how much longer it
    takes to polish, clean and handle than an ordinary crown, `yield_power` to which power its yields go; empty where both follow
    from hardness, expansion and acid class.
    """

    maker: Name
    code: Annotated[str, Field(pattern=r"^(\d{6}(\.\d{3})?)?$")] = ""
    nd: Annotated[float, Field(strict=True, gt=1, le=HIGHEST_INDEX)] | None = None
    vd: Positive | None = None
    density_g_cm3: Positive | None = None
    cte_30_70_1e6_per_k: Number | None = None
    young_gpa: Positive | None = None
    poisson: Positive | None = None
    knoop_hk: Annotated[float, Field(strict=True, gt=0, le=HARDEST_HK)] | None = None
    grindability_hg: Annotated[int, Field(strict=True, ge=1, le=6)] | None = None
    abrasion_aa: Positive | None = None
    climate_cr: Number | None = None
    stain_fr: Number | None = None
    acid_sr: Number | None = None
    alkali_ar: Number | None = None
    phosphate_pr: Number | None = None
    relative_price: Positive | None = None
    lead: bool = False
    sellmeier_b1: Number | None = None
    sellmeier_b2: Number | None = None
    sellmeier_b3: Number | None = None
    sellmeier_c1_um2: Number | None = None
    sellmeier_c2_um2: Number | None = None
    sellmeier_c3_um2: Number | None = None
    dispersion_constant: Number = 1.0
    dispersion_form: Literal["sellmeier", "poles"] = "sellmeier"
    index_from_um: Positive | None = None
    index_to_um: Positive | None = None
    transmits_from_um: Positive | None = None
    transmits_to_um: Positive | None = None
    strength_mpa: Positive | None = None
    water_soluble_g_per_l: NonNegative | None = None
    cleaves: bool = False
    hazard: Annotated[str, Field(max_length=200, pattern=NO_CONTROLS)] = ""
    work_family: WorkFamily = "oxide"
    work_factor: AtLeastOne | None = None
    yield_power: AtLeastOne | None = None

    @property
    def in_glass_map(self) -> PlaceInGlassMap | None:
        """Where the material lies among the others; `None` where it is dark at a line that n_d or v_d is of."""
        return None if self.nd is None or self.vd is None else PlaceInGlassMap(self.nd, self.vd)

    @model_validator(mode="after")
    def _an_index_is_known(self) -> GlassRow:
        faults = []
        formula = (
            self.sellmeier_b1, self.sellmeier_b2, self.sellmeier_b3, self.sellmeier_c1_um2, self.sellmeier_c2_um2, self.sellmeier_c3_um2,
        )  # fmt: skip
        if None in (self.nd, self.vd) and None in formula:
            column = "nd" if self.nd is None else "vd"
            faults.append(
                Fault(
                    column,
                    reason=f"without {column} and without the six columns of a dispersion formula no index is known",
                    figure=None,
                    limit="nd and vd, or a formula",
                    remedy=f"fill in {column}, or sellmeier_b1 to sellmeier_c3_um2 (0 for a term that there is not)",
                )
            )
        faults += [*_range_faults(self, "index"), *_range_faults(self, "transmits")]
        refuse_if_any(self, faults)
        return self


def _range_faults(row: GlassRow, of: Literal["index", "transmits"]) -> list[Fault]:
    """What is wrong with a range of wavelengths: one end alone, or the ends in the wrong order."""
    first, last = getattr(row, f"{of}_from_um"), getattr(row, f"{of}_to_um")
    if (first is None) != (last is None) or (first is not None and first >= last):
        reason = "a range of wavelengths has two ends, the shorter first"
        remedy = f"{of}_from_um below {of}_to_um, or both empty"
        return [Fault(f"{of}_to_um", reason=reason, figure=last, limit=first, remedy=remedy)]
    return []


GlassAttribute = Literal["stress", "bubbles", "homogeneity", "striae"]
"""What raw glass is graded by."""


class GlassGradeRow(RateRow):
    """A grade of raw glass beyond the usual one: by what, up to which figure, and what it costs.

    `figure` is the largest that the grade leaves: stress birefringence [nm/cm], section of all bubbles in 100 cm3 [mm2], variation of
    the index from peak to valley [1e-6], difference of optical path by striae in 50 mm [nm]. Glass of it costs `price_factor` times as
    much as the usual, takes `more_days`, and `certificate_charge` is paid for a lot. Between the rows of an attribute all three
    follow the logarithm of the figure; the loosest row is the usual glass, and what is tighter than the finest is refused.
    """

    attribute: GlassAttribute
    figure: Positive
    grade: Name
    price_factor: AtLeastOne
    more_days: NonNegative
    certificate_charge: NonNegativeMoney


class PriceStep(Contract):
    """From this bought mass on, a kilogram costs this much."""

    from_kg: NonNegative
    price_per_kg: Annotated[NonNegativeMoney, Field(gt=0)]


class StockFormRow(RateRow):
    """One form in which a glass can be bought, or (`owned_pieces` > 0) lies in the store.

    A slab has length, width and thickness; a strip too; a rod diameter and length; a disc or a pressing diameter and
    thickness (a pressing `None` for both: it is pressed to the blank's shape, and `mould_charge` is paid once; `least_diameter_mm`
    is the smallest lens that it is pressed for, 10 mm where the row does not say). Where the seller has a faster delivery, it takes `express_lead_days` and costs `express_surcharge` more, as a share of the price.
    `supplier` is from whom it is ordered, where that is said.
    """

    glass: Name
    form: BlankForm
    length_mm: Positive | None = None
    width_mm: Positive | None = None
    thickness_mm: Positive | None = None
    diameter_mm: Positive | None = None
    prices: Annotated[tuple[PriceStep, ...], Field(min_length=1)]
    lot_charge: NonNegativeMoney = Decimal(0)
    mould_charge: NonNegativeMoney = Decimal(0)
    minimum_kg: NonNegative = 0.0
    remnant_credit: Share = 0.0
    owned_pieces: Count = 0
    least_diameter_mm: Positive | None = None
    lead_days: NonNegative
    express_lead_days: NonNegative | None = None
    express_surcharge: NonNegative | None = None
    supplier: Annotated[str, Field(max_length=100, pattern=NO_CONTROLS)] = ""

    @model_validator(mode="after")
    def _the_ladder_has_no_hole(self) -> StockFormRow:
        faults = []
        if (self.express_lead_days is None) != (self.express_surcharge is None):
            faults.append(
                Fault(
                    "express_surcharge",
                    reason="a faster delivery has both its days and its surcharge",
                    figure=self.express_surcharge,
                    limit=self.express_lead_days,
                    remedy="fill in both, or neither",
                )
            )
        starts = [step.from_kg for step in self.prices]
        if starts[0] != 0:
            faults.append(
                Fault(
                    "prices",
                    0,
                    "from_kg",
                    reason="the price ladder has a hole below its first step",
                    figure=starts[0],
                    limit=0,
                    remedy="let the first step start at 0 kg",
                )
            )
        for i, (before, after) in enumerate(pairwise(starts), start=1):
            if after <= before:
                faults.append(
                    Fault(
                        "prices",
                        i,
                        "from_kg",
                        reason="the steps of the price ladder do not rise",
                        figure=after,
                        limit=before,
                        remedy=f"a mass above {before:g} kg",
                    )
                )
        refuse_if_any(self, faults)
        return self


class AllowanceRow(RateRow):
    """What is left on, or cut away, for blanks whose finished diameter is over one size and up to another.

    `on_diameter`: added to the diameter; `on_diameter_small`: a smaller one, taken where the usual one would leave no edge, the largest
    that leaves one where there are several; `per_face`: added to each face; `saw_kerf`, `core_kerf`: width of the cut;
    `web`: glass left between cores beside the kerf; `edge_margin`: kept clear along a plate's edge; `skin`: taken off each
    outer face of a slab.
    """

    kind: Literal["on_diameter", "on_diameter_small", "per_face", "saw_kerf", "core_kerf", "web", "edge_margin", "skin"]
    form: BlankForm | None = None
    diameter_over_mm: NonNegative
    diameter_up_to_mm: Positive
    allowance_mm: NonNegative
