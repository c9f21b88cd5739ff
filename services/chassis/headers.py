"""What every answer says to a browser: take nothing from elsewhere, guess nothing, tell nobody, keep nothing.

Strict-Transport-Security is the front's to say, which knows whether the caller came by TLS.
"""

from __future__ import annotations

import hashlib
import re
from base64 import b64encode

from fastapi import FastAPI
from fastapi.openapi.docs import get_swagger_ui_html
from fastapi.responses import HTMLResponse

NOTHING = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

SAFE_HEADERS: dict[str, str] = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Content-Security-Policy": f"{NOTHING}; style-src 'unsafe-inline'; img-src data:",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""Set on every answer that does not say otherwise itself. Our pages and pictures carry their style inside and no script."""

CDN = "https://cdn.jsdelivr.net"


def add_docs_page(app: FastAPI) -> None:
    """The interactive description at `/docs`. Its one script of our own is known by its hash; the viewer comes from a public CDN."""
    page = get_swagger_ui_html(openapi_url=app.openapi_url or "", title=app.title, swagger_favicon_url="data:,")
    text = bytes(page.body).decode()
    scripts = re.findall(r"<script>(.*?)</script>", text, flags=re.DOTALL)
    hashes = " ".join(f"'sha256-{b64encode(hashlib.sha256(script.encode()).digest()).decode()}'" for script in scripts)
    policy = f"{NOTHING}; script-src {CDN} {hashes}; style-src {CDN} 'unsafe-inline'; img-src data: {CDN}; connect-src 'self'"

    @app.get("/docs", include_in_schema=False)
    def docs() -> HTMLResponse:
        return HTMLResponse(text, headers={"Content-Security-Policy": policy})
