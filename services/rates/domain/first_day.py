"""Forty questions by which a new shop's tables are begun: what each asks, and the cells that its answer goes to.

An answer changes figures in the rows there are; nothing is asked that a shop does not know on its first day. A row all of whose
figures were answered is the shop's own estimate then; one that still has figures of the demo stays invented, and says in its
source what was answered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from statistics import median_low
from typing import Any

from shared_schemas.first_day import AnswerKind
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import RateRow, Rates

Chosen = Callable[[Any], bool]


@dataclass(frozen=True)
class Cells:
    """The cells of one column that an answer goes to, in the rows that are chosen; `whole` where they are all that the row says."""

    table: str
    column: str
    chosen: Chosen
    whole: bool = False

    def rows(self, rates: Rates) -> tuple[RateRow, ...]:
        """The rows that are chosen."""
        return tuple(row for row in getattr(rates, self.table) if self.chosen(row))


@dataclass(frozen=True)
class Question:
    """What is asked: its answer goes to `cells`, or is of a kind of its own (`services.rates.domain.first_day_answers`)."""

    name: str
    subject: str
    words: str
    kind: AnswerKind
    unit: str = ""
    least: float | None = None
    most: float | None = None
    cells: tuple[Cells, ...] = ()
    tables: tuple[str, ...] = ()
    """The tables that a question without cells changes."""

    @property
    def changes(self) -> str:
        """Tables and columns that the answer goes to."""
        return ", ".join(dict.fromkeys(f"{cells.table}.{cells.column}" for cells in self.cells)) or ", ".join(self.tables)

    def usual(self, rates: Rates) -> Any:
        """The middle one of what the chosen rows say."""
        return median_low(getattr(row, cells.column) for cells in self.cells for row in cells.rows(rates))


def _does(*operations: OperationName, method: str | None = None) -> Chosen:
    """Work centres that do one of these, by that method where one is said."""
    wanted = frozenset(operations)
    return lambda row: not wanted.isdisjoint(row.operations) and method in (None, row.method)


def _labour(*operations: OperationName) -> tuple[Cells, ...]:
    return (Cells("work_centres", "labour_rate_per_h", _does(*operations)),)


def _centres(column: str, *operations: OperationName, method: str | None = None) -> tuple[Cells, ...]:
    return (Cells("work_centres", column, _does(*operations, method=method)),)


def _hours(*weekdays: int) -> tuple[Cells, ...]:
    return (Cells("calendar", "hours", lambda row: row.weekday in weekdays, whole=True),)


def _all(table: str, column: str, *, whole: bool = False) -> tuple[Cells, ...]:
    return (Cells(table, column, lambda row: True, whole=whole),)


def _yield_of(operation: OperationName) -> tuple[Cells, ...]:
    ordinary = ("", "bell")
    return (Cells("yields", "yield_share", lambda row: row.operation == operation and row.method in ordinary, whole=True),)


def slabs(row: Any) -> bool:
    """Stock that is bought as slabs."""
    return bool(row.form == "slab")


SHOP = (
    Question("currency", "shop", "In which currency does the shop reckon?", "currency", tables=("currencies",)),
    Question("hours_monday_to_thursday", "shop", "Working hours on each of Monday to Thursday", "number", "h", 0.5, 24,
             _hours(0, 1, 2, 3)),
    Question("hours_friday", "shop", "Working hours on Friday", "number", "h", 0, 24, _hours(4)),
    Question("hours_saturday", "shop", "Working hours on Saturday", "number", "h", 0, 24, _hours(5)),
    Question("closed_days", "shop", "Days on which the shop is closed in the next twelve months", "days", tables=("calendar",)),
)  # fmt: skip

LABOUR = tuple(
    Question(f"labour_{name}", "labour", f"What does an hour of labour cost in {words}, with all on-costs?", "money", "currency/h", 1,
             1000, _labour(*operations))
    for name, words, operations in (
        ("shaping", "sawing, coring and generating", ("saw", "wax", "core", "melt_off", "press_blank", "generate")),
        ("polishing", "blocking, grinding and polishing", ("block", "deblock", "fine_grind", "polish")),
        ("centring", "centring and bevelling", ("centre", "bevel")),
        ("coating", "cleaning, coating and blackening", ("clean", "coat", "blacken_edge")),
        ("inspection", "inspection and test", ("inspect", "final_test")),
        ("assembly", "cementing, assembly and packing", ("cement", "assemble", "align", "engrave", "pack")),
    )
)  # fmt: skip

MACHINES = (
    Question("generators", "machines", "How many curve generators are there?", "count", "", 1, 200,
             _centres("stations", "generate", method="")),
    Question("generator_rate", "machines", "What does a machine hour of a generator cost, without labour?", "money", "currency/h", 0, 5000,
             _centres("machine_rate_per_h", "generate", method="")),
    Question("largest_generated", "machines", "Largest diameter that a generator takes", "number", "mm", 5, 2000,
             _centres("largest_diameter_mm", "generate", method="")),
    Question("lapping_spindles", "machines", "How many spindles grind blocks?", "count", "", 1, 200,
             _centres("stations", "fine_grind", method="block")),
    Question("polishing_spindles", "machines", "How many spindles polish blocks?", "count", "", 1, 200,
             _centres("stations", "polish", method="block")),
    Question("polishing_rate", "machines", "What does a machine hour of a polishing spindle cost, without labour?", "money", "currency/h",
             0, 5000, _centres("machine_rate_per_h", "polish", method="block")),
    Question("single_spindles", "machines", "How many spindles polish single lenses?", "count", "", 1, 200,
             _centres("stations", "polish", method="single")),
    Question("largest_single", "machines", "Largest diameter that is ground and polished singly", "number", "mm", 5, 2000,
             (*_centres("largest_diameter_mm", "polish", method="single"),
              *_centres("largest_diameter_mm", "fine_grind", method="single"))),
    Question("polishing_shifts", "machines", "In how many shifts a day is ground and polished?", "count", "", 1, 3,
             _centres("shifts", "fine_grind", "polish")),
    Question("volume_line", "machines", "Is there a line of automatic machines for long runs (generate, smooth, polish)?", "yes_no",
             tables=("work_centres", "shop_load")),
    Question("centring_machines", "machines", "How many centring machines are there?", "count", "", 1, 200,
             _centres("stations", "centre", method="bell")),
    Question("centring_rate", "machines", "What does a machine hour of a centring machine cost, without labour?", "money", "currency/h",
             0, 5000, _centres("machine_rate_per_h", "centre", method="bell")),
    Question("automatic_centring", "machines", "Is there a centring machine that loads itself?", "yes_no",
             tables=("work_centres", "shop_load")),
    Question("chambers", "machines", "How many coating chambers are there?", "count", "", 1, 100, _centres("stations", "coat")),
    Question("chamber_rate", "machines", "What does a machine hour of a coating chamber cost, without labour?", "money", "currency/h",
             0, 5000, _centres("machine_rate_per_h", "coat")),
    Question("calottes", "machines", "How many calottes has a chamber?", "count", "", 1, 50, _all("coatings", "calottes")),
    Question("calotte_diameter", "machines", "Diameter of a calotte", "number", "mm", 50, 2000,
             _all("coatings", "calotte_diameter_mm")),
    Question("assembly_benches", "machines", "At how many benches is assembled?", "count", "", 1, 200,
             _centres("stations", "assemble")),
    Question("utilisation", "machines", "How busy is the shop: what percentage of its hours is taken?", "percent", "%", 0, 97,
             _all("shop_load", "utilisation")),
)  # fmt: skip

GLASS = (
    Question("crown_price", "glass", "What does a kilogram of N-BK7 cost in slabs, for 5 kg? Other glasses follow in proportion",
             "money", "currency/kg", 1, 5000, tables=("stock_forms",)),
    Question("glass_days", "glass", "How many working days until a slab arrives?", "number", "days", 0, 400,
             (Cells("stock_forms", "lead_days", slabs),)),
    Question("glass_lot_charge", "glass", "What does a supplier charge for an order of slabs beside the glass?", "money", "currency", 0,
             5000, (Cells("stock_forms", "lot_charge", slabs),)),
)  # fmt: skip

YIELDS = (
    Question("pass_polishing", "yields", "Of a hundred faces polished to usual tolerances, how many pass?", "percent", "%", 50, 100,
             _yield_of("polish")),
    Question("pass_coating", "yields", "Of a hundred lenses coated, how many pass?", "percent", "%", 50, 100, _yield_of("coat")),
    Question("pass_centring", "yields", "Of a hundred lenses centred, how many pass?", "percent", "%", 50, 100, _yield_of("centre")),
)  # fmt: skip

TERMS = (
    Question("overhead", "terms", "Overhead on cost", "percent", "%", 0, 100, _all("commercial", "overhead_share")),
    Question("margin_single", "terms", "Margin on the price of a single piece", "percent", "%", 0, 90, tables=("commercial",)),
    Question("margin_hundred", "terms", "Margin on the price of a hundred pieces", "percent", "%", 0, 90, tables=("commercial",)),
    Question("minimum_order", "terms", "Smallest order that is taken", "money", "currency", 0, 100_000,
             _all("commercial", "minimum_order")),
)  # fmt: skip

QUESTIONS: tuple[Question, ...] = (*SHOP, *LABOUR, *MACHINES, *GLASS, *YIELDS, *TERMS)
"""In the order in which they are asked."""


def names_of(questions: Iterable[Question]) -> tuple[str, ...]:
    """Their names."""
    return tuple(question.name for question in questions)
