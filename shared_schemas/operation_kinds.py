"""The operations that there are: one table of what each is, from which every list of operations elsewhere is made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

OperationName = Literal[
    "saw", "wax", "core", "melt_off", "press_blank", "generate", "block", "fine_grind", "polish", "deblock", "centre", "bevel", "clean", "inspect",
    "coat", "cement", "blacken_edge", "engrave", "assemble", "align", "final_test", "pack", "own_work",
]  # fmt: skip
"""The names, as a type: a test holds them against the table."""

Method = Literal[
    "block", "single", "volume", "form", "asphere", "bell", "optical", "automatic", "edging", "solvent", "wiped", "chips", "microscope",
    "witness", "coated", "first article",
]  # fmt: skip
"""The ways of doing an operation by which a route asks for it; the ways of measuring aspheres are the names of their rows beside."""

MinutesTable = Literal[
    "work_centres", "grinding", "polishing", "coatings", "cementing", "assembly", "inspection", "extra_work", "yields", "operations"
]


@dataclass(frozen=True)
class OperationKind:
    """What an operation is.

    Attributes:
        words: what it is called in a sentence.
        minutes_from: the rate table that its minutes come from, besides the set-up, cycle and loading of its work centre; what is
            spent on it stands in the same row.
        shapes_face: whether it shapes one face, and so is done twice to an element.
        on_block: whether the lenses of one block stay together on it.
        clamped: whether a machine clamps each piece, and so has a largest diameter.
        shares_runs: whether pieces of several parts may be in one run.
        extra_work: whether the table of extra work may lengthen it.
        sampled_by: the standard by which a sample of the lot may be enough; none where every piece is worked.
        repeated: whether a route has it several times, told apart by `method`.
        methods: by which a route asks for it, besides in general.
    """

    words: str
    minutes_from: MinutesTable = "work_centres"
    shapes_face: bool = False
    on_block: bool = False
    clamped: bool = False
    shares_runs: bool = False
    extra_work: bool = False
    sampled_by: str | None = None
    repeated: bool = False
    methods: tuple[Method, ...] = ()


ON_BLOCK: tuple[Method, ...] = ("block", "single")
WORKED: tuple[Method, ...] = ("block", "single", "volume")
CENTRED: tuple[Method, ...] = ("bell", "optical", "automatic", "edging", "asphere")
LOOKED: tuple[Method, ...] = ("chips", "microscope", "witness", "coated", "first article")


OPERATIONS: dict[OperationName, OperationKind] = {
    "saw": OperationKind("sawing", "grinding"),
    "wax": OperationKind("waxing on a backing glass"),
    "core": OperationKind("coring", "grinding"),
    "melt_off": OperationKind("melting off the backing glass"),
    "press_blank": OperationKind("preparing pressings"),
    "generate": OperationKind(
        "generating", "grinding", shapes_face=True, clamped=True, extra_work=True, methods=("volume", "form")
    ),
    "block": OperationKind("blocking", shapes_face=True, on_block=True, extra_work=True, methods=ON_BLOCK),
    "fine_grind": OperationKind(
        "fine grinding", "grinding", shapes_face=True, on_block=True, clamped=True, extra_work=True, methods=WORKED
    ),
    "polish": OperationKind(
        "polishing", "polishing", shapes_face=True, on_block=True, clamped=True, extra_work=True, methods=(*WORKED, "asphere")
    ),
    "deblock": OperationKind("deblocking", shapes_face=True, on_block=True, extra_work=True, methods=ON_BLOCK),
    "centre": OperationKind("centring", "grinding", clamped=True, extra_work=True, methods=CENTRED),
    "bevel": OperationKind("bevelling", "extra_work", extra_work=True),
    "clean": OperationKind("cleaning", extra_work=True, repeated=True, methods=("solvent", "wiped")),
    "inspect": OperationKind("inspection", "inspection", sampled_by="ISO 2859-1", repeated=True, methods=LOOKED),
    "coat": OperationKind("coating", "coatings", shares_runs=True),
    "cement": OperationKind("cementing", "cementing"),
    "blacken_edge": OperationKind("edge blackening"),
    "engrave": OperationKind("engraving", "assembly"),
    "assemble": OperationKind("assembly", "assembly"),
    "align": OperationKind("alignment", "assembly"),
    "final_test": OperationKind("final test", "assembly"),
    "pack": OperationKind("packing", "assembly"),
    "own_work": OperationKind("a step of the shop's own", "operations", repeated=True),
}
"""Every operation, in the order in which a lens passes them; a step of the shop's own, its name the `method`, where its row says."""


def operations_that(holds: Callable[[OperationKind], bool]) -> tuple[OperationName, ...]:
    """The operations of which something holds, in the order of the table."""
    return tuple(name for name, kind in OPERATIONS.items() if holds(kind))


def operation_words(name: str) -> str:
    """What an operation is called in a sentence; another thing that takes its place in a list, as it is written."""
    kind = next((kind for operation, kind in OPERATIONS.items() if operation == name), None)
    return name.replace("_", " ") if kind is None else kind.words
