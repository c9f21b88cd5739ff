"""Rows of the tables of work: work centres, removal, tolerances, coatings, tools, assembly, inspection, losses."""

from __future__ import annotations

import re
import zlib
from decimal import Decimal
from itertools import pairwise
from math import inf
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, model_validator

from shared_schemas.base import (
    Contract,
    Count,
    Fault,
    Name,
    NonNegative,
    NonNegativeMoney,
    Positive,
    Share,
    refuse_if_any,
)
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rate_row import RateRow, Yield
from shared_schemas.rate_rows_of_aspheres import AsphereTool

CentreId = Annotated[str, Field(pattern=r"^([a-z0-9]+(-[a-z0-9]+)*)?$", max_length=60)]
"""What a work centre is known by when it gets another name: small letters and digits, with hyphens between."""


def id_of(name: str) -> str:
    """The id that a name makes: `polishing spindles` is `polishing-spindles`."""
    return "-".join(re.findall(r"[a-z0-9]+", name.lower())) or f"centre-{zlib.crc32(name.encode())}"


class WorkCentreRow(RateRow):
    """A machine or a bench: what it does (`method` tells two ways of one operation apart), and what its hours cost.

    A batch takes `cycle_min` and, for each piece in it, `load_min_per_piece`; `rack_pieces` go in together where a rack,
    not a block or a chamber, says how many. `learning_share` is what is left of the time of a piece when the number made
    doubles, up to `learned_after` pieces, where a person's hands set the pace: it counts for operations done piece by
    piece. `minutes_variation` is the standard deviation of the minutes over those planned, as a share of them.
    It works `shifts` times the hours of the calendar, up to the whole day.
    Where several do the same operation by the same method on pieces of that size, the one of the lowest `priority` does it; of
    equal priority the one at which a lot of 25 costs least. `id` stays when the name changes; where none is given it is made of the name.
    Optical centring trues a lens that is held finer than `trued_below_arcmin` in its cell: `align_min` when it is held twice as fine.
    """

    id: CentreId = Field(
        default="",
        description="What it is known by when it gets another name; made of the name where it is left out.",
        examples=["polisher-01"],
    )
    operations: Annotated[tuple[OperationName, ...], Field(min_length=1)]
    method: Annotated[str, Field(max_length=40)] = ""
    priority: Annotated[int, Field(strict=True, ge=1, le=99)] = Field(
        default=1, description="Of several that serve the lowest does it; of equal ones the cheaper for a lot of 25.", examples=[1]
    )
    machine_rate_per_h: NonNegativeMoney
    labour_rate_per_h: NonNegativeMoney
    stations: Annotated[int, Field(strict=True, ge=1)]
    shifts: Annotated[int, Field(strict=True, ge=1, le=3)] = 1
    setup_min: NonNegative
    load_min_per_piece: NonNegative
    cycle_min: NonNegative = 0.0
    rack_pieces: Annotated[int, Field(strict=True, ge=1)] | None = None
    attended_share: Share
    smallest_diameter_mm: Positive | None = None
    largest_diameter_mm: Positive | None = None
    learning_share: Annotated[float, Field(strict=True, ge=0.5, le=1)] = 1.0
    learned_after: Annotated[int, Field(strict=True, ge=1, le=10_000)] = 100
    minutes_variation: Annotated[float, Field(strict=True, ge=0, le=2)] = 0.25
    trued_below_arcmin: Positive | None = None
    align_min: NonNegative = 0.0

    @model_validator(mode="before")
    @classmethod
    def _an_id_of_its_name(cls, given: Any) -> Any:
        """Rows of before there were ids get one of their name."""
        if isinstance(given, dict) and not given.get("id") and isinstance(given.get("name"), str):
            return {**given, "id": id_of(given["name"])}
        return given


class GrindingRow(RateRow):
    """One stage of shaping: sawing, coring or curve generating by grindability class, or one grit of the fine-grinding ladder.

    `generate` has one row for each ISO 12844 class: its cup wheel goes `infeed_mm_per_min` into a face of that glass, as far as the
    power of the spindle goes, `removal_limit_mm3_per_min`, and stays `spark_out_min` at depth; an edging wheel takes
    `edging_mm2_per_min` of a ring off a rim for each millimetre of its thickness. A row without an infeed cuts `removal_mm3_per_min`,
    whatever the size of the face. `saw` and `core` cut `removal_mm3_per_min` in class 3, scaled as generating is. `removal_um_per_min` for `fine_grind`: by `method` `block` loose abrasive, on a
    glass of abrasion 100; by `single` diamond pellets, on a glass of class 3. Damage below a surface is
    `damage_multiple` times `grit_um`.
    """

    stage: Literal["saw", "core", "generate", "fine_grind"]
    method: Literal["", "block", "single", "volume"] = ""
    grit_um: Positive
    grindability_hg: Annotated[int, Field(strict=True, ge=1, le=6)] | None = None
    removal_mm3_per_min: Positive | None = None
    infeed_mm_per_min: Positive | None = None
    removal_limit_mm3_per_min: Positive | None = None
    spark_out_min: NonNegative = 0.0
    edging_mm2_per_min: Positive = 40.0
    removal_um_per_min: Positive | None = None
    damage_multiple: Positive
    change_over_min: NonNegative
    consumables_per_batch: NonNegativeMoney = Decimal(0)


