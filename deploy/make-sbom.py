"""What is in the image, as a CycloneDX 1.6 document: every installed package with its version, licence and package address.

    python deploy/make-sbom.py > sbom.cdx.json        run by the interpreter whose packages are listed

The same packages give the same bytes: no time and no random number stands in it.
"""

from __future__ import annotations

import json
import sys
from importlib.metadata import Distribution, distributions
from typing import Any

OURS = "blankwright"


def component(package: Distribution) -> dict[str, Any]:
    """One package, as CycloneDX names it."""
    name, version = package.metadata["Name"], package.version
    licence = package.metadata.get("License-Expression") or ""
    entry: dict[str, Any] = {
        "type": "application" if name.lower() == OURS else "library",
        "bom-ref": f"pkg:pypi/{name.lower()}@{version}",
        "name": name,
        "version": version,
        "purl": f"pkg:pypi/{name.lower().replace('_', '-')}@{version}",
    }
    return entry | ({"licenses": [{"expression": licence}]} if licence else {})


def document() -> dict[str, Any]:
    """The whole bill of materials, ours as its subject."""
    found = {entry["purl"]: entry for entry in map(component, distributions())}
    subject = [entry for entry in found.values() if entry["type"] == "application"]
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": subject[0]} if subject else {},
        "components": sorted((entry for entry in found.values() if entry["type"] == "library"), key=lambda entry: entry["purl"]),
    }


if __name__ == "__main__":
    json.dump(document(), sys.stdout, indent=1, sort_keys=True)
    sys.stdout.write("\n")
