"""The command line `blankwright`.

Exit codes: 0 ready or done, 1 no answer in time or a fault of the server, 2 the command or its file needs mending,
3 the quote was refused, 4 it failed.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Annotated

import typer

from services.desk import impact_commands, letter_commands, life_commands
from services.desk import one_box_commands as boxes
from services.desk.terminal import (
    HERE,
    REFUSED,
    UNREACHABLE,
    Folder,
    Json,
    Key,
    Patience,
    Url,
    answer,
    client_for,
    followed,
    numbers_in,
    reported,
    say,
    show_quote,
)

DEMO = Path(__file__).resolve().parent / "demo" / "lake_ice_lidar.json"

app = typer.Typer(
    help="From a lens prescription and a quantity to a quote the shop can sign.",
    no_args_is_help=True, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False,
)  # fmt: skip
keys = typer.Typer(
    help="Hand out, list and revoke keys (needs BLANKWRIGHT_DATABASE_URL).", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(keys, name="keys")

File = Annotated[Path, typer.Argument(help="A prescription or quote request (.json), or a table of surfaces (.csv).")]
Port = Annotated[int | None, typer.Option(min=1, max=65535, help="Port of the one box.")]


@app.command()
def quote(
    file: File, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0,
    quantities: Annotated[str | None, typer.Option(help="Such as 5,25,100; goes before what the file says.")] = None,
    currency: Annotated[str | None, typer.Option(help="ISO 4217 code, such as USD.")] = None,
    customer: Annotated[str | None, typer.Option(help="For whom.")] = None,
    confidence: Annotated[float | None, typer.Option(help="With which probability enough pieces are started.")] = None,
) -> None:  # fmt: skip
    """Ask for a quote, wait for it and print it."""
    from services.desk.request_file import read_request  # noqa: PLC0415

    with reported(as_json=as_json):
        numbers = numbers_in(quantities)
        asked = {"quantities": numbers, "currency": currency, "customer": customer, "confidence": confidence}
        request = read_request(file, asked)
        with client_for(url, key, folder, role="sales") as desk:
            found = followed(desk, lambda: desk.request_quote(request), timeout_s=timeout_s, quiet=as_json)
        show_quote(found, as_json=as_json)


@app.command()
def demo(folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0) -> None:
    """Quote the demo lens in the one box; what was started for it is stopped again."""
    from services.desk.request_file import read_request  # noqa: PLC0415

    with reported(as_json=as_json):
        request = read_request(DEMO, {})
        box = boxes.running_box(folder)
        ours = box is None
        try:
            if box is None:
                began = time.monotonic()
                say("starting broker, database, API and worker", quiet=as_json)
                box = boxes.start_box(folder, port=None, say=say)
                say(f"{time.monotonic() - began:7.2f} s  up at {box.url}", quiet=as_json)
            say(f"sending: {request.prescription.title}", quiet=as_json)
            with client_for(box.url, box.keys["sales"], folder, role="sales") as desk:
                found = followed(desk, lambda: desk.request_quote(request), timeout_s=timeout_s, quiet=as_json)
            show_quote(found, as_json=as_json)
        finally:
            if ours and boxes.stop_box(folder):
                say("everything that was started is stopped", quiet=as_json)


@app.command()
def check(file: File, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False) -> None:
    """Say at once whether a lens can be made, without a quote. Exit code 3 when it cannot."""
    from services.desk.request_file import read_prescription  # noqa: PLC0415

    with reported(as_json=as_json):
        prescription = read_prescription(file)
        with client_for(url, key, folder, role="sales") as desk:
            report = desk.check(prescription)
        if as_json:
            typer.echo(report.model_dump_json())
        else:
            from services.desk.quote_text import check_page, console_for  # noqa: PLC0415

            console_for(sys.stdout).print(check_page(prescription, report))
        if report.makeable == "no":
            raise typer.Exit(REFUSED)


@app.command()
def show(
    number: str, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    revision: Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")] = None,
) -> None:  # fmt: skip
    """Print a quote as it stands."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            found = desk.quote(number, revision)
        show_quote(found, as_json=as_json)


