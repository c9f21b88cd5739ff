"""Rates: the dated rows that every price, time and loss rests on, table by table, and a revision of them all.

Every row has a `name` (its key within the table), a `source` and an `as_of` date. Amounts are in the base currency, the
one whose row in `currencies` has `per_base` 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from shared_schemas.base import (
    NO_CONTROLS,
    Contract,
    Count,
    Currency,
    Fault,
    Name,
    NonNegative,
    NonNegativeMoney,
    Number,
    Positive,
    Share,
    Text,
    refuse_if_any,
)
from shared_schemas.blanks import BlankForm
from shared_schemas.figure import RateRowRef
from shared_schemas.operations import OperationName
from shared_schemas.problem import Explained, ProblemDetail

Yield = Annotated[float, Field(strict=True, gt=0, le=1)]
Said = Annotated[str, StringConstraints(min_length=1, max_length=400, strip_whitespace=True, pattern=NO_CONTROLS)]


class RateRow(Contract):
    """What every row says of itself."""

    name: Name
    source: Said
    as_of: date


class GlassRow(RateRow):
    """A glass and its published physical properties (columns of the makers' data sheets; empty where not published)."""

    maker: Name
    code: Annotated[str, Field(pattern=r"^\d{6}(\.\d{3})?$")]
    nd: Annotated[float, Field(strict=True, gt=1, lt=4)]
    vd: Positive
    density_g_cm3: Positive | None = None
    cte_30_70_1e6_per_k: Number | None = None
    young_gpa: Positive | None = None
    poisson: Positive | None = None
    knoop_hk: Positive | None = None
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


class PriceStep(Contract):
    """From this bought mass on, a kilogram costs this much."""

    from_kg: NonNegative
    price_per_kg: Annotated[NonNegativeMoney, Field(gt=0)]


class StockFormRow(RateRow):
    """One form in which a glass can be bought, or (`owned_pieces` > 0) lies in the store.

    A slab has length, width and thickness; a strip too; a rod diameter and length; a disc or a pressing diameter and
    thickness (a pressing `None` for both: it is pressed to the blank's shape, and `mould_charge` is paid once).
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
    lead_days: NonNegative

    @model_validator(mode="after")
    def _the_ladder_has_no_hole(self) -> StockFormRow:
        faults = []
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

    `on_diameter`: added to the diameter; `per_face`: added to each face; `saw_kerf`, `core_kerf`: width of the cut;
    `web`: glass left between cores beside the kerf; `edge_margin`: kept clear along a plate's edge; `skin`: taken off each
    outer face of a slab.
    """

    kind: Literal["on_diameter", "per_face", "saw_kerf", "core_kerf", "web", "edge_margin", "skin"]
    form: BlankForm | None = None
    diameter_over_mm: NonNegative
    diameter_up_to_mm: Positive
    allowance_mm: NonNegative


class WorkCentreRow(RateRow):
    """A machine or a bench: what it does (`method` tells two ways of one operation apart), and what its hours cost.

    A batch takes `cycle_min` and, for each piece in it, `load_min_per_piece`; `rack_pieces` go in together where a rack,
    not a block or a chamber, says how many.
    """

    operations: Annotated[tuple[OperationName, ...], Field(min_length=1)]
    method: Annotated[str, Field(max_length=40)] = ""
    machine_rate_per_h: NonNegativeMoney
    labour_rate_per_h: NonNegativeMoney
    stations: Annotated[int, Field(strict=True, ge=1)]
    setup_min: NonNegative
    load_min_per_piece: NonNegative
    cycle_min: NonNegative = 0.0
    rack_pieces: Annotated[int, Field(strict=True, ge=1)] | None = None
    attended_share: Share
    largest_diameter_mm: Positive | None = None


class GrindingRow(RateRow):
    """One stage of shaping: sawing, coring or curve generating by grindability class, or one grit of the fine-grinding ladder.

    `removal_mm3_per_min` for bound diamond (`generate`: one row for each ISO 12844 class; `saw` and `core`: one row for
    class 3, scaled as generating is). `removal_um_per_min` for `fine_grind`: by `method` `block` loose abrasive, on a
    glass of abrasion 100; by `single` diamond pellets, on a glass of class 3. Damage below a surface is
    `damage_multiple` times `grit_um`.
    """

    stage: Literal["saw", "core", "generate", "fine_grind"]
    method: Literal["", "block", "single"] = ""
    grit_um: Positive
    grindability_hg: Annotated[int, Field(strict=True, ge=1, le=6)] | None = None
    removal_mm3_per_min: Positive | None = None
    removal_um_per_min: Positive | None = None
    damage_multiple: Positive
    change_over_min: NonNegative
    consumables_per_batch: NonNegativeMoney = Decimal(0)


class PolishingRow(RateRow):
    """How a range of glasses is polished on blocks or singly (`method`): Preston's coefficient with pressure and speed, the figuring loop, and the block.

    A row with `glass` is for that glass alone; otherwise it holds over `knoop_over_hk` and up to `knoop_up_to_hk`.
    Lenses stand `block_gap_mm` apart on blocks up to `largest_block_mm` wide and `convex_half_angle_deg` or
    `concave_half_angle_deg` high; below `single_below_ratio` of radius to diameter, or finer than
    `single_below_fringes`, a lens is worked singly.
    """

    glass: Name | None = None
    method: Literal["block", "single"]
    knoop_over_hk: NonNegative
    knoop_up_to_hk: Positive
    polisher: Literal["pad", "pitch"]
    preston_coefficient_per_pa: Positive
    pressure_pa: Positive
    speed_m_per_s: Positive
    stock_multiple: Positive
    start_figure_fringes: Positive
    measure_min: NonNegative
    correct_min: NonNegative
    block_gap_mm: NonNegative
    largest_block_mm: Positive
    convex_half_angle_deg: Annotated[float, Field(strict=True, gt=0, le=90)]
    concave_half_angle_deg: Annotated[float, Field(strict=True, gt=0, le=90)]
    single_below_ratio: NonNegative
    single_below_fringes: NonNegative
    consumables_per_batch: NonNegativeMoney = Decimal(0)


class ToleranceClassRow(RateRow):
    """How time and yield answer to one tolerance.

    The figures of three classes, loosest first; beyond `capability` the shop says no. Below the knee t_k time grows by
    1 + time_slope (t_k/t - 1) and the yield of the operations named falls by the power 1 + yield_slope (t_k/t - 1).
    """

    attribute: Literal["irregularity", "power", "imperfection_grade", "centring", "diameter", "centre_thickness"]
    unit: Name
    commercial: Positive
    precision: Positive
    high_precision: Positive
    capability: Positive
    knee: Positive
    time_slope: NonNegative
    yield_slope: NonNegative
    operations: Annotated[tuple[OperationName, ...], Field(min_length=1)]


class CoatingLayer(Contract):
    """One layer, outermost first: material, index at the design wavelength, physical thickness, rate of deposition."""

    material: Name
    index: Positive
    thickness_nm: Positive
    rate_nm_per_s: Positive


class CoatingRow(RateRow):
    """A coating the shop runs: its stack, the parts of its cycle, and the chamber's seats.

    `calottes` hold lenses in seats of the lens diameter plus `seat_rim_mm`, within `calotte_diameter_mm`.
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


class ToolingRow(RateRow):
    """A tool: one that the shop owns (`owned`), with its radius, or what a new one of its kind costs.

    Radii are positive for the curve as such; a test plate pair serves both the convex and the concave side.
    """

    kind: Literal["radius_tool", "block", "test_plate", "centring_chuck", "coating_fixture"]
    owned: bool
    radius_mm: Positive | None = None
    diameter_mm: Positive | None = None
    reach_share: Share = 0.0
    charge: NonNegativeMoney = Decimal(0)
    lead_days: NonNegative = 0.0


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
    """One step of mounting, in minutes `per` what it is counted by."""

    operation: OperationName
    per: Literal["lot", "lens", "part", "space", "character", "element"]
    minutes: NonNegative
    attended_share: Share = 1.0


class InspectionRow(RateRow):
    """One thing looked at or measured. `grade_up_to_mm` limits a cosmetic row to imperfection grades that fine."""

    looks_at: Literal["imperfections", "form", "centring", "centre_thickness", "diameter", "coating", "record"]
    per: Literal["lot", "piece", "face"]
    grade_up_to_mm: Positive | None = None
    minutes: NonNegative


class YieldRow(RateRow):
    """What survives an operation at the knee of its tolerances, and how often a whole batch is lost together."""

    operation: OperationName
    method: Annotated[str, Field(max_length=40)] = ""
    yield_share: Annotated[float, Field(alias="yield", strict=True, gt=0, le=1)]
    batch_loss: Annotated[float, Field(strict=True, ge=0, lt=1)] = 0.0


class HardwareRow(RateRow):
    """A bought part of the mount: `kind`, for outer diameters up to a size, in a material where it matters."""

    kind: Literal["barrel", "spacer", "retaining_ring", "case"]
    material: Annotated[str, Field(max_length=40)] = ""
    diameter_up_to_mm: Positive
    lot_charge: NonNegativeMoney
    unit_price: Annotated[NonNegativeMoney, Field(gt=0)]
    lead_days: NonNegative


class CommercialRow(RateRow):
    """Terms for one class of customer (`name`). Overhead is a share of cost, margin a share of price."""

    overhead_share: Share
    margin_share: Annotated[float, Field(strict=True, ge=0, lt=1)]
    contingency_share: Share
    valid_days: Annotated[int, Field(strict=True, ge=1, le=365)]
    minimum_order: NonNegativeMoney
    rounding: Annotated[NonNegativeMoney, Field(gt=0)]


class CurrencyRow(RateRow):
    """A currency (`name`, its ISO 4217 code): how many of it one unit of the base currency buys on the day `as_of`."""

    name: Currency
    per_base: Annotated[NonNegativeMoney, Field(gt=0)]
    minor_units: Annotated[int, Field(strict=True, ge=0, le=4)]


class CalendarRow(RateRow):
    """A weekday with its working hours (`weekday`, 0 Monday), or a `holiday`."""

    weekday: Annotated[int, Field(strict=True, ge=0, le=6)] | None = None
    hours: Annotated[float, Field(strict=True, ge=0, le=24)] = 0.0
    holiday: date | None = None


class ShopLoadRow(RateRow):
    """How busy a work centre (`name`) is: the share of its hours already taken, and the spread of work and arrivals."""

    utilisation: Annotated[float, Field(strict=True, ge=0, lt=1)]
    squared_variation: NonNegative
    mean_job_h: NonNegative


TABLES: dict[str, type[RateRow]] = {
    "glasses": GlassRow,
    "stock_forms": StockFormRow,
    "allowances": AllowanceRow,
    "work_centres": WorkCentreRow,
    "grinding": GrindingRow,
    "polishing": PolishingRow,
    "tolerance_classes": ToleranceClassRow,
    "coatings": CoatingRow,
    "tooling": ToolingRow,
    "cementing": CementingRow,
    "assembly": AssemblyRow,
    "inspection": InspectionRow,
    "yields": YieldRow,
    "hardware": HardwareRow,
    "commercial": CommercialRow,
    "currencies": CurrencyRow,
    "calendar": CalendarRow,
    "shop_load": ShopLoadRow,
}
"""Every rate table by name, with the shape of its rows."""


class RateMissing(Explained):
    """No row answers what was asked. A missing price is an error, never a zero."""

    def __init__(self, table: str, wanted: str, known: tuple[str, ...] = ()) -> None:
        self.table = table
        self.wanted = wanted
        self.known = known
        hint = f" It has {', '.join(known[:8])}{' …' if len(known) > 8 else ''}." if known else ""
        super().__init__(
            f"The rate table {table} has no row for {wanted}.{hint} Add the row and quote again.",
            ProblemDetail(pointer=f"/{table}", reason=f"no row for {wanted}", remedy=f"add a row for {wanted} to {table}"),
        )


class Rates(Contract):
    """All tables of one revision, as pure functions take them."""

    glasses: tuple[GlassRow, ...]
    stock_forms: tuple[StockFormRow, ...]
    allowances: tuple[AllowanceRow, ...]
    work_centres: tuple[WorkCentreRow, ...]
    grinding: tuple[GrindingRow, ...]
    polishing: tuple[PolishingRow, ...]
    tolerance_classes: tuple[ToleranceClassRow, ...]
    coatings: tuple[CoatingRow, ...]
    tooling: tuple[ToolingRow, ...]
    cementing: tuple[CementingRow, ...]
    assembly: tuple[AssemblyRow, ...]
    inspection: tuple[InspectionRow, ...]
    yields: tuple[YieldRow, ...]
    hardware: tuple[HardwareRow, ...]
    commercial: tuple[CommercialRow, ...]
    currencies: tuple[CurrencyRow, ...]
    calendar: tuple[CalendarRow, ...]
    shop_load: tuple[ShopLoadRow, ...]

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy, with tables replaced; what was looked up in the old tables is forgotten."""
        fresh = super().model_copy(update=update, deep=deep)
        for looked_up in ("_rows_by_name", "base_currency"):
            fresh.__dict__.pop(looked_up, None)
        return fresh

    @cached_property
    def _rows_by_name(self) -> dict[str, dict[str, Any]]:
        return {table: {row.name: row for row in getattr(self, table)} for table in TABLES}

    def _row(self, table: str, name: str) -> Any:
        rows = self._rows_by_name[table]
        if name not in rows:
            raise RateMissing(table, name, tuple(rows))
        return rows[name]

    def glass(self, name: str) -> GlassRow:
        """The glass of that catalogue name; raises `RateMissing`."""
        row: GlassRow = self._row("glasses", name)
        return row

    def work_centre(self, name: str) -> WorkCentreRow:
        """The work centre of that name; raises `RateMissing`."""
        row: WorkCentreRow = self._row("work_centres", name)
        return row

    def coating(self, name: str) -> CoatingRow:
        """The coating of that name; raises `RateMissing`."""
        row: CoatingRow = self._row("coatings", name)
        return row

    def terms(self, customer_class: str) -> CommercialRow:
        """The commercial terms of that class of customer; raises `RateMissing`."""
        row: CommercialRow = self._row("commercial", customer_class)
        return row

    def currency(self, code: str) -> CurrencyRow:
        """The currency of that ISO 4217 code; raises `RateMissing`."""
        row: CurrencyRow = self._row("currencies", code)
        return row

    @cached_property
    def base_currency(self) -> str:
        """ISO 4217 code of the currency that every amount in the tables is in; raises `RateMissing`."""
        for row in self.currencies:
            if row.per_base == 1:
                return row.name
        raise RateMissing("currencies", "the base currency (per_base 1)", tuple(row.name for row in self.currencies))

    @staticmethod
    def ref(table: str, row: RateRow) -> RateRowRef:
        """The reference by which a figure names the row it rests on."""
        return RateRowRef(table=table, row=row.name, source=row.source, as_of=row.as_of)


class RateRevision(Contract):
    """An immutable set of all tables. `digest` is the SHA-256 of its rows in canonical JSON."""

    number: Annotated[int, Field(ge=1)]
    digest: str
    created_at: datetime
    created_by: str
    reason: Text
    rates: Rates


class RevisionSummary(Contract):
    """A revision without its rows; `changed` names the tables that differ from the one before."""

    number: int
    digest: str
    created_at: datetime
    created_by: str
    reason: Text
    changed: tuple[str, ...]


class RevisionList(Contract):
    """A page of revisions, newest first."""

    items: tuple[RevisionSummary, ...]
    next: str | None = None


class TablePage(Contract):
    """One table as it stands in a revision; each row has the shape that `TABLES` gives for the table."""

    table: Name
    revision: int
    rows: tuple[dict[str, Any], ...]


class TableUpdate(Contract):
    """What an engineer sends to replace a table; becomes the next revision."""

    rows: Annotated[tuple[dict[str, Any], ...], Field(min_length=1, max_length=5000)]
    reason: Said
