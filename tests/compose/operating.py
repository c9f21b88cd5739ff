"""Each step of the runbook as an operator does it: by its script, while callers ask."""

from __future__ import annotations

import gzip
import os
import subprocess
import time
from pathlib import Path

from tests.compose.fleet import Fleet, Promise, asked_meanwhile, must, say
from tests.compose.standing import APIS, quotes


def scales(fleet: Fleet, key: str) -> None:
    """Three workers stay three when everything is brought up once more."""
    fleet.script("scale", "glass-worker", "3")
    fleet.compose("up", "-d", "--no-build", "--wait", "--wait-timeout", "300")
    workers = [one for one in fleet.containers() if one["Service"] == "glass-worker"]
    must(len(workers) == 3, f"{len(workers)} glass workers")
    fleet.script("scale", "glass-worker", "1")
    say(f"glass-worker: 3, still 3 after another `up`, 1 again; {fleet.tally()}")


def upgrades(fleet: Fleet, key: str) -> None:
    """Every container of ours is exchanged while probes ask; none is refused, and the logs of those before are kept."""
    image = f"{fleet.project}:second"
    subprocess.run(["docker", "tag", fleet.setting("BLANKWRIGHT_IMAGE"), image], check=True)
    began = time.monotonic()
    with asked_meanwhile(fleet, key) as probes:
        fleet.script("upgrade", image)
    ours = [one for one in fleet.containers() if one["Service"] in APIS or one["Service"].endswith("-worker")]
    must(all(one["Image"] == image for one in ours), f"not exchanged: {[one['Name'] for one in ours if one['Image'] != image]}")
    must(len([one for one in ours if one["Service"] in APIS]) == len(APIS), "an API of the release before is left")
    kept = sorted(Path(fleet.setting("BLANKWRIGHT_LOGS")).glob("*.log.gz"))
    must(bool(kept) and "quoting-api" in gzip.decompress(kept[-1].read_bytes()).decode(), "the logs of before are gone")
    say(
        f"upgraded in {time.monotonic() - began:.0f} s: 0 of {probes.answers.total()} probes refused, the slowest took {probes.slowest_s:.1f} s; {fleet.tally()}"
    )


def goes_back_when_a_release_is_ill(fleet: Fleet, key: str) -> None:
    """A release whose API does not start changes nothing for callers."""
    subprocess.run(
        ["docker", "build", "-q", "-t", f"{fleet.project}:ill", "-"],
        input=f"FROM {fleet.setting('BLANKWRIGHT_IMAGE')}\nENV BLANKWRIGHT_MOST_ATTEMPTS=none\n",
        text=True, capture_output=True, check=True,
    )  # fmt: skip
    good = fleet.setting("BLANKWRIGHT_IMAGE")
    with asked_meanwhile(fleet, key, quotes=False) as probes:
        try:
            fleet.script("upgrade", f"{fleet.project}:ill", NO_BACKUP="1")
        except Promise as broken:
            must("healthy" in str(broken), f"it does not say why: {broken}")
        else:
            raise Promise("an ill release was rolled out")
        fleet.script("upgrade", good, NO_BACKUP="1")
    subprocess.run(["docker", "image", "rm", "-f", f"{fleet.project}:ill"], capture_output=True, check=False)
    say(f"an ill release serves nobody, and back again: 0 of {probes.answers.total()} probes refused; {fleet.tally()}")


def renews_certificates(fleet: Fleet, key: str) -> None:
    """All certificates are exchanged while probes ask; then one of a company's own authority takes the place of the front's."""
    if not fleet.setting("BLANKWRIGHT_TLS_FOLDER"):
        return
    began = time.monotonic()
    with asked_meanwhile(fleet, key) as probes:
        told = fleet.script("renew-certificates")
        fleet.script("renew-certificates", "--front")
    say(f"certificates renewed twice in {time.monotonic() - began:.0f} s: 0 of {probes.answers.total()} probes refused; {told}")
    quotes(fleet, key)


