"""Pictures side by side, each with its caption."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from services.quoting.sheet.parts import Block, Picture, as_data


@dataclass(frozen=True)
class Captioned:
    """A picture and what stands under it, a line each."""

    picture: Picture
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Gallery:
    """Small pictures, some in a row."""

    pictures: tuple[Captioned, ...]
    in_a_row: int


@dataclass(frozen=True)
class Part:
    """The heading of what is said of one part, and a line under it."""

    title: str
    line: str


JobBlock = Block | Gallery | Part


@dataclass(frozen=True)
class JobSection:
    """A part of the job sheet under a heading of its own."""

    title: str
    blocks: tuple[JobBlock, ...]


def data_of(block: JobBlock) -> dict[str, Any]:
    """A block as JSON takes it, with its kind."""
    if isinstance(block, Part):
        return {"kind": "part", **asdict(block)}
    if not isinstance(block, Gallery):
        return as_data(block)
    shown = [{**asdict(one.picture), "lines": one.lines} for one in block.pictures]
    return {"kind": "gallery", "pictures": shown, "in_a_row": block.in_a_row}
