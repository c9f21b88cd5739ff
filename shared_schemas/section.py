"""What a lens is drawn from."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from shared_schemas.base import Contract
from shared_schemas.prescription import Prescription


class SectionRequest(Contract):
    """A lens to be drawn in section: its prescription, and the refractive index of each element at the wavelength of the design, by which its rays go."""

    prescription: Prescription
    refractive_indices: Annotated[tuple[Annotated[float, Field(gt=1, lt=10)], ...], Field(max_length=40)]