def rotates(fleet: Fleet, key: str) -> None:
    """A caller's key stops when it is revoked; the secrets between the parts change and nobody is refused."""
    handed_out = fleet.script("keys", "add", "sales", "--label", "to be revoked")
    with fleet.client(Authorization=f"Bearer {handed_out}") as caller:
        must(caller.get("/v1/quotes").status_code == 200, "a new key is not good")
        fleet.script("keys", "revoke", handed_out.split("_")[1])
        ends = time.monotonic() + 10
        while caller.get("/v1/quotes").status_code == 200 and time.monotonic() < ends:
            time.sleep(0.5)
        must(caller.get("/v1/quotes").status_code == 401, "a revoked key is still good")
    before = fleet.setting("BLANKWRIGHT_SERVICE_KEY")
    with asked_meanwhile(fleet, key) as probes:
        fleet.script("rotate-secrets", "service-key")
    must(fleet.setting("BLANKWRIGHT_SERVICE_KEY") != before, "the service key is the one before")
    listed = fleet.script("keys", "list").splitlines()
    must(any(before.split("_")[1] in line and "revoked" in line for line in listed), "the service key of before is still good")
    say(f"a caller's key and the service key were rotated: 0 of {probes.answers.total()} probes refused")
    quotes(fleet, key)


def backs_up_and_restores(fleet: Fleet, key: str) -> None:
    """A backup is verified beside the fleet, and the fleet goes back to it; no number is given out twice."""
    folder = fleet.env_file.parent / "backups"
    number = quotes(fleet, key)
    fleet.script("backup", str(folder))
    (backup,) = folder.iterdir()
    must(backup.stat().st_mode & 0o077 == 0, f"{backup.name} can be read by others")
    verified = fleet.script("verify-backup", str(backup))
    must("quotes" in verified and "rate revisions" in verified, verified)
    say(verified.partition("  ")[2])
    _refuses_what_is_damaged(fleet, backup)
    later = quotes(fleet, key)
    began = time.monotonic()
    fleet.script("restore", str(backup))
    with fleet.client(Authorization=f"Bearer {key}") as sales:
        must(sales.get(f"/v1/quotes/{number}").status_code == 200, f"{number} is not restored")
        must(sales.get(f"/v1/quotes/{later}").status_code == 404, f"{later} was accepted after the backup and is there")
    say(f"restored in {time.monotonic() - began:.0f} s; {fleet.tally()}")
    after = quotes(fleet, key)
    must(after not in (number, later), f"{after} is given out a second time")


def _refuses_what_is_damaged(fleet: Fleet, backup: Path) -> None:
    damaged = backup.with_name("damaged.tar")
    content = bytearray(backup.read_bytes())
    content[len(content) // 2] ^= 1
    damaged.write_bytes(content)
    for script in ("verify-backup", "restore"):
        try:
            fleet.script(script, str(damaged))
        except Promise as refused:
            must("not as it was written" in str(refused) or "unpacked" in str(refused), str(refused))
        else:
            raise Promise(f"{script} takes a damaged backup")
    damaged.unlink()
    say("a damaged backup is neither verified nor restored")


def moves(fleet: Fleet, key: str) -> Fleet:
    """The whole fleet goes to another server (another project here) with settings and data; the new fleet."""
    number = quotes(fleet, key)
    folder = fleet.env_file.parent / "move"
    fleet.script("move", "pack", str(folder))
    (packed,) = folder.iterdir()
    fleet.down()
    there = Fleet(f"{fleet.project}-moved", fleet.env_file.parent / "moved.env")
    began = time.monotonic()
    there.script("move", "unpack", str(packed))
    with there.client(Authorization=f"Bearer {key}") as sales:
        must(sales.get(f"/v1/quotes/{number}").json()["status"] == "ready", f"{number} is not there")
    must(os.stat(there.env_file).st_mode & 0o077 == 0, "the settings can be read by others")
    say(f"moved: up on the new server {time.monotonic() - began:.0f} s after unpacking began, {number} is there; {there.tally()}")
    quotes(there, key)
    return there
