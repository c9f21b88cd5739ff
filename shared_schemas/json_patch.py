"""Operations of a JSON Patch on a quote request, in which elements go by their names."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from operator import not_
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, model_validator

from shared_schemas.base import Contract, Fault, refuse_if_any

MOST_OPERATIONS = 200
Path = Annotated[str, Field(pattern=r"^(/([^~/]|~[01])*)*$", max_length=300)]
"""A JSON pointer (RFC 6901); a step into a list of parts may be a name."""

NEEDED = {"add": "value", "replace": "value", "test": "value", "move": "from", "copy": "from"}


class PatchOperation(Contract):
    """One operation of a JSON Patch on a quote request. What the standard does not define for it is passed over, as the standard wants.

    Where a path steps into `elements` the step may be the name of an element, into `spaces` the names of two neighbours with a hyphen
    between them, and into `spares` the name of a part: `/prescription/elements/L2/front/form`, `/prescription/spaces/L1-L2/gap_mm`. A
    number is a position, counted from 0, unless something there is called by that number. A path that begins with a field of
    the prescription and not of the request is below `/prescription`: `/elements/L2/glass`.

    Source:
        P. Bryan, M. Nottingham, JavaScript Object Notation (JSON) Patch, RFC 6902 (2013).
    """

    model_config = ConfigDict(extra="ignore")

    op: Literal["add", "remove", "replace", "move", "copy", "test"]
    path: Path
    from_: Annotated[Path | None, Field(alias="from", exclude_if=lambda value: value is None)] = None
    value: Any = None

    @model_validator(mode="after")
    def _has_what_it_needs(self) -> PatchOperation:
        needed = NEEDED.get(self.op, "path")
        if not {needed, needed + "_"} & self.model_fields_set:
            fault = Fault(needed, reason=f"the operation {self.op} needs it", figure=None, limit=needed, remedy="add it")
            refuse_if_any(self, [fault])
        return self

    def document(self) -> dict[str, Any]:
        """The operation as JSON, with what it is made of and no more."""
        members = {"op": self.op, "path": self.path}
        needed = NEEDED.get(self.op)
        return members | ({needed: self.from_ if needed == "from" else self.value} if needed else {})


def by_name(prescription: Mapping[str, Any], names: Mapping[str, str] = MappingProxyType({})) -> dict[str, Any]:
    """A prescription as JSON with its elements and spaces in objects, by the names that steps of a path have; `names` are others for elements."""
    elements = {names.get(one["name"], one["name"]): one for one in prescription.get("elements", ())}
    spaces = [{"gap_mm": None, "cemented": False} | dict(one) for one in prescription.get("spaces", ())]
    between = {f"{front}-{back}": space for (front, back), space in zip(pairwise(elements), spaces, strict=False)}
    return {**prescription, "elements": elements, "spaces": between}


JsonPatch = Annotated[tuple[PatchOperation, ...], Field(max_length=MOST_OPERATIONS, exclude_if=not_)]
"""Operations one after the other: all of them are done, or none is."""