USUAL_MEDIAN_FRINGES: dict[Literal["block", "single", "volume"], float] = {"block": 0.25, "single": 0.08, "volume": 0.2}
"""Irregularity that half of the runs reach, on a block and singly with corrections in between; common practice [fringe]."""


class PolishingRow(RateRow):
    """How a range of glasses is polished on blocks or singly (`method`): Preston's coefficient with pressure and speed, the figuring loop, and the block.

    A row with `glass` is for that glass alone; otherwise it holds over `knoop_over_hk` and up to `knoop_up_to_hk`.
    Lenses stand `block_gap_mm` apart on blocks up to `largest_block_mm` wide and `convex_half_angle_deg` or
    `concave_half_angle_deg` high; below `single_below_ratio` of radius to diameter, or finer than
    `single_below_fringes` (0 where the cost alone decides), a lens is worked singly. One whose diameter is more than `thin_over` times its thickness bends: blocking,
    polishing and deblocking take 1 + `thin_slope` ((D/CT / thin_over) ** `thin_power` - 1) as long, with fewer lenses to a block in that
    ratio. No more than `most_lenses` are handled on one block, nor more than are blocked in `most_blocking_min`; lenses up to
    `recessed_up_to_mm` lie in recesses, `recessed_lenses` of them. `thin_lenses_share`, `thin_pressure_share` and
    `single_thin_over` stand in rows of older revisions and are not read.
    An asphere that departs little from its sphere may be polished as one: it passes with 1 / (1 + (d / t) ** departure_sharpness),
    where t is what it is allowed and d the departure times `departure_weight`, and is polished again until it does.

    Of many runs half leave a figure finer than `form_median_fringes`, with a standard deviation of its logarithm of `form_log_sd`.
    `start_figure_fringes` stands in rows of older revisions and is not read.
    """

    glass: Name | None = None
    method: Literal["block", "single", "volume"]
    knoop_over_hk: NonNegative
    knoop_up_to_hk: Positive
    polisher: Literal["pad", "pitch"]
    preston_coefficient_per_pa: Positive
    pressure_pa: Positive
    speed_m_per_s: Positive
    stock_multiple: Positive
    start_figure_fringes: Positive | None = None
    measure_min: NonNegative
    correct_min: NonNegative
    block_gap_mm: NonNegative
    largest_block_mm: Positive
    convex_half_angle_deg: Annotated[float, Field(strict=True, gt=0, le=90)]
    concave_half_angle_deg: Annotated[float, Field(strict=True, gt=0, le=90)]
    single_below_ratio: NonNegative
    single_below_fringes: NonNegative = 0.0
    consumables_per_batch: NonNegativeMoney = Decimal(0)
    thin_over: Positive | None = None
    thin_slope: NonNegative = 0.29594
    thin_power: Annotated[float, Field(strict=True, gt=0, le=2.9)] = 1.2018
    most_lenses: Annotated[int, Field(strict=True, ge=1)] | None = None
    most_blocking_min: Positive = 60.0
    recessed_lenses: Annotated[int, Field(strict=True, ge=1)] | None = None
    recessed_up_to_mm: Positive = 3.0
    thin_lenses_share: Yield | None = None
    thin_pressure_share: Yield | None = None
    single_thin_over: Positive | None = None
    departure_weight: Positive = 1.0
    departure_sharpness: Annotated[float, Field(strict=True, ge=1.5, le=2.5)] = 2.0
    form_median_fringes: Positive | None = None
    form_log_sd: Annotated[float, Field(strict=True, ge=0.5, le=3)] = 0.5

    @property
    def median_fringes(self) -> float:
        """The figure that half of the runs reach; where the row does not say it, what is usual for its method [fringe]."""
        return self.form_median_fringes or USUAL_MEDIAN_FRINGES[self.method]


Tabulated = tuple[Positive, Positive, NonNegative]
"""Index and absorption at a wavelength: nm, n, k."""


