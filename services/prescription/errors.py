"""What can go wrong in checking a prescription.

Explained
└── PrescriptionError
    ├── SurfaceEndsEarlier       a surface is asked for its depth where it has none
    ├── WavelengthOutOfRange     a refractive index outside the range of its formula
    └── IndicationUnreadable     an ISO 10110 indication that cannot be read
"""

from __future__ import annotations

from shared_schemas.problem import Explained, ProblemDetail


class PrescriptionError(Explained):
    """Anything this service refuses."""


class SurfaceEndsEarlier(PrescriptionError):
    """A surface is asked for its depth where it has none."""

    def __init__(self, *, height_mm: float, limit_mm: float) -> None:
        self.height_mm = height_mm
        self.limit_mm = limit_mm
        super().__init__(f"The surface ends {limit_mm:g} mm from the axis; it has no depth at {height_mm:g} mm.")


class WavelengthOutOfRange(PrescriptionError):
    """A refractive index outside the range of its formula."""

    def __init__(self, *, glass: str, wavelength_nm: float, from_nm: float, to_nm: float) -> None:
        self.wavelength_nm = wavelength_nm
        super().__init__(
            f"The index of {glass} is known from {from_nm:g} to {to_nm:g} nm, not at {wavelength_nm:g} nm.",
            ProblemDetail(
                pointer="/wavelength_nm",
                reason="outside the range of the dispersion formula",
                figure=wavelength_nm,
                limit=f"{from_nm:g} to {to_nm:g}",
                remedy="a wavelength within the range",
            ),
        )


class IndicationUnreadable(PrescriptionError):
    """An ISO 10110 indication that cannot be read: where, and what was expected there."""

    def __init__(self, *, text: str, position: int, expected: str) -> None:
        self.text = text
        self.position = position
        self.expected = expected
        found = repr(text[position]) if position < len(text) else "the end"
        super().__init__(f"{text!r} cannot be read: at character {position + 1} stands {found}, expected was {expected}.")
