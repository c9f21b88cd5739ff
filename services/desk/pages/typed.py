"""What was typed into a form, as what it is to be."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from services.chassis.problems import details_of_invalid
from services.desk.errors import AnswersUnusable
from shared_schemas.problem import ProblemDetail

Contract = TypeVar("Contract", bound=BaseModel)


def as_contract(contract: type[Contract], document: Mapping[str, Any]) -> Contract:
    """The contract that was typed. Raises `AnswersUnusable`, naming every field that will not do."""
    try:
        return contract.model_validate(document)
    except ValidationError as fault:
        raise AnswersUnusable(*details_of_invalid(fault.errors(), document)) from fault


def quantities_in(text: str) -> list[int]:
    """Quantities with anything usual between them. Raises `AnswersUnusable` for what is no whole number."""
    words = text.replace(",", " ").replace("/", " ").replace(";", " ").split()
    if not all(word.isascii() and word.isdecimal() for word in words):
        raise AnswersUnusable(
            ProblemDetail(pointer="/quantities", reason="they are no whole numbers", figure=text[:60], remedy="write 5, 25, 100")
        )
    return [int(word) for word in words]
