"""`make bench`: how long the main job and its parts take, all in one run on one machine.

    python -m tests.bench [compute] [work] [pipeline] [impact] [search]

Absolute times depend on the machine; read the ratios, whose two sides were measured in the same run.
"""

from __future__ import annotations

import argparse
import platform
import signal
import sys
import time

from tests.bench import compute, impact, pipeline, search, work

PARTS = {
    "compute": compute.print_table,
    "work": work.print_table,
    "pipeline": pipeline.print_table,
    "impact": impact.print_table,
    "search": search.print_table,
}


def main() -> None:
    """Print the tables."""
    asked = argparse.ArgumentParser(prog="python -m tests.bench", description="How long the main job and its parts take.")
    asked.add_argument("parts", nargs="*", metavar="part", help=f"one of {', '.join(PARTS)}; without any, all")
    chosen = asked.parse_args().parts or list(PARTS)
    if set(chosen) - set(PARTS):
        asked.error(f"parts are {', '.join(PARTS)}")
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("ended before its time"))  # and take down what was started
    began = time.monotonic()
    print(f"Python {platform.python_version()}")
    for part in chosen:
        print()
        PARTS[part]()
    print(f"\n{time.monotonic() - began:.0f} s in all")


if __name__ == "__main__":
    main()
