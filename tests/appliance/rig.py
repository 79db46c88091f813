"""The appliance rig: a Debian boots under QEMU with the service in it and is treated as a Pi on a shelf.

As root, with qemu-system-x86, qemu-utils, debootstrap and openssh-client, from the project's folder:

    .venv/bin/python tests/appliance/rig.py IMAGES WHEELS [bookworm|trixie] [--arch arm64] [--only NAME]...

IMAGES: a folder that keeps the images. WHEELS: made by `pip wheel -w WHEELS .` with the Python of that suite (3.11 for
bookworm, 3.13 for trixie). Prints one JSON line {test, figure, limit, pass} a matter; exit 1 when one fails. What can
not be tried here (pins where no headers of the kernel are to be had, a slow card's wear) is said by a line with
"pass": null.

arm64, a Pi's architecture, wants qemu-system-arm, qemu-efi-aarch64, qemu-user-static with its binfmt registered, and its
own wheels: this project's by `pip wheel --no-deps -w WHEELS .`, the others by `pip download -d WHEELS --only-binary=:all:
--python-version 3.11 --platform manylinux_2_28_aarch64 (and 2_17, 2_27, 2_34, 2014) WHEELS/sweepgauge*.whl lgpio`, and
for the test `formats` those named in formats.py besides.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import re
import sys
import time
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path
from statistics import median

from clocks import blank_clock, clock_jumps, week_of_days
from cuts import disk_copies, power_cuts
from formats import formats
from guest import GAUGE, TRAVEL, Rig, hear, pass_running, rig, tell, tell_all, until_pass, watching
from image import image
from machine import Machine
from played_air import climate
from played_pins import pins

from bench.protocol import InstrumentState, Readings

INSTALL = (
    "sudo python3 -m venv --system-site-packages /opt/sweepgauge && "
    "sudo /opt/sweepgauge/bin/pip install -q --no-index --find-links wheels sweepgauge && "
    "sudo /opt/sweepgauge/bin/sweepgauge service install --yes"
)
REPLUGS = 20
SECTOR = 512  # bytes, in /sys/block/*/stat (the kernel's Documentation/block/stat)


# ---- what is tried -------------------------------------------------------------------


async def installs(rig: Rig, wheels: Path) -> bool:
    """README's two lines on a blank image, then a new login without any setting."""
    switched_on = time.monotonic()
    booted = await rig.start()
    await asyncio.to_thread(rig.machine.send, wheels, "wheels")
    began = time.monotonic()
    await rig.shell(INSTALL)
    minutes = (time.monotonic() - began) / 60
    await rig.wire()
    async with rig.client() as path:
        work = asyncio.create_task(rig.check(path))
        await until_pass(await pass_running(path), "kept")
        in_all, busy = (time.monotonic() - switched_on) / 60, rig.machine.busy_s() / 60
        await work
    again = await rig.shell("sudo /opt/sweepgauge/bin/sweepgauge service install --yes")
    seen = (await asyncio.to_thread(rig.machine.call, "sweepgauge status --json", check=False)).returncode
    faults = await _faults(rig)
    exposure = await rig.shell("systemd-analyze security sweepgauge --no-pager | tail -1")
    there = await rig.shell("uname -mr; . /etc/os-release; echo $PRETTY_NAME")
    number = re.search(r": ([0-9.]+) ", exposure)
    return tell_all(
        ("the machine", there.splitlines()),
        ("first boot, s", round(booted, 1)),
        ("install, minutes", round(minutes, 2)),
        ("from a blank image to a measured sweep, minutes", round(in_all, 1)),
        ("of which this host's processors were busy, minutes", round(busy, 1)),
        (
            "install run again changes nothing",
            again.strip().splitlines()[-2:],
            "Nothing to do.",
            "Nothing to do." in again,
        ),
        ("status in a new ssh login, exit", seen, "0 or 1", seen in (0, 1)),
        ("faults that doctor finds in a correct installation", faults, [], faults == []),
        ("exposure of the unit", number and float(number[1]), 1.0, bool(number and float(number[1]) <= 1.0)),
    )


async def _faults(rig: Rig) -> list[str]:
    done = await asyncio.to_thread(rig.machine.call, "sweepgauge doctor --json", check=False)
    matters = json.loads(done.stdout)["matters"]
    return [f"{one['about']}: {one['words']}" for one in matters if one["good"] is False]


async def whole_check(rig: Rig) -> bool:
    """Over the kernel's own serial driver; and what it writes to the card."""
    async with rig.client() as path:
        before = await _written(rig)
        finding = await rig.check(path)
        await rig.shell("sync")
        daemon, machine = (after - then for after, then in zip(await _written(rig), before, strict=True))
    part = rig.missed(finding)
    return tell_all(
        ("whole check: error over give or take", round(part, 2), 1.0, part <= 1.0),
        ("written by the daemon in a check, KiB", round(daemon / 1024)),
        ("written by the whole machine meanwhile, KiB", round(machine / 1024)),
    )


