"""Guides as they are run: blocks of a page in their order, what a page shows held against what is printed.

A block ```csv NAME is a file. In ```console a line after `$ blankwright` is a command, and the lines below it what it prints: `…` alone stands for any lines,
within a line for any words. A day stands for any day, and a number of a quote, estimate, what-if or impact, when it is met first, for the one that is made.
In ```http ROLE the first line is a request (with the key of the role, of the ERP where none is named), then come headers, then the status with its media type,
and words that the answer has; `> NAME` keeps it as a file.
"""

from __future__ import annotations

import re
import shlex
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import httpx
from typer.testing import CliRunner

from services.chassis.one_box import Address
from services.desk.command import app

BLOCK = re.compile(r"^```(\w+) ?([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
NUMBER = re.compile(r"[QEWI]-\d{4}-\d{6}")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
ANY = "…"
LATER, TRIES = ("orders",), 40
"""What these commands show comes by the queue, a moment after what made it."""


class NotAsShown(AssertionError):
    """A guide shows what the suite does not do."""


@dataclass
class Guide:
    """A guide, run in a folder against a box."""

    page: Path
    folder: Path
    box: Address
    named: dict[str, str] = field(default_factory=dict)

    def run(self) -> int:
        """Run every block; how many commands and requests there were. Raises `NotAsShown`."""
        done = 0
        for kind, name, content in BLOCK.findall(self.page.read_text(encoding="utf-8")):
            match kind:
                case "csv":
                    (self.folder / name).write_text(content, encoding="utf-8")
                case "console":
                    for command, shown in _commands(content):
                        self._command(command, shown)
                        done += 1
                case "http":
                    self._request(content, name or "erp")
                    done += 1
        return done

    def _command(self, command: str, shown: list[str]) -> None:
        words = shlex.split(self._with_real_numbers(command))
        for left in reversed(range(TRIES if words[1] in LATER else 1)):
            came = CliRunner(env={"COLUMNS": "100"}).invoke(app, words[1:], env={"BLANKWRIGHT_FOLDER": str(self.box.folder)})
            try:
                return self._compare(shown, came.output.splitlines(), command)
            except NotAsShown:
                if not left:
                    raise
                time.sleep(0.5)
        return None

    def _request(self, content: str, role: str) -> None:
        head, *more = content.splitlines()
        headers = dict(line.split(": ", 1) for line in more if re.match(r"[A-Za-z-]+: ", line))
        status, kind = next(line for line in more if re.match(r"\d{3} ", line)).split(" ", 1)
        method, path = self._with_real_numbers(head).split(" ", 1)
        with httpx.Client(base_url=self.box.url, headers={"Authorization": f"Bearer {self.box.keys[role]}"}, timeout=60) as client:
            answer = client.request(method, path, headers=headers)
        told = f"{self.page.name}: {head}"
        if answer.status_code != int(status) or not answer.headers["Content-Type"].startswith(kind):
            raise NotAsShown(f"{told}: {answer.status_code} {answer.headers['Content-Type']} {answer.text[:300]}")
        for words in more[more.index(f"{status} {kind}") + 1 :]:
            if words.startswith("> "):
                (self.folder / words[2:]).write_bytes(answer.content)
            elif words and words not in answer.text:
                raise NotAsShown(f"{told}: the answer has no {words}: {answer.text[:600]}")

    def _with_real_numbers(self, text: str) -> str:
        return NUMBER.sub(lambda found: self._real(found[0]), text)

    def _real(self, number: str) -> str:
        if number not in self.named and number.startswith("E-"):
            return "E-" + self._real("Q-" + number[2:])[2:]
        return self.named.get(number, number)

    def _compare(self, shown: list[str], printed: list[str], command: str) -> None:
        place, skips = 0, False
        for line in shown:
            if line == ANY:
                skips = True
                continue
            while place < len(printed) and not self._is_like(line, printed[place]):
                if not skips:
                    raise NotAsShown(f"{self.page.name}: {command}\nshows   {line}\nprinted {printed[place]}")
                place += 1
            if place == len(printed):
                raise NotAsShown(f"{self.page.name}: {command}\nshows {line}\nwhich is not in\n" + "\n".join(printed))
            place, skips = place + 1, False
        if not skips and any(line.strip() for line in printed[place:]):
            raise NotAsShown(f"{self.page.name}: {command}\nprints more than is shown:\n" + "\n".join(printed[place:]))

    def _is_like(self, shown: str, printed: str) -> bool:
        unknown = [number for number in NUMBER.findall(shown) if number not in self.named]
        pattern = DAY.sub(r"\\d{4}-\\d{2}-\\d{2}", re.escape(self._with_real_numbers(shown)).replace(r"\-", "-"))
        for number in unknown:
            pattern = pattern.replace(number, rf"(?P<{number[0]}>{number[0]}-\d{{4}}-\d{{6}})")
        found = re.fullmatch(pattern.replace(ANY, ".*") + r"\s*", printed.rstrip())
        if found is None:
            return False
        for number in unknown:
            self.named[number] = found[number[0]]
        return True


def _commands(content: str) -> Iterator[tuple[str, list[str]]]:
    command, shown = "", list[str]()
    for line in content.splitlines():
        if line.startswith("$ "):
            if command:
                yield command, shown
            command, shown = line.removeprefix("$ "), []
        else:
            shown.append(line)
    if command:
        yield command, shown
