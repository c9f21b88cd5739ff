"""What can go wrong with a law: a figure for which it has no answer, an indication that cannot be read.

Explained
├── FigureOutOfRange             a figure for which a formula has no answer (of the contracts, as every room has such)
└── OpticsError
    ├── IndicationUnreadable     a drawing indication that does not follow ISO 10110
    ├── HeightBeyondFace         a height at which the face no longer exists
    ├── WavelengthOutsideRange   a wavelength at which the index of a glass is not known
    └── SizeOutsideDefaults      a part too large for the default tolerances of ISO 10110-11
"""

from __future__ import annotations

from shared_schemas.problem import Explained, ProblemDetail


class OpticsError(Explained):
    """Anything that a law of optics or of drawing notation refuses."""


class IndicationUnreadable(OpticsError):
    """A drawing indication that does not follow ISO 10110; `position` counts characters from 1."""

    def __init__(self, text: str, position: int, expected: str) -> None:
        self.text = text
        self.position = position
        self.expected = expected
        stands = f"there stands {text[position - 1 :]!r}" if position <= len(text) else "it ends there"
        super().__init__(
            f"The indication {text!r} cannot be read at position {position}: expected {expected}, but {stands}.",
            ProblemDetail(pointer="", reason=f"expected {expected} at position {position}", figure=text, limit=expected, remedy=f"write {expected}"),
        )  # fmt: skip


class HeightBeyondFace(OpticsError):
    """A height at which the face no longer exists."""

    def __init__(self, height_mm: float, reach_mm: float) -> None:
        self.height_mm = height_mm
        self.reach_mm = reach_mm
        super().__init__(
            f"The face ends {reach_mm:g} mm from the axis and has no sagitta at {height_mm:g} mm.",
            ProblemDetail(
                pointer="", reason="the face ends before this height", figure=height_mm, limit=reach_mm,
                remedy=f"a height of at most {reach_mm:g} mm",
            ),
        )  # fmt: skip


class WavelengthOutsideRange(OpticsError):
    """A wavelength at which the index of a glass is not known."""

    def __init__(self, glass: str, wavelength_nm: float, shortest_nm: float, longest_nm: float) -> None:
        self.glass = glass
        self.wavelength_nm = wavelength_nm
        self.shortest_nm = shortest_nm
        self.longest_nm = longest_nm
        limit = f"{shortest_nm:g} to {longest_nm:g} nm"
        super().__init__(
            f"The index of {glass} is known from {limit}, not at {wavelength_nm:g} nm.",
            ProblemDetail(
                pointer="/wavelength_nm", reason=f"the index of {glass} is not known there", figure=wavelength_nm, limit=limit,
                remedy=f"a wavelength from {limit}",
            ),
        )  # fmt: skip


class SizeOutsideDefaults(OpticsError):
    """A part too large for the default tolerances of ISO 10110-11."""

    def __init__(self, diameter_mm: float, largest_mm: float) -> None:
        self.diameter_mm = diameter_mm
        self.largest_mm = largest_mm
        super().__init__(
            f"Default tolerances are stated up to a size of {largest_mm:g} mm; this part has {diameter_mm:g} mm.",
            ProblemDetail(
                pointer="", reason="no default tolerance is stated for this size", figure=diameter_mm, limit=largest_mm,
                remedy="state every tolerance of the part",
            ),
        )  # fmt: skip
