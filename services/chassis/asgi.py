"""What uvicorn serves: `uvicorn --factory services.chassis.asgi:application`."""

from __future__ import annotations

from fastapi import FastAPI

from services.chassis.logs import set_up_logs
from services.chassis.resources import resources
from services.chassis.settings import settings
from services.chassis.web import make_app


def application() -> FastAPI:
    """The application of this process."""
    set_up_logs(settings().log_level)
    return make_app(resources())
