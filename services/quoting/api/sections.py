"""The route that draws a lens in section, for pages that show a lens before and beside its quote."""

from __future__ import annotations

from fastapi import APIRouter, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import answers
from services.quoting.api.parts import Reader
from services.quoting.sheet.language import language
from services.quoting.sheet.section_picture import section_svg
from shared_schemas.section import SectionRequest

router = APIRouter(route_class=CheckedRoute)

SVG = "image/svg+xml"


@router.post(
    "/v1/sections",
    summary="Draw a lens in section, to scale, with stop, axial rays and dimensions",
    response_class=Response,
    responses={
        200: {"content": {SVG: {"schema": {"type": "string"}}}, "description": "The picture, as SVG of class `section`"},
        **answers("not-json", "invalid", "body-too-large"),
    },
)
def draw_section(asked: SectionRequest, caller: Reader) -> Response:
    svg = section_svg(prescription=asked.prescription, indices=asked.refractive_indices, said=language("en"))
    return Response(svg, media_type=SVG)