async def _written(rig: Rig) -> tuple[int, int]:
    """Bytes that the daemon and the whole machine have written to the card (proc(5), write_bytes)."""
    daemon = await rig.shell(f"sudo awk '/^write_bytes/ {{print $2}}' /proc/{_PID}/io")
    machine = (await rig.shell("cat /sys/block/vda/stat")).split()[6]
    return int(daemon), int(machine) * SECTOR


_PID = "$(systemctl show -p MainPID --value sweepgauge)"


async def at_rest(rig: Rig, rest: float) -> bool:
    """Some minutes with nobody at it, reckoned to a day: a quarter of an hour's climate is among them."""
    await rig.shell("sync")
    before, busy = await _written(rig), await _cpu(rig)
    began = time.monotonic()
    await asyncio.sleep(rest)
    await rig.shell("sync")
    seconds = time.monotonic() - began
    per_day = 86400 / seconds / 2**20
    daemon, machine = (after - then for after, then in zip(await _written(rig), before, strict=True))
    memory = int(await rig.shell("systemctl show -p MemoryCurrent --value sweepgauge")) / 2**20
    rss = int(await rig.shell(f"awk '/VmRSS/ {{print $2}}' /proc/{_PID}/status")) / 1024
    cpu = (await _cpu(rig) - busy) / seconds * 100
    return tell_all(
        (
            "written by the daemon at rest, MiB a day",
            round(daemon * per_day, 2),
            2.0,
            daemon * per_day <= 2.0,
        ),
        ("written by the whole machine at rest, MiB a day", round(machine * per_day, 1)),
        ("daemon's CPU at rest, three instruments at 100/s, %", round(cpu, 2)),
        ("daemon's memory, MiB", round(rss, 1), 60, rss <= 60),
        ("its control group with page cache, MiB", round(memory, 1), 200, memory <= 200),
    )


async def _cpu(rig: Rig) -> float:
    return int(await rig.shell("systemctl show -p CPUUsageNSec --value sweepgauge")) / 1e9


async def cables(rig: Rig) -> bool:
    """The indicator's cable pulled in mid-pass; then both, put back in the other order."""
    async with rig.client() as path:
        work = asyncio.create_task(rig.check(path))
        seen = await pass_running(path)
        await asyncio.to_thread(rig.machine.unplug, GAUGE)
        refused = await until_pass(seen, "refused")
        await asyncio.to_thread(rig.machine.unplug, TRAVEL)
        await asyncio.to_thread(rig.machine.plug, TRAVEL)
        await asyncio.to_thread(rig.machine.plug, GAUGE)
        finding = await work
    told = [line for line in rig.said if "went away" in line or "cannot be used" in line]
    part = rig.missed(finding)
    return tell_all(
        ("a cable pulled in mid-pass is told", told[:1] or refused, "the pass is refused", bool(refused)),
        ("swapped cables: error over give or take", round(part, 2), 1.0, part <= 1.0),
    )


async def replugs(rig: Rig) -> bool:
    """Pulled and put back behind the same name: how soon it is heard again, and that nothing is started anew for it."""
    waits = []
    async with rig.client() as path, watching(path) as client:
        await hear(client, Readings, lambda one: one.instrument == "indicator")  # it is connected by now
        for _ in range(REPLUGS):
            await asyncio.to_thread(rig.machine.unplug, GAUGE)
            await hear(client, InstrumentState, lambda one: one.name == "indicator" and one.state != "open")
            await rig.shell("udevadm settle")
            await asyncio.to_thread(rig.machine.plug, GAUGE)
            began = time.monotonic()
            await hear(client, Readings, lambda one: one.instrument == "indicator")
            waits.append(round(time.monotonic() - began, 1))
    restarts = int(await rig.shell("systemctl show -p NRestarts --value sweepgauge"))
    return tell_all(
        (f"heard again after a pull, s, median and worst of {REPLUGS}", [median(waits), max(waits)]),
        ("restarts meanwhile", restarts, 0, restarts == 0),
    )


async def life(rig: Rig) -> bool:
    """Killed, frozen, stopped, with wrong settings, for members of the group and strangers."""
    seen = dict(line.split("\t", 1) for line in (await rig.shell(LIFE)).splitlines())
    await rig.wire()
    return tell_all(
        ("status for a stranger, exit", seen["stranger"], "2", seen["stranger"] == "2"),
        ("the daemon may keep its settings", seen["settings"], "yes", seen["settings"] == "yes"),
        ("but write nowhere else", seen["elsewhere"], "no", seen["elsewhere"] == "no"),
        ("answers again after kill -9, s", seen["killed"], None, float(seen["killed"]) < 300),
        ("answers again after a freeze, s", seen["frozen"], None, float(seen["frozen"]) < 300),
        ("stopped with exit", seen["stopped"], "0", seen["stopped"] == "0"),
        (
            "wrong settings: no restarts, failed",
            seen["wrong"],
            "0 failed",
            sorted(seen["wrong"].split()) == ["0", "failed"],
        ),
        ("wrong settings are named in the journal", seen["named"], "1", seen["named"] == "1"),
    )


