"""The lens in section, as quoting draws it for its offers."""

from __future__ import annotations

from markupsafe import Markup

from services.client import Client
from services.client.errors import ClientError
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription

SVG = "image/svg+xml"


def lens_picture(quoting: Client, prescription: Prescription | None, report: CheckReport | None) -> Markup | None:
    """The section as SVG, `None` where it cannot be drawn: a page is read without its picture."""
    if prescription is None or report is None or report.makeable == "no":
        return None
    indices = [element.refractive_index for element in report.elements]
    body = {"prescription": prescription.model_dump(mode="json", by_alias=True), "refractive_indices": indices}
    try:
        drawn = quoting.fetched("POST", "/v1/sections", body=body, headers={"Accept": SVG})
    except ClientError:
        return None
    return Markup(drawn.text) if drawn.headers.get("Content-Type", "").startswith(SVG) else None  # nosec B704  drawn by quoting, which escapes names