class CoatingLayer(Contract):
    """One layer, outermost first: material, index at the design wavelength, physical thickness, rate of deposition.

    `extinction` is k beside that index (0 absorbs nothing), both good within `clear_nm`; where the film is `tabulated`, n and k are
    those of its table, in straight lines between the wavelengths.
    """

    material: Name
    index: Positive
    thickness_nm: Positive
    rate_nm_per_s: Positive
    extinction: NonNegative = 0.0
    clear_nm: tuple[Positive, Positive] | None = None
    tabulated: tuple[Tabulated, ...] = ()

    @model_validator(mode="after")
    def _wavelengths_go_up(self) -> CoatingLayer:
        faults = []
        if self.clear_nm is not None and self.clear_nm[0] > self.clear_nm[1]:
            range_nm = list(self.clear_nm)
            faults.append(
                Fault("clear_nm", reason="the range ends before it begins", figure=range_nm, limit="from, to", remedy="swap them")
            )
        for number, (one, other) in enumerate(pairwise(wavelength for wavelength, _, _ in self.tabulated)):
            if one >= other:
                place = ("tabulated", number + 1)
                faults.append(
                    Fault(*place, reason="wavelengths go up", figure=other, limit=one, remedy=f"a wavelength above {one:g} nm")
                )
        refuse_if_any(self, faults)
        return self

    @property
    def range_nm(self) -> tuple[float, float]:
        """Shortest and longest wavelength at which the film is known [nm]."""
        if self.tabulated:
            return self.tabulated[0][0], self.tabulated[-1][0]
        return self.clear_nm or (0.0, inf)


class CoatingRow(RateRow):
    """A coating the shop runs: its stack, the parts of its cycle, and the chamber's seats.

    The run warms the lenses to `hottest_c`. Where its layers are trimmed to the index of the glass, a run takes lenses of
    `one_glass` only.

    `calottes` hold lenses in seats of the lens diameter plus `seat_rim_mm`, within `calotte_diameter_mm`. The shop may promise
    of it that in air, at normal incidence, it leaves at most `promised_reflectance`, or as a mirror reflects at least
    `promised_mirror_reflectance`, anywhere from `band_from_nm` to `band_to_nm`.
    """

    design_wavelength_nm: Positive
    layers: Annotated[tuple[CoatingLayer, ...], Field(min_length=1)]
    load_min: NonNegative
    pump_min: NonNegative
    heat_min: NonNegative
    cool_min: NonNegative
    vent_min: NonNegative
    unload_min: NonNegative
    calotte_diameter_mm: Positive
    calottes: Annotated[int, Field(strict=True, ge=1)]
    seat_rim_mm: NonNegative
    witness_pieces: Count
    run_consumables: NonNegativeMoney
    band_from_nm: Positive | None = None
    band_to_nm: Positive | None = None
    promised_reflectance: Share | None = None
    promised_mirror_reflectance: Share | None = None
    hottest_c: Positive | None = None
    one_glass: bool = False

    @model_validator(mode="after")
    def _a_promise_has_a_band(self) -> CoatingRow:
        first, last, faults = self.band_from_nm, self.band_to_nm, []
        if (first is None) != (last is None):
            missing = "band_from_nm" if first is None else "band_to_nm"
            faults.append(Fault(missing, reason="a band has two ends", figure=None, limit="both or neither", remedy="fill in both"))
        elif first is not None and last is not None and first > last:
            reason = "the band ends before it begins"
            faults.append(Fault("band_to_nm", reason=reason, figure=last, limit=first, remedy=f"{first:g} nm or more"))
        for where in ("promised_reflectance", "promised_mirror_reflectance"):
            promised = getattr(self, where)
            if promised is not None and first is None:
                faults.append(
                    Fault(where, reason="a promise needs its band", figure=promised, limit="with a band", remedy="fill in the band")
                )
        refuse_if_any(self, faults)
        return self


class ToolingRow(RateRow):
    """A tool: one that the shop owns (`owned`), with its radius, or what a new one of its kind costs.

    Radii are positive for the curve as such; a test plate pair serves both the convex and the concave side. A radius within
    `reach_share` of an owned tool is worked with it; one within `offer_reach_share` of an owned test plate gets the offer to
    take the radius of the plate, if the focal length of the lens changes by no more than `offer_focal_share`. A `coating_trial` is
    the first run of a stack that the shop has never coated, on witness pieces. What was made for an aspheric face serves no other: an
    owned one names the `form` that it is for, in the words of its charge.
    """

    kind: Literal["radius_tool", "block", "test_plate", "centring_chuck", "coating_fixture", "coating_trial"] | AsphereTool
    owned: bool
    radius_mm: Positive | None = None
    diameter_mm: Positive | None = None
    reach_share: Share = 0.0
    charge: NonNegativeMoney = Decimal(0)
    lead_days: NonNegative = 0.0
    offer_reach_share: Share = 0.0
    offer_focal_share: Share = 0.0
    form: Annotated[str, Field(max_length=200)] = ""


