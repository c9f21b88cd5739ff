"""How lenses stand on their blocks: a picture of each block that several share, to scale, and why a face is worked singly."""

from __future__ import annotations

from collections.abc import Iterator

from services.quoting.job_sheet.gallery import Captioned, Gallery, JobBlock, JobSection
from services.quoting.job_sheet.given import Given, found, number_of
from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Paragraph, Picture, Points
from services.shop.layout.block_drawing import BlockDrawn, block_view
from services.shop.layout.lenses_on_block import BlockLayout, layout_of
from shared_schemas.operations import Operation

SAME_RING = 0.02
"""Lenses whose distances from the axis differ by less than this part of a pitch stand in one ring."""
MOST_RINGS = 8


def block_of(part: str, operation: Operation, diameter_mm: float, glass: str) -> BlockDrawn | None:
    """The block of a blocking operation as it can be drawn, from the figures that its size rests on; `None` for a lens worked singly."""
    size = found(operation.basis, "batch_size")
    if size is None or operation.batch_size < 2:
        return None
    pitch, angle = number_of(size.inputs, "pitch_mm"), number_of(size.inputs, "half_angle_deg")
    radius, widest = number_of(size.inputs, "radius_mm"), number_of(size.inputs, "largest_block_mm")
    if pitch is None or widest is None:
        return None
    if angle is None or radius is None:
        radius, layout = None, layout_of(radius_ratio=None, width_ratio=widest / pitch)
    else:
        layout = layout_of(radius_ratio=abs(radius) / pitch, half_angle_deg=angle)
    return BlockDrawn(
        title=f"{part} {operation.face}, {glass}",
        layout=layout,
        lenses=min(operation.batch_size, layout.count),
        diameter_mm=diameter_mm,
        pitch_mm=pitch,
        radius_mm=None if radius is None else abs(radius),
        convex=radius is not None and (radius > 0) == (operation.face == "front"),
    )


def rings_of(layout: BlockLayout) -> tuple[int, ...]:
    """How many lenses stand at each distance from the axis, from the inside; lenses at nearly the same are one ring."""
    outward = sorted(((x * x + y * y) ** 0.5 for x, y, _ in layout.centres.tolist()))
    rings: list[int] = []
    last = -1.0
    for distance in outward:
        if rings and distance - last < SAME_RING:
            rings[-1] += 1
        else:
            rings.append(1)
        last = distance
    return tuple(rings)


def blocks(given: Given, said: Language) -> JobSection | None:
    """Every block, and below them what is worked singly."""
    captioned, some_empty = [], False
    singly: dict[str, list[str]] = {}
    for part, operation, batches in _faces(given):
        blank = given.evaluation.made.blanks[part]
        drawn = block_of(given.lot_of(part), operation, blank.diameter_mm, blank.glass)
        if drawn is not None:
            captioned.append(_captioned(drawn, batches, said))
            some_empty = some_empty or drawn.lenses < drawn.layout.count
        else:
            singly.setdefault(_why(operation), []).append(f"{given.lot_of(part)} {operation.face}")
    if not captioned and not singly:
        return None
    means = f"Blocks are seen along their axis, each to its own scale.{' Places that stay empty are dashed.' if some_empty else ''}"
    drawings: tuple[JobBlock, ...] = (Gallery(tuple(captioned), in_a_row=3), Paragraph(means, small=True)) if captioned else ()
    return JobSection(
        "Blocks", (*drawings, *((Points(tuple(f"{why}: {', '.join(faces)}." for why, faces in singly.items())),) if singly else ()))
    )


def _faces(given: Given) -> Iterator[tuple[str, Operation, int]]:
    """What each face of each element is held by: its blocking, or its polishing where nothing is blocked; and in how many batches."""
    for route in given.evaluation.made.routes:
        if route.kind != "element":
            continue
        done = [(cost.operation, cost.batches) for _, cost in given.lines(route.part) if not cost.operation.left_out]
        blocked = {operation.face for operation, _ in done if operation.operation == "block"}
        for operation, batches in done:
            if operation.operation == "block" or (operation.operation == "polish" and operation.face not in blocked):
                yield route.part, operation, batches


def _why(operation: Operation) -> str:
    """Why a face is worked one lens at a time."""
    size = found(operation.basis, "batch_size")
    if operation.operation == "block" and size is not None and size.reason:
        return size.reason
    return f"{operation.method or 'polished'}, {'one lens' if operation.batch_size == 1 else f'{operation.batch_size} lenses'} at a time, without a block"


def _captioned(drawn: BlockDrawn, batches: int, said: Language) -> Captioned:
    layout = drawn.layout
    rings = rings_of(layout)
    shape = "flat"
    angle: tuple[str, ...] = ()
    if drawn.radius_mm is not None:
        shape = f"{'convex' if drawn.convex else 'concave'} R {said.figure(drawn.radius_mm)} mm"
        angle = (f"half-angle {said.figure(layout.half_angle_deg, form='.1f')}°",)
    places = f"{drawn.lenses} lenses" if drawn.lenses == layout.count else f"{drawn.lenses} lenses in {layout.count} places"
    inside = " + ".join(map(str, rings[:MOST_RINGS])) + (" + …" if len(rings) > MOST_RINGS else "")
    in_rings = {
        "nested rings": f"; from the first ring {inside}, turned to nest",
        "spaced rings": f"; from the first ring {inside}",
    }
    lines = (
        f"{places}, {'1 block' if batches == 1 else f'{said.count(batches)} blocks'}",
        f"block ⌀ {said.figure(drawn.width_mm, form='.1f')} mm, {shape}",
        *angle,
        f"lens ⌀ {said.figure(drawn.diameter_mm, form='.2f')}, pitch {said.figure(drawn.pitch_mm, form='.2f')} mm",
        f"nearest two {said.figure(drawn.least_gap_mm, form='.2f')} mm apart",
        f"{layout.pattern}{in_rings.get(layout.pattern, '')}",
    )  # fmt: skip
    words = f"Block of the {drawn.title}, to scale: {places}."
    return Captioned(Picture(block_view(drawn, words), words), (drawn.title, *lines))
