"""A picture of every block that lenses share, as the process stage plans it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.block import Block, block_that_fits
from services.shop.layout.block_drawing import BlockDrawn, block_svg
from shared_schemas.operations import BlockPicture
from shared_schemas.rates import Rates


def pictures_of_blocks(elements: Sequence[ElementWork], rates: Rates) -> Iterator[BlockPicture]:
    """A picture of every block that several lenses share, in the order in which the faces are worked."""
    for work in elements:
        first, second = work.in_order
        for face in (first, second):
            block = block_that_fits(work, face, rates, worked_first=face is first)
            if block.lenses > 1:
                yield _picture(work, face, block)


def _picture(work: ElementWork, face: FaceWork, block: Block) -> BlockPicture:
    layout = block.layout()
    drawn = BlockDrawn(
        title=f"{work.name} {face.face}, {work.glass.name}",
        layout=layout,
        lenses=min(block.lenses, layout.count),
        diameter_mm=work.blank.diameter_mm,
        pitch_mm=block.pitch_mm,
        radius_mm=face.radius_mm,
        convex=face.convex,
    )
    return BlockPicture(
        part=work.name,
        face=face.face,
        lenses=drawn.lenses,
        pattern=layout.pattern,
        least_gap_mm=drawn.least_gap_mm,
        svg=block_svg(drawn),
    )