class CementingRow(RateRow):
    """A way of cementing, good for a centring error of `finest_centring_arcmin` and wider."""

    finest_centring_arcmin: Positive
    setup_min: NonNegative
    minutes_per_face: NonNegative
    cure_min: NonNegative
    cure_batch: Annotated[int, Field(strict=True, ge=1)]
    cure_attended_share: Share
    consumables_per_piece: NonNegativeMoney


class AssemblyRow(RateRow):
    """One step of mounting, in minutes `per` what it is counted by; `wavefront` once for a lens whose drawing limits it.

    Of the steps of an operation that reach a `finest_centring_arcmin`, the plainest that is fine enough is done; the others always.
    """

    operation: OperationName
    per: Literal["lot", "lens", "part", "space", "character", "element", "wavefront"]
    finest_centring_arcmin: Positive | None = None
    minutes: NonNegative
    attended_share: Share = 1.0


AQLS_PERCENT = (
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0, 25.0, 40.0, 65.0,
    100.0, 150.0, 250.0, 400.0, 650.0, 1000.0,
)  # fmt: skip
"""Acceptance quality limits that ISO 2859-1 has plans for (table 2-A, from memory); above 10 they count nonconformities on 100 items."""


def _of_the_series(aql_percent: float) -> float:
    if aql_percent not in AQLS_PERCENT:
        raise ValueError(f"ISO 2859-1 has no plans for that limit; it has {', '.join(f'{aql:g}' for aql in AQLS_PERCENT)}")
    return aql_percent


Aql = Annotated[float, Field(strict=True, gt=0), AfterValidator(_of_the_series)]


class InspectionRow(RateRow):
    """One thing looked at or measured.

    A cosmetic row states its minutes at the imperfection grade `grade_up_to_mm`, a row of form at the irregularity
    `fringes_up_to`; between two rows the minutes go from one to the other. `aspheric` is for aspheric faces only. `texture` and `laser_damage` are for faces whose drawing states them.
    `chips` are looked for after generating, `joined` faces under the microscope before they are cemented; `coating` by the
    lot is the witness piece, measured after each run, `coated` the look at the coated face itself. A `first_article` is measured
    by the piece (each element of the lens) and recorded by the lot, where the prescription asks for one.
    Where a tolerance is no finer than the commercial class, a row with `aql_percent` is done on a sample by ISO 2859-1 at that
    `level`, towards the precision class less and less of it; everything else is done on every piece.
    """

    looks_at: Literal[
        "imperfections",
        "form",
        "texture",
        "laser_damage",
        "centring",
        "centre_thickness",
        "diameter",
        "coating",
        "record",
        "chips",
        "joined",
        "coated",
        "first_article",
    ]
    per: Literal["lot", "piece", "face"]
    grade_up_to_mm: Positive | None = None
    fringes_up_to: Positive | None = None
    means: Literal["", "plate", "interferometer"] = ""
    aspheric: bool = False
    minutes: NonNegative
    aql_percent: Aql | None = None
    level: Literal["I", "II", "III"] = "II"


class ExtraWorkRow(RateRow):
    """What an operation on an element takes besides, in minutes `per` lot, batch, piece, or bevel or seat that the piece has.

    `wanted_by` says for which elements: every one; those of a leaded glass; those whose class of resistance to climate, stain,
    acid, alkali or phosphate is `from_class` or worse; those of a material that
    heat breaks; those with a face that must stand laser light; `finished_face` the
    pieces that lie on a finished face, which are those whose second face is worked. What is done at `block` for a class of
    resistance protects the finished face too. A row with `method` is for that way of the operation alone. The yield of the
    operation is that of its row to the power `yield_power`.
    """

    operation: OperationName
    method: Annotated[str, Field(max_length=40)] = ""
    per: Literal["lot", "batch", "piece", "bevel", "seat"]
    minutes: NonNegative
    wanted_by: Literal[
        "every",
        "lead",
        "climate_cr",
        "stain_fr",
        "acid_sr",
        "alkali_ar",
        "phosphate_pr",
        "thermal_shock",
        "laser_damage",
        "finished_face",
    ] = "every"
    from_class: NonNegative = 0.0
    yield_power: Annotated[float, Field(strict=True, ge=1, le=20)] = 1.0
