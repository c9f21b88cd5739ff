"""The lens in section, as quoting draws it for its offers."""

from __future__ import annotations

import base64

from services.client import Client
from services.client.calls.offers import SVG
from services.client.errors import ClientError
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription


def lens_picture(quoting: Client, prescription: Prescription | None, report: CheckReport | None) -> str:
    """The section as the address of a picture that lies in the page, empty where it cannot be drawn: a page is read without its picture."""
    if prescription is None or report is None or report.makeable == "no":
        return ""
    indices = [element.refractive_index for element in report.elements]
    try:
        drawn = quoting.section(prescription, indices)
    except ClientError:
        return ""
    return f"data:{SVG};base64,{base64.b64encode(drawn).decode()}"
