"""Has anybody published a weakness of what we pin? Exit code 1 when somebody has.

    python -m tests.advisories           (part of `make check`)

An advisory service is asked over the network. Where none can be reached the answer is not "nothing found": one line says so,
and the check goes on.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
LOCK = ROOT / "requirements.lock"
SERVICES = ("pypi", "osv")
TIMEOUT_S = 5


def main() -> int:
    """Ask the first service that answers about everything in the lock; the exit code."""
    pinned = re.findall(r"^[a-z0-9][^\n]*?(?=^[a-z0-9#]|\Z)", LOCK.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    service = next((name for name in SERVICES if _asked(pinned[:1], service=name)), None)
    if service is None:
        print("pip-audit: no advisory service can be reached from here; whether a pinned package is known to be weak was not asked")
        return 0
    answered = _asked(pinned, service=service)
    weak = [one for one in answered if one["vulns"]]
    for one in weak:
        for found in one["vulns"]:
            mended = ", ".join(found["fix_versions"]) or "no version yet"
            print(f"pip-audit: {one['name']} {one['version']}: {found['id']}; mended in {mended}")
    print(f"pip-audit: {len(weak)} of {len(answered)} pinned packages with a known weakness ({len(pinned)} in the lock)")
    return 1 if weak else 0


def _asked(pinned: list[str], *, service: str) -> list[dict[str, Any]]:
    """What the service knows of those lines of the lock; packages it gives no answer on are left out."""
    with tempfile.NamedTemporaryFile("w", suffix=".lock", encoding="utf-8") as part:
        part.write("".join(pinned))
        part.flush()
        command = [
            sys.executable, "-m", "pip_audit", "--require-hashes", "-r", part.name, "--disable-pip", "-f", "json",
            "-s", service, "--timeout", str(TIMEOUT_S), "--progress-spinner", "off",
        ]  # fmt: skip
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    try:
        found: list[dict[str, Any]] = json.loads(done.stdout)["dependencies"]
    except (json.JSONDecodeError, KeyError):
        return []
    return [one for one in found if "vulns" in one]


if __name__ == "__main__":
    sys.exit(main())
