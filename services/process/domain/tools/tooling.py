"""Which tools a lens needs: those the shop owns, and one-off charges for radius tools, blocks, plates, chucks and fixtures it does not."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from services.optics.law import LONGEST_NAME, column
from services.process.domain.coating.run import DesignedRow
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.route.element import ElementLines
from services.process.domain.route.ways import options_of
from services.process.domain.tools.owned import plate_owned, serves
from shared_schemas.operations import OwnedTool, Relaxation, Tooling, Way
from shared_schemas.rates import AsphereTool, RateMissing, Rates, ToolingRow

ToolKind = Literal["radius_tool", "block", "test_plate", "centring_chuck", "coating_fixture", "coating_trial"] | AsphereTool

OF_AN_ASPHERE: dict[str, str] = {
    "asphere_program": "asphere program", "stitch_set_up": "stitching set-up", "asphere_null": "null or hologram"
}  # fmt: skip
"""What is made for one aspheric face is called, by its kind."""

Key = tuple[ToolKind, float | str, str, tuple[Way, ...]]


@dataclass(frozen=True)
class Want:
    """A tool that one element needs: its kind, the radius or diameter it is for [mm], and in words for what.

    It is needed only where the faces are made so, by `ways`; `form` is that of the aspheric face that it is made for.
    """

    kind: ToolKind
    size_mm: float
    part: str
    what: str
    face: FaceWork | None = None
    form: str = ""
    ways: tuple[Way, ...] = ()

    @property
    def key(self) -> Key:
        """What two needs have in common that one tool serves."""
        return (self.kind, self.what if self.form else self.size_mm, self.part if self.ways or self.form else "", self.ways)

    @property
    def name(self) -> str:
        """What such a tool is called."""
        if self.form and self.face is not None:
            return f"{OF_AN_ASPHERE[self.kind]}, {self.part} {self.face.face}"[:LONGEST_NAME]
        return f"{self.kind.replace('_', ' ')} {self.size_mm:g} mm"

    @property
    def lacking(self) -> str:
        """Why it is charged for."""
        return "none is kept for this form" if self.form else "none owned is near enough"


def tools_wanted(elements: Sequence[ElementWork], lines: Sequence[ElementLines], rates: Rates) -> tuple[Want, ...]:
    """Every tool that every element needs; elements that are alike need theirs for one part, each face with its own place.

    Notes:
        A curve needs a radius tool, a test plate, and a block unless its lenses are worked singly; an asphere instead what each
        way of making it asks for. Flat laps, flats and flat blocks belong to every shop (common practice).
    """
    return tuple(want for work, of_one in zip(elements, lines, strict=True) for want in _wanted(work, of_one, rates))


def _wanted(work: ElementWork, lines: ElementLines, rates: Rates) -> Iterator[Want]:
    on_block = {line.face: line.ways for line in lines if line.operation == "polish" and line.method == "block"}
    tested = options_of("testing", lines)
    for face in work.faces:
        if face.aspheric:
            yield from _of_asphere(work, face, lines, rates, tested=bool(tested))
        elif face.radius_mm is not None:
            radius_tool = Want("radius_tool", face.radius_mm, work.part, f"R {face.radius_mm:g} of the {face.face}", face)
            chosen = tested and not plate_owned(face.radius_mm, rates)
            yield radius_tool
            yield replace(radius_tool, kind="test_plate", ways=(Way(choice="testing", option="plate"),) if chosen else ())
            if face.face in on_block:
                yield replace(radius_tool, kind="block", ways=on_block[face.face])
    if not work.is_window:
        yield Want("centring_chuck", work.diameter_mm, work.part, f"diameter {work.diameter_mm:g}")
    if any(face.coating is not None for face in work.faces):
        yield Want("coating_fixture", work.diameter_mm, work.part, f"diameter {work.diameter_mm:g}")


def _of_asphere(work: ElementWork, face: FaceWork, lines: ElementLines, rates: Rates, *, tested: bool) -> Iterator[Want]:
    """What each way of an aspheric face asks for: by itself what is made for its form, as a sphere the tools of the sphere."""
    ways = dict.fromkeys(way for line in lines for way in line.ways if way.choice == face.face)
    own = {row.name: row for row in rates.aspheres}
    if face.asphere is not None:
        form = face.asphere.form
        needs = {way: own[way.option].needs for way in ways if way.option in own}
        always = set() if face.is_near_a_sphere or not needs else set.intersection(*map(set, needs.values()))
        what = f"{form} at the {face.face}"
        for kind in sorted(always):
            yield Want(kind, face.radius_mm or 0.0, work.part, what, face, form)
        for way, kinds in needs.items():
            for needed in (one for one in kinds if one not in always):
                yield Want(needed, face.radius_mm or 0.0, work.part, what, face, form, (way,))
    if face.radius_mm is None:
        return
    for way in (one for one in ways if one.option not in own):
        spherical: tuple[ToolKind, ...] = (
            ("radius_tool", "test_plate", "block") if way.option == "block" else ("radius_tool", "test_plate")
        )
        chosen = tested and not plate_owned(face.radius_mm, rates)
        for tool in spherical:
            ways_to_it = (way, Way(choice="testing", option="plate")) if chosen and tool == "test_plate" else (way,)
            yield Want(tool, face.radius_mm, work.part, f"R {face.radius_mm:g} of the {face.face}", face, ways=ways_to_it)


class Toolroom:
    """The tools of the rates by kind, and what a new one of each kind costs."""

    def __init__(self, rates: Rates, there: frozenset[str] = frozenset()) -> None:
        self.there = there
        """Tools by name that are there for this job, whatever the rates have: supplied by the customer, or of an order that it repeats."""
        self.currency = rates.base_currency
        self.owned: dict[str, list[ToolingRow]] = {}
        self._new: dict[str, ToolingRow] = {}
        self._known = tuple(row.name for row in rates.tooling if not row.owned)
        for row in rates.tooling:
            if row.owned:
                self.owned.setdefault(row.kind, []).append(row)
            else:
                self._new.setdefault(row.kind, row)

    def that_serves(self, kind: ToolKind, size_mm: float) -> ToolingRow | None:
        """The owned tool for a radius or diameter [mm], the nearest where several do; None where none does."""
        serving = [row for row in self.owned.get(kind, ()) if serves(row, size_mm)]
        return min(serving, key=lambda row: abs((row.radius_mm or row.diameter_mm or 0.0) - size_mm), default=None)

    def serving(self, want: Want) -> ToolingRow | None:
        """The owned tool that serves a need; what is made for an aspheric face serves that form alone."""
        if want.name in self.there:
            return self.new(want.kind).model_copy(update={"name": want.name, "owned": True, "form": want.form})
        if not want.form:
            return self.that_serves(want.kind, want.size_mm)
        return next((row for row in self.owned.get(want.kind, ()) if row.form == want.form), None)

    def new(self, kind: ToolKind) -> ToolingRow:
        """What a new tool of a kind costs and how long it takes; raises `RateMissing`."""
        if kind not in self._new:
            raise RateMissing("tooling", f"a new {kind.replace('_', ' ')}", self._known)
        return self._new[kind]

    def charge(self, want: Want) -> Tooling:
        """The one-off charge for a tool that is not owned; raises `RateMissing`."""
        charge = self._charge(want.kind, want.name, want.part, f"{want.what} of {want.part}: {want.lacking}")
        return charge.model_copy(update={"ways": want.ways}) if want.ways else charge

    def trial(self, design: DesignedRow, part: str) -> Tooling:
        """The one-off charge for the first run of a stack never coated before; raises `RateMissing`."""
        reason = f"{design.name}: a design to be tried on witness pieces before the lot is coated"
        return self._charge("coating_trial", f"trial run, {design.name}"[:LONGEST_NAME], part, reason)

    def _charge(self, kind: ToolKind, name: str, part: str, reason: str) -> Tooling:
        row = self.new(kind)
        return Tooling(
            name=name,
            part=part,
            reason=reason,
            charge=row.charge,
            lead_days=row.lead_days,
            basis=(
                column("charge", row.charge, self.currency, Rates.ref("tooling", row)),
                column("lead_days", row.lead_days, "days", Rates.ref("tooling", row)),
            ),
        )


def missing(wants: Sequence[Want], toolroom: Toolroom) -> tuple[Want, ...]:
    """The needs that no owned tool is near enough to; one for each kind and size, the first that has it.

    Notes: what is needed in every way is not needed again in one of them.
    """
    first: dict[Key, Want] = {}
    always = {want.key for want in wants if not want.ways}
    for want in wants:
        if not want.ways or (want.kind, want.size_mm, "", ()) not in always:
            first.setdefault(want.key, want)
    return tuple(want for want in first.values() if toolroom.serving(want) is None)


def tooling_for(wants: Sequence[Want], toolroom: Toolroom) -> tuple[Tooling, ...]:
    """A one-off charge for each radius or diameter that no owned tool serves; raises `RateMissing`."""
    return tuple(toolroom.charge(want) for want in missing(wants, toolroom))


def trials_wanted(elements: Sequence[ElementWork], toolroom: Toolroom) -> tuple[Tooling, ...]:
    """A trial run for each stack that the shop has never coated, for the first part that has it; raises `RateMissing`."""
    first: dict[str, Tooling] = {}
    for work in elements:
        for face in work.faces:
            if face.design is not None and face.design.name not in first:
                first[face.design.name] = toolroom.trial(face.design, work.name)
    return tuple(first.values())


def trials_for(trials: Sequence[Tooling], toolroom: Toolroom) -> tuple[Tooling, ...]:
    """The trial runs that are still to be made."""
    return tuple(trial for trial in trials if trial.name not in toolroom.there)


def trials_made(trials: Sequence[Tooling], toolroom: Toolroom) -> tuple[OwnedTool, ...]:
    """The trial runs that were made before, each for the part that waits for what came of it."""
    return tuple(
        OwnedTool(name=trial.name, part=trial.part, serves=trial.reason) for trial in trials if trial.name in toolroom.there
    )


def with_blocks(relaxations: Iterable[Relaxation], wants: Sequence[Want], toolroom: Toolroom) -> Iterator[Relaxation]:
    """The relaxations; one that moves a face from single work to a block with the block that it needs, if none serves."""
    keys = {want.key for want in wants}
    laps = {(want.part, want.face.where): want for want in wants if want.face is not None and want.kind == "radius_tool"}
    for relaxation in relaxations:
        lap = None
        if any(one.operation.method == "block" for one in relaxation.added):
            lap = laps.get((relaxation.part, relaxation.where.rpartition("/")[0]))
        block = None if lap is None else replace(lap, kind="block")
        if block is None or block.key in keys or toolroom.that_serves("block", block.size_mm) is not None:
            yield relaxation
        else:
            yield relaxation.model_copy(update={"needed": (toolroom.charge(block),)})


def tools_owned(wants: Sequence[Want], toolroom: Toolroom) -> tuple[OwnedTool, ...]:
    """The tools in hand that each part is made with; one that serves both faces of a part is named for both."""
    serves: dict[tuple[str, str], list[str]] = {}
    for want in wants:
        row = toolroom.serving(want)
        if row is not None:
            serves.setdefault((row.name, want.part), []).append(want.what)
    return tuple(OwnedTool(name=name, part=part, serves=", ".join(dict.fromkeys(what))) for (name, part), what in serves.items())
