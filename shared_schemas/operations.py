"""The operation plan: which operations, how long, with what losses, and what must be bought for them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from decimal import Decimal
from operator import not_
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Contract, Currency, Name, NonNegativeMoney, Pointer, Share, Text
from shared_schemas.check import Finding
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName

Face = Literal["front", "back"]
PartKind = Literal["element", "cemented_group", "lens"]


class SampleStep(Contract):
    """In lots up to a size (`None`: any larger one), how many pieces are looked at, and with how many bad ones the lot still passes."""

    up_to: Annotated[int, Field(ge=1)] | None
    pieces: Annotated[int, Field(ge=1)]
    accept: Annotated[int, Field(ge=0)]


class Sampled(Contract):
    """Part of the minutes of a piece that only a sample of the lot takes: which share of them, and how many pieces, by lot size.

    A lot that is no larger than its sample is looked at whole. `steps` go from the smallest lots to the largest.
    """

    looks_at: Name
    share: Share
    steps: Annotated[tuple[SampleStep, ...], Field(min_length=1)]

    def spared(self, pieces: int) -> int:
        """How many of a lot of `pieces` are not looked at."""
        step = next((one for one in self.steps if one.up_to is None or pieces <= one.up_to), self.steps[-1])
        return max(pieces - step.pieces, 0)


Choice = Literal["blank", "front", "back", "testing"]
"""What a shop chooses for an element, quantity by quantity: the form of the blank, how each face is worked, what figures are tested with."""


class Way(Contract):
    """A choice made one way: `blank` one of the forms of `Blank.form`, a face `block`, `single` or `volume`, `testing` `plate` or `interferometer`."""

    choice: Choice
    option: Name

    def __eq__(self, other: object) -> bool:
        """Alike in choice and option; written out, as ways are compared by the ten thousand."""
        return isinstance(other, Way) and self.choice == other.choice and self.option == other.option

    def __hash__(self) -> int:
        """By choice and option."""
        return hash((self.choice, self.option))


class Operation(Contract):
    """One line of the route card.

    A run of n pieces takes `setup_min` once, `batch_min` for each of ceil(n / batch_size) batches and `piece_min` for each
    piece; the machine is busy all that time, a person for `attended_share` of it (and the set-up). A piece passes with probability `yield`; a whole batch is
    lost together with probability `batch_loss`. `consumables` is spent per batch. `basis` explains the figures by name.

    Of the pieces that do not pass, `rework_share` are reworked once, `rework_min` each at the same work centre with a person there
    all the time, and `rework_yield` of those are good then; the rest is scrap.

    A route of a plan holds the operations of every way there is to the part: one with `ways` is done only where each of those
    choices is so made, one without always. A route of a quote is of one way.

    Operations of one `shared_run` (of any part, and of either face) may go into one run: `batch_size` is what a run holds if it
    holds these pieces only, so n_i pieces take the share n_i / batch_size_i of a run. A lot takes ceil(sum of the shares) runs,
    but no fewer than one part has operations of that name, as a piece is in a run once; a run's minutes, consumables and
    loss are borne by each in proportion to its share.

    Of the minutes of pieces that go one at a time, `sampled` names the shares that only a sample of the lot takes.

    `work_centre_id` is what the work centre is known by when it gets another name.
    A step of the shop's own is `own_work`, its `method` the name of its row; it may cost `lot_charge` for a lot besides, and what comes
    to it rests or is away for `wait_days` calendar days.
    One that is `left_out` stands in the plan and is not done, as an estimator says.
    """

    operation: OperationName
    face: Face | None = None
    method: str = ""
    work_centre: Name
    work_centre_id: Annotated[str, Field(exclude_if=not_)] = ""
    setup_min: Annotated[float, Field(ge=0)]
    batch_size: Annotated[int, Field(ge=1)]
    batch_min: Annotated[float, Field(ge=0)]
    piece_min: Annotated[float, Field(ge=0)] = 0.0
    attended_share: Share = 1.0
    yield_share: Annotated[float, Field(alias="yield", gt=0, le=1)]
    batch_loss: Annotated[float, Field(ge=0, lt=1)] = 0.0
    consumables: NonNegativeMoney
    shared_run: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    sampled: tuple[Sampled, ...] = ()
    rework_share: Annotated[Share, Field(exclude_if=not_)] = 0.0
    rework_yield: Annotated[Share, Field(exclude_if=not_)] = 0.0
    rework_min: Annotated[float, Field(ge=0, exclude_if=not_)] = 0.0
    lot_charge: Annotated[NonNegativeMoney, Field(exclude_if=not_)] = Decimal(0)
    wait_days: Annotated[float, Field(ge=0, exclude_if=not_)] = 0.0
    ways: Annotated[tuple[Way, ...], Field(exclude_if=not_)] = ()
    left_out: Annotated[bool, Field(exclude_if=not_)] = False
    basis: tuple[Figure, ...] = ()


class Consumed(Contract):
    """A part that goes into another: `part` is an element or a cemented group, `count` of it for each one made."""

    part: str
    count: Annotated[int, Field(ge=1)] = 1


class Route(Contract):
    """The route of one part. An element starts from a blank; a group or the lens from the parts it consumes."""

    part: str
    kind: PartKind
    consumes: tuple[Consumed, ...] = ()
    operations: Annotated[tuple[Operation, ...], Field(min_length=1)]


def operation_ids(routes: Iterable[Route]) -> dict[str, tuple[str, ...]]:
    """The id of every operation, part by part in the order of its route: `L1-polish-front`, the second of a kind `L1-clean-2`.

    It is made of what is done to which part, not of its place: an operation that comes or goes before it leaves it as it is, so it
    is the same at every quantity and in every revision that has the operation.
    """
    seen: Counter[str] = Counter()
    ids: dict[str, tuple[str, ...]] = {}
    for route in routes:
        of_route = []
        for operation in route.operations:
            said = (route.part, operation.operation, operation.face or "", operation.method)
            name = "-".join(word for text in said for word in re.findall(r"[^\W_]+", text))
            seen[name] += 1
            of_route.append(name if seen[name] == 1 else f"{name}-{seen[name]}")
        ids[route.part] = tuple(of_route)
    return ids


FREIGHT = "freight, "
"""What the name of a bought part begins with that is the way of the goods, not a part; the terms follow."""


class BoughtPart(Contract):
    """Something bought for each lens: barrel, spacer, retaining ring, stop plate, what it is packed in, its freight.

    A lot costs `lot_charge` and n times `unit_price`.
    """

    name: Name
    count: Annotated[int, Field(ge=1)]
    lot_charge: NonNegativeMoney
    unit_price: NonNegativeMoney
    lead_days: float
    basis: tuple[Figure, ...] = ()


class Tooling(Contract):
    """A one-off charge for a tool that the shop does not own yet; one with `ways` is needed only where the part is made so."""

    name: Name
    part: str
    reason: Text
    charge: NonNegativeMoney
    lead_days: float
    ways: Annotated[tuple[Way, ...], Field(exclude_if=not_)] = ()
    basis: tuple[Figure, ...] = ()


class OwnedTool(Contract):
    """A tool in hand: `name` is its row in the tooling rates, `serves` says for what of the part."""

    name: Name
    part: str
    serves: Text


class ToolingOffer(Contract):
    """A radius so near to a test plate that the shop owns, that the customer may like it better: no new plate is made then.

    The sign of the radius stays: a pair of plates serves the convex and the concave side. `also` are the other faces of that
    radius; the plate is saved only when they change with it. `focal_length_change_mm` is the whole lens's, none of its
    other radii changed. `not_needed` are the tools of the plan that fall away, `needed` what the new radius asks for
    instead; `saving` is the difference of their charges.
    """

    where: Pointer
    also: tuple[Pointer, ...] = ()
    part: str
    from_radius_mm: float
    to_radius_mm: float
    tool: Name
    focal_length_change_mm: float
    focal_length_change_share: float
    saving: NonNegativeMoney
    lead_days_saved: float
    not_needed: tuple[Name, ...]
    needed: tuple[Tooling, ...] = ()
    basis: tuple[Figure, ...] = ()


class LooserOperation(Contract):
    """What becomes of one operation of a part when a tolerance is relaxed; `position` counts from 0 in its route.

    From `method` on, `None` stands for what stays as it is.
    """

    position: Annotated[int, Field(ge=0)]
    batch_size: Annotated[int, Field(ge=1)]
    batch_min: Annotated[float, Field(ge=0)]
    piece_min: Annotated[float, Field(ge=0)] = 0.0
    yield_share: Annotated[float, Field(alias="yield", gt=0, le=1)]
    method: str | None = None
    work_centre: Name | None = None
    work_centre_id: str | None = None
    setup_min: Annotated[float, Field(ge=0)] | None = None
    attended_share: Share | None = None
    consumables: NonNegativeMoney | None = None
    batch_loss: Annotated[float, Field(ge=0, lt=1)] | None = None
    sampled: tuple[Sampled, ...] | None = None
    rework_share: Share | None = None
    rework_yield: Share | None = None
    rework_min: Annotated[float, Field(ge=0)] | None = None


STATED_IF_CHANGED = tuple(name for name, field in LooserOperation.model_fields.items() if field.default is None)
"""What a looser operation states only where it changes."""


class AddedOperation(Contract):
    """An operation that a relaxation brings, before the one that is at `position` in the route as asked for."""

    position: Annotated[int, Field(ge=0)]
    operation: Operation


class Relaxation(Contract):
    """One tolerance, one class looser: from which figure to which, and the operations of the part that change.

    `removed` are the positions of those that fall away, `added` those that come instead; `means` says in words what no
    figure says, such as which coating becomes which; `needed` are tools that the change asks for and the plan does not have.
    """

    where: Pointer
    part: str
    tolerance: Name
    from_figure: float
    to_figure: float
    unit: str
    operations: tuple[LooserOperation, ...]
    removed: tuple[Annotated[int, Field(ge=0)], ...] = ()
    added: tuple[AddedOperation, ...] = ()
    means: Text = ""
    needed: tuple[Tooling, ...] = ()


class BlockPicture(Contract):
    """The block that a face is ground and polished on, drawn to scale: its lenses, the pattern they stand in, and the room between the nearest two."""

    part: str
    face: Face
    lenses: Annotated[int, Field(ge=1)]
    pattern: Name
    least_gap_mm: float
    svg: str


ToleranceClass = Literal["commercial", "precision", "high_precision"]
"""The classes of the rate table `tolerance_classes`, loosest first."""


class FaceClass(Contract):
    """The class of the tightest tolerance that an operation answers to, on one face where it shapes one."""

    operation: OperationName
    face: Face | None = None
    tolerance: ToleranceClass


class PartClasses(Contract):
    """How hard an element is to work: the ISO 12844 class of its glass, as `HG3`, and the class of each operation's tolerances."""

    part: str
    glass: str = ""
    tolerances: tuple[FaceClass, ...] = ()

    def tolerance_of(self, operation: OperationName, face: Face | None) -> str:
        """The class of the tolerances that an operation answers to; nothing where it answers to none."""
        return next((one.tolerance for one in self.tolerances if one.operation == operation and one.face in (None, face)), "")


class OperationPlan(Contract):
    """What the process stage says. `routes` has every element, every cemented group and, last, the lens.

    Elements that are alike are one lot: `alike` gives for each but the first the first of its kind, which alone has a route.

    `classes` has the elements that have a route. `blocks` is filled where pictures were asked for.
    """

    currency: Currency
    routes: Annotated[tuple[Route, ...], Field(min_length=1)]
    alike: dict[str, str] = Field(default_factory=dict)
    classes: Annotated[tuple[PartClasses, ...], Field(exclude_if=not_)] = ()
    bought_parts: tuple[BoughtPart, ...] = ()
    tooling: tuple[Tooling, ...] = ()
    tools_owned: tuple[OwnedTool, ...] = ()
    offers: tuple[ToolingOffer, ...] = ()
    relaxations: tuple[Relaxation, ...] = ()
    findings: tuple[Finding, ...] = ()
    cautions: tuple[Text, ...] = ()
    blocks: tuple[BlockPicture, ...] = ()
