"""What a lens is drawn from."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from shared_schemas.base import Contract, Fault, refuse_if_any
from shared_schemas.prescription import Prescription


class SectionRequest(Contract):
    """A lens to be drawn in section: its prescription, and the refractive index of each element at the wavelength of the design, by which its rays go."""

    prescription: Prescription
    refractive_indices: Annotated[tuple[Annotated[float, Field(gt=1, lt=10)], ...], Field(max_length=40)]

    @model_validator(mode="after")
    def _one_for_each_element(self) -> SectionRequest:
        elements = len(self.prescription.elements)
        if len(self.refractive_indices) != elements:
            fault = Fault(
                "refractive_indices", reason="every element has one index", figure=len(self.refractive_indices), limit=f"{elements} elements",
                remedy="give them from front to back, as the check report has them",
            )  # fmt: skip
            refuse_if_any(self, [fault])
        return self
