"""Commands that keep what the shop has: backups of the one box, their restore, and epochs."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from services.desk import machine
from services.desk.terminal import HERE, Folder, Json, answer, reported

QUOTE_NUMBER = re.compile(r"Q-\d{4}-(\d{6,12})", re.ASCII)


def backup(
    out: Annotated[Path | None, typer.Option(help="File to write; without it blankwright-<time>.tar here.")] = None,
    with_keys: Annotated[bool, typer.Option("--with-keys", help="With the passwords and keys of the box; keep such a file as you keep them.")] = False,
    folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Write a backup of the one box to a file and read it back. The box may run meanwhile."""
    now = datetime.now(UTC)
    file = out or Path(f"blankwright-{now:%Y-%m-%dT%H%M%SZ}.tar")
    with reported(as_json=as_json):
        facts = machine.back_up_box(folder, file, with_keys=with_keys, now=now)
        line = f"{file}: {facts['bytes'] / 1e6:.1f} MB, whole; {'with' if with_keys else 'without'} the keys of the box"
        answer({"file": str(file), **facts}, [line], as_json=as_json)


def restore(
    file: Annotated[Path, typer.Argument(help="A backup.")],
    replace: Annotated[bool, typer.Option("--replace", help="Set aside what the box holds now.")] = False,
    check: Annotated[bool, typer.Option("--check", help="Only read it and say whether it is whole.")] = False,
    folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Put the one box where a backup has it. The box must not run; what came after the backup is gone from it, and is set aside."""
    with reported(as_json=as_json):
        if check:
            facts = machine.check_backup(file)
            answer(facts, [f"{file} is whole: made {facts['made_at']} by release {facts['version']}"], as_json=as_json)
            return
        done = machine.restore_box(folder, file, replace=replace, now=datetime.now(UTC))
        lines = [f"restored from {file}; epoch {done['epoch']} begins, cursors of before are gone"]
        lines += [f"what was there is kept in {place}" for place in done["set_aside"]]
        lines += ["keys that were revoked after the backup are good again", "start it with: blankwright up"]
        answer(done, lines, as_json=as_json)


def epoch_show(as_json: Json = False) -> None:
    """Say which epoch goes on (needs BLANKWRIGHT_DATABASE_URL)."""
    with reported(as_json=as_json):
        found = machine.epoch()
        answer(found, [f"epoch {found['number']}, began {found['began_at']}: {found['why']}"], as_json=as_json)


def epoch_new(
    why: Annotated[str, typer.Option(help="What for.")] = "restored from a backup",
    highest_seen: Annotated[str | None, typer.Option(help="The highest quote number that was ever given out, such as Q-2026-000123, where it is known.")] = None,
    as_json: Json = False,
) -> None:  # fmt: skip
    """Begin a new epoch after a restore: numbers go on above all that were given out, cursors of before are gone. Stop every process first."""
    known = QUOTE_NUMBER.fullmatch(highest_seen) if highest_seen else None
    if highest_seen and known is None:
        raise typer.BadParameter(f"{highest_seen} is no quote number, such as Q-2026-000123")
    with reported(as_json=as_json):
        made = machine.begin_epoch(why, highest_quote=int(known[1]) if known else None)
        answer(made, [f"epoch {made['number']} begins"], as_json=as_json)


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    for command in (backup, restore):
        app.command()(command)
    epoch = typer.Typer(
        help="Epochs: what a restored backup begins (needs BLANKWRIGHT_DATABASE_URL).", no_args_is_help=True, rich_markup_mode=None
    )
    epoch.command(name="show")(epoch_show)
    epoch.command(name="new")(epoch_new)
    app.add_typer(epoch, name="epoch")