LIFE = r"""
say() { printf '%s\t%s\n' "$1" "$2"; }
pid() { systemctl show -p MainPID --value sweepgauge; }
answers() { until sweepgauge status >/dev/null 2>&1 || [ $? = 1 ]; do sleep 0.5; done; }
another() { while [ "$(pid)" = "$1" ] || [ "$(pid)" = 0 ]; do sleep 0.2; done; }
inside() { sudo nsenter -t "$(pid)" -m -S "$(id -u sweepgauge)" -G "$(id -g sweepgauge)" sh -c "$1"; }
since() { echo "$(date +%s.%N) $1" | awk '{printf "%.1f", $1 - $2}'; }
say stranger "$(sudo -u nobody /usr/local/bin/sweepgauge status >/dev/null 2>&1; echo $?)"
say settings "$(inside 'touch /etc/sweepgauge/x && rm /etc/sweepgauge/x' && echo yes)"
say elsewhere "$(inside 'touch /etc/x 2>/dev/null' && echo yes || echo no)"
old=$(pid); t=$(date +%s.%N); sudo kill -9 "$old"; another "$old"; answers; say killed "$(since "$t")"
old=$(pid); t=$(date +%s.%N); sudo kill -STOP "$old"; another "$old"; answers; say frozen "$(since "$t")"
sudo systemctl stop sweepgauge; say stopped "$(systemctl show -p ExecMainStatus --value sweepgauge)"
printf '[indicator]\nprot = "x"\n' | sudo tee /etc/sweepgauge/settings.toml >/dev/null
sudo systemctl start sweepgauge 2>/dev/null; until systemctl is-failed -q sweepgauge; do sleep 0.5; done; sleep 5
say wrong "$(systemctl show -p NRestarts,ActiveState --value sweepgauge | tr '\n' ' ')"
say named "$(sudo journalctl -b -u sweepgauge -o cat --no-pager | grep -c 'settings.toml: indicator.prot')"
sudo systemctl reset-failed sweepgauge
"""


# ---- one after the other -------------------------------------------------------------


async def run(arguments: argparse.Namespace) -> bool:
    made = await asyncio.to_thread(image, arguments.suite, arguments.images, arch=arguments.arch)
    kept: Path | None = arguments.installed
    if kept is not None and kept.exists():
        made = made._replace(disk=kept)

    def machine_of(ports: dict[str, str]) -> Machine:
        folder = arguments.images / f"run-{arguments.suite}-{arguments.arch}"
        size = {"cores": arguments.cores, "memory_mib": arguments.memory}
        return Machine(made, folder, arch=arguments.arch, ports=ports, kvm=arguments.kvm, **size)

    tests: dict[str, Callable[[Rig], Awaitable[bool]]] = {
        "whole_check": whole_check,
        "disk_copies": lambda rig: disk_copies(rig, arguments.copies, arguments.seed),
        "power_cuts": lambda rig: power_cuts(rig, arguments.cuts, arguments.seed),
        "cables": cables,
        "replugs": replugs,
        "life": life,
        "blank_clock": blank_clock,
        "clock_jumps": clock_jumps,
        "week_of_days": week_of_days,
        "at_rest": lambda rig: at_rest(rig, arguments.rest),
        "climate": climate,
        "pins": lambda rig: pins(rig, arguments.wheels),
        "formats": lambda rig: formats(rig, arguments.cores),
    }
    async with rig(machine_of, seed=arguments.seed) as one:
        good = True
        if made.disk == kept:
            await one.start()
            await one.wire()
        else:
            good = await _tried(one, "installs", lambda rig: installs(rig, arguments.wheels))
            if kept is not None:
                await asyncio.to_thread(one.machine.keep, kept)
                await one.start()
                await one.answers()
        for name, test in tests.items():
            if not arguments.only or name in arguments.only:
                good &= await _tried(one, name, test)
    return good


async def _tried(one: Rig, name: str, test: Callable[[Rig], Awaitable[bool]]) -> bool:
    """Whether it passed; where it could not be tried to its end, the journal goes to standard error."""
    try:
        return await test(one)
    except Exception as error:
        journal = "sudo journalctl -b --no-pager -o short-monotonic | tail -60"
        said = await asyncio.to_thread(one.machine.call, journal, check=False)
        print(said.stdout, file=sys.stderr)
        return tell(name, f"{type(error).__name__}: {error}", None, False)


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description="The appliance rig")
    parser.add_argument("images", type=Path)
    parser.add_argument("wheels", type=Path)
    parser.add_argument("suite", nargs="?", default="bookworm")
    parser.add_argument("--rest", type=float, default=960.0, help="seconds to be at rest")
    parser.add_argument("--copies", type=int, default=30)
    parser.add_argument("--cuts", type=int, default=30)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--arch", choices=("amd64", "arm64"), default="amd64")
    parser.add_argument("--cores", type=int, default=1)
    parser.add_argument("--memory", type=int, default=512, help="MiB; the tests of formats want 1024")
    parser.add_argument("--kvm", action="store_true", help="this host's /dev/kvm works")
    parser.add_argument("--only", action="append", default=[])
    parser.add_argument("--installed", type=Path, help="a disk that is made once and begun with from then on")
    return 0 if asyncio.run(run(parser.parse_args(argv))) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