@app.command(name="quotes")
def list_quotes(
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before.")] = None,
    state: Annotated[str | None, typer.Option(help="Only those that are open, accepted, declined or expired.")] = None,
) -> None:  # fmt: skip
    """List quotes, newest first, a page at a time."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            page = desk.quotes(cursor, state)
        lines = [
            f"{one.number}  {one.revision:>3}  {one.state or one.status:<20}  {one.created_at:%Y-%m-%d %H:%M}  {one.customer}  {one.title}"
            for one in page.items
        ]
        lines += [f"more with: blankwright quotes{f' --state {state}' if state else ''} --cursor {page.next}"] if page.next else []
        answer(page.model_dump(mode="json"), lines or ["no quotes yet"], as_json=as_json)


life_commands.add_to(app)


@app.command(name="buy-together")
def buy_together(
    numbers: Annotated[list[str], typer.Argument(help="Numbers of two or more ready quotes.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    quantity: Annotated[int | None, typer.Option(help="The quantity of each quote; without it the smallest of each.")] = None,
) -> None:  # fmt: skip
    """Say what the glass of several quotes costs when it is bought together."""
    from services.desk.glass_purchases import purchase_lines, request_for  # noqa: PLC0415

    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            found = desk.buy_together(request_for([desk.quote(number) for number in dict.fromkeys(numbers)], quantity))
        answer(found.model_dump(mode="json"), purchase_lines(found), as_json=as_json)


impact_commands.add_to(app)
letter_commands.add_to(app)


@app.command()
def up(folder: Folder = HERE, port: Port = None, as_json: Json = False) -> None:
    """Start the one box and return when it is ready."""
    with reported(as_json=as_json):
        box = boxes.start_box(folder, port=port or boxes.default_port(), say=say)
        where = folder / "one-box.json"
        said = [f"ready at {box.url}", f"keys for {', '.join(box.keys)} are in {where}", "stop it with: blankwright down"]
        answer({"url": box.url, "roles": list(box.keys), "address_file": str(where)}, said, as_json=as_json)


@app.command()
def down(folder: Folder = HERE, as_json: Json = False) -> None:
    """Stop the one box."""
    with reported(as_json=as_json):
        was_there = boxes.stop_box(folder)
        answer({"stopped": was_there}, ["stopped" if was_there else f"no one box runs in {folder}"], as_json=as_json)


@app.command()
def status(folder: Folder = HERE, as_json: Json = False) -> None:
    """Say whether the one box runs and is ready. Exit code 1 when it is not."""
    from services.desk.errors import ServerUnreachable  # noqa: PLC0415

    with reported(as_json=as_json):
        box = boxes.running_box(folder)
        ready, found = False, f"no one box runs in {folder}"
        if box is not None:
            try:
                with client_for(box.url, box.keys["sales"], folder, role="sales") as desk:
                    ready, workers = desk.is_ready(), desk.workers()
                found = f"{box.url} is {'ready' if ready else 'not ready'}"
                if ready and workers != "yes":
                    ready, found = False, f"{box.url} takes quotes, but they wait: {workers.removeprefix('no: ')}"
            except ServerUnreachable:
                found = f"the one box in {folder} runs, but its API at {box.url} does not answer; it is started again, see the logs there"
        url, said = box.url if box else None, found
        answer({"running": box is not None, "ready": ready, "url": url}, [said], as_json=as_json)
        if not ready:
            raise typer.Exit(UNREACHABLE)


@app.command()
def migrate(as_json: Json = False) -> None:
    """Bring the database's tables up to date (needs BLANKWRIGHT_DATABASE_URL)."""
    from services.desk.keeping import migrate as bring_up_to_date  # noqa: PLC0415

    with reported(as_json=as_json):
        revisions = bring_up_to_date()
        answer(revisions, [f"{part} is at {revision}" for part, revision in revisions.items()], as_json=as_json)


@app.command()
def doctor(url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False) -> None:
    """Say whether this machine is fit for the suite. Exit code 1 when something is not."""
    from services.desk.doctor import examine  # noqa: PLC0415

    with reported(as_json=as_json):
        box = None if url else boxes.running_box(folder)
        answers = examine(folder, box.url if box else url, box.keys["sales"] if box else key)
        lines = [
            f"{'well' if one.well else 'NOT '}  {one.question}: {one.found}" + ("" if one.well else f"; {one.remedy}")
            for one in answers
        ]
        answer([one.as_json() for one in answers], lines, as_json=as_json)
        if not all(one.well for one in answers):
            raise typer.Exit(UNREACHABLE)


@keys.command(name="list")
def keys_list(as_json: Json = False) -> None:
    """List every key, without its secret."""
    from services.desk.keeping import list_keys  # noqa: PLC0415

    with reported(as_json=as_json):
        found = list_keys()
        lines = [f"{one['id']}  {one['role']:<9}  {'revoked' if one['revoked_at'] else 'good':<8}  {one['label']}" for one in found]
        answer(found, lines or ["no keys yet"], as_json=as_json)


@keys.command(name="add")
def keys_add(
    role: Annotated[str, typer.Argument(help="sales, erp, engineer, admin or service.")],
    label: Annotated[str, typer.Option(help="Whose it is.")] = "", as_json: Json = False,
) -> None:  # fmt: skip
    """Make a key and show it, this once."""
    from services.desk.keeping import add_key  # noqa: PLC0415

    if role not in ("sales", "erp", "engineer", "admin", "service"):
        raise typer.BadParameter(f"there is no role {role}; the roles are sales, erp, engineer, admin, service")
    with reported(as_json=as_json):
        key = add_key(role, label)
        answer({"role": role, "key": key}, [key], as_json=as_json)


@keys.command(name="new")
def keys_new(as_json: Json = False) -> None:
    """Make a key and show it, without storing it anywhere: for deploy/example.env."""
    from services.desk.keeping import fresh_key  # noqa: PLC0415

    key = fresh_key()
    answer({"key": key}, [key], as_json=as_json)


@keys.command(name="revoke")
def keys_revoke(key_id: str, as_json: Json = False) -> None:
    """Stop a key from being good."""
    from services.desk.keeping import revoke_key  # noqa: PLC0415

    with reported(as_json=as_json):
        revoke_key(key_id)
        answer({"revoked": key_id}, [f"{key_id} is revoked"], as_json=as_json)


def main() -> None:
    """The entry of the command `blankwright`."""
    app(prog_name="blankwright")


if __name__ == "__main__":
    main()
