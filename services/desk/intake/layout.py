"""How the rows of a table lie behind one another: elements with their faces, what is between them, the stop, the object. Nothing is read yet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from services.desk.intake.grid import Cell
from services.desk.intake.heads import Head

AIR = (
    "",
    "air",
    "-",
    "–",
    "—",
    "vacuum",
    "luft",
    "vakuum",
    "vide",
    "aer",
    "none",
    "n/a",
    "1",
    "1.0",
    "1.00",
    "1.000",
    "1,0",
    "1,000",
)
CEMENT = (
    "cement",
    "cemented",
    "glue",
    "kitt",
    "verkittet",
    "gekittet",
    "kleber",
    "colle",
    "collé",
    "collée",
    "ciment",
    "bonded",
    "contact",
)
STOP = (
    "stop",
    "sto",
    "ast",
    "aperture stop",
    "aperture",
    "iris",
    "diaphragm",
    "blende",
    "aperturblende",
    "diaphragme",
    "stop surface",
    "irisblende",
)
OBJECT = ("object", "obj", "objekt", "objet", "obj.")
IMAGE = ("image", "img", "ima", "bild", "bildebene", "image plane", "plan image", "img.", "sensor", "detector", "bildfläche")


@dataclass(frozen=True)
class Held:
    """A cell with the head of its column."""

    cell: Cell
    head: Head


@dataclass
class Face:
    """One face: its cells by kind (`a4` of an aspheric term), the name of its place such as `L2.front`, the row where it stands.

    `shared` is the face of the neighbour on the other side of the cement, which is the same row.
    """

    place: str
    side: str
    row: int
    cells: dict[str, list[Held]] = field(default_factory=dict)

    def one(self, kind: str) -> Held | None:
        """The first cell of a kind."""
        return next(iter(self.cells.get(kind, ())), None)

    @property
    def pointer(self) -> str:
        """Where it stands in the request."""
        element, face = self.place.rsplit(".", maxsplit=1)
        return f"/prescription/elements/{element}/{face}"


@dataclass
class Piece:
    """One element: its faces and the cells that are of the whole of it."""

    name: str
    row: int
    front: Face
    back: Face
    cells: dict[str, list[Held]] = field(default_factory=dict)

    def one(self, kind: str) -> Held | None:
        """The first cell of a kind."""
        return next(iter(self.cells.get(kind, ())), None)

    @property
    def pointer(self) -> str:
        """Where it stands in the request."""
        return f"/prescription/elements/{self.name}"

    @property
    def faces(self) -> tuple[Face, Face]:
        """Front and back."""
        return (self.front, self.back)


@dataclass(frozen=True)
class Part:
    """A part of the way to the next element: the cell of its length, and whether it may be below 0, before a stop within glass."""

    held: Held | None
    row: int
    before_stop: bool = False
    zero: bool = False


@dataclass
class Gap:
    """What lies behind an element: parts of air, or cement."""

    parts: list[Part] = field(default_factory=list)
    cemented: bool = False


@dataclass
class StopAt:
    """The stop: behind which element, by which parts of the way; `ahead` is a way that leads on to the first element."""

    after_element: int
    row: int
    diameter: Held | None
    parts: list[Part] = field(default_factory=list)
    ahead: Part | None = None
    face: Face | None = None


@dataclass
class Layout:
    """A lens as its rows lie."""

    pieces: list[Piece] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    stop: StopAt | None = None
    object_distance: Held | None = None

    def faces(self) -> Iterator[tuple[Piece, Face]]:
        """Every face with its element, front to back."""
        for piece in self.pieces:
            for face in piece.faces:
                yield piece, face


def add(cells: dict[str, list[Held]], kind: str, held: Held) -> None:
    """One more cell of a kind."""
    cells.setdefault(kind, []).append(held)
