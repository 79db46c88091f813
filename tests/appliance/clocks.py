"""No clock chip, a network that tells the time late, and a clock that jumps in mid-pass."""

from __future__ import annotations

import asyncio
import contextlib
import json
import struct
import time
from collections.abc import AsyncIterator
from typing import Any, cast

from guest import Rig, tell, tell_all

# Of a Pi without a clock chip. systemd then takes the time of its own making, or that of the last synchronization,
# whichever is later: systemd(1), "System clock".
BLANK = "1970-01-01T00:00:00"
SINCE_1900 = 2_208_988_800  # s from the epoch of NTP to that of Unix (RFC 5905)
HOST = "10.0.2.2"  # by which the guest knows this machine (QEMU's user network)
NEAR_S = (
    3600.0  # s; how well the date of a result that was made just now must agree with this machine's clock
)
JUMPS = ("+1 day", "-25 hours", "-1 hour")
DAYS = 10
# MiB. For some sixteen checks the daemon's memory rises towards its level: SQLite's pages come into its cache, and a
# check that is over waits for the collector. Of that, 40 checks on a host had at most 0.6 a check over four of them
MOST, MOST_A_DAY, LATE = 60.0, 0.75, 4


class TimeServer(asyncio.DatagramProtocol):
    """The least that a client of RFC 4330 believes."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.DatagramTransport, transport)

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        now = struct.pack(">Q", int((time.time() + SINCE_1900) * 2**32))
        # no leap second, version 4, server; stratum 1, poll, precision; root delay, dispersion, name of the source
        head = struct.pack(">BBbbII4s", 0x24, 1, 4, -20, 0, 0, b"RIG\0")
        self._transport.sendto(head + now + data[40:48] + now + now, addr)


@contextlib.asynccontextmanager
async def time_told(rig: Rig) -> AsyncIterator[None]:
    """The network tells the time to the guest; returns when the guest believes it."""
    loop = asyncio.get_running_loop()
    transport, _ = await loop.create_datagram_endpoint(TimeServer, ("127.0.0.1", 123))
    try:
        await rig.shell(SYNCHRONIZE)
        yield
    finally:
        transport.close()


SYNCHRONIZE = rf"""
sudo mkdir -p /etc/systemd/timesyncd.conf.d
printf '[Time]\nNTP={HOST}\n' | sudo tee /etc/systemd/timesyncd.conf.d/rig.conf >/dev/null
sudo systemctl restart systemd-timesyncd
until [ -e /run/systemd/timesync/synchronized ]; do sleep 0.5; done
"""


async def blank_clock(rig: Rig) -> bool:
    """A check before the time is known, one after: dates are put right, the order stays, and a chart has no leap."""
    await rig.shell("sudo rm -f /var/lib/systemd/timesync/clock /etc/systemd/timesyncd.conf.d/rig.conf; sync")
    await asyncio.to_thread(rig.machine.cut_power)
    clock, rig.machine.clock = rig.machine.clock, BLANK
    try:
        await rig.start()
        await rig.answers()
        wrong_by = time.time() - float(await rig.shell("date +%s"))
        parts = [await _check(rig)]
        before = (await _rows(rig))[0]
        async with time_told(rig):
            parts.append(await _check(rig))
            rows = await _rows(rig)
    finally:
        rig.machine.clock = clock
    late = [abs(time.time() - row["wall_s"]) for row in rows[:2]]
    orders = [row["order"] for row in rows]
    return tell_all(
        ("blank clock: wrong by days at the start", round(wrong_by / 86400), None, wrong_by > NEAR_S),
        ("a result then, marked as of no known time", not before["synced"], True, not before["synced"]),
        ("error over give or take, before and after", _rounded(parts), 1.5, max(parts) < 1.5),
        ("once the time is known: age of both results, s", _rounded(late), "minutes", max(late) < 3600),
        ("and both are known", [row["synced"] for row in rows[:2]], True, all(r["synced"] for r in rows[:2])),
        ("results stay in their order", orders, "newest first", orders == sorted(orders, reverse=True)),
    )


async def clock_jumps(rig: Rig) -> bool:
    """Forward a day, back 25 hours, back one: each in mid-pass."""
    good = True
    for jump in JUMPS:
        async with rig.client() as path:
            jumped = asyncio.create_task(rig.shell(IN_A_PASS.format(jump)))
            finding = await rig.check(path)
            await jumped
        told = [one.code for one in finding.remarks if one.code == "clock-jumped"]
        part = rig.missed(finding)
        good &= tell(f"clock {jump} in mid-pass: error over give or take", round(part, 2), 1.5, part < 1.5)
        good &= tell(f"clock {jump} in mid-pass: in the result", told, "clock-jumped", bool(told))
    await rig.shell(f"sudo date -s @{time.time():.0f} >/dev/null")
    return good


# begun before the check, as a login takes longer than a pass does
IN_A_PASS = r"""
sweepgauge watch --json --instrument travel | grep -qm1 '"value":1[0-9][0-9]\.'
sudo date -s '{}' >/dev/null
"""


async def week_of_days(rig: Rig) -> bool:
    """Ten days, each a jump of the clock to the next morning: systemd's timer asks what is due, then a check."""
    parts, due, lives = [], [], []
    for _ in range(DAYS):
        reviews = await _reviews(rig)
        await rig.shell(NEXT_MORNING.format(reviews + 1), time_out=600)
        due.append(await _reviews(rig) - reviews)
        parts.append(await _check(rig))
        lives.append(await _life(rig))
    restarts, memory = zip(*lives, strict=True)
    rise = (memory[-1] - memory[-1 - LATE]) / LATE
    lines = int(await rig.shell("sudo journalctl -b -u sweepgauge -o cat --no-pager | wc -l"))
    rows = await _rows(rig)
    await rig.shell(f"sudo date -s @{time.time():.0f} >/dev/null")
    orders = [row["order"] for row in rows]
    return tell_all(
        ("days on end: reviews by the timer, each day", due, [1] * DAYS, due == [1] * DAYS),
        ("days on end: error over give or take", _rounded(parts), 1.5, max(parts) < 1.5),
        ("days on end: restarts of the daemon", max(restarts), 0, max(restarts) == 0),
        ("days on end: memory, MiB, each day", memory, MOST, max(memory) <= MOST),
        ("days on end: its rise a day, the last four", round(rise, 2), MOST_A_DAY, rise < MOST_A_DAY),
        ("days on end: lines in the daemon's journal since the boot", lines),
        ("results stay in their order", len(orders), None, orders == sorted(orders, reverse=True)),
    )


# The journal is followed beside it: it would notice only by a next line that nobody listens any more. What is found is
# not thrown away: grep would then read to the end, which never comes
NEXT_MORNING = r"""
sudo date -s 'tomorrow 08:00' >/dev/null
grep -Em{} '^(Finished|Failed) ' < <(
    sudo journalctl -b -u sweepgauge-review -n all -f -o cat </dev/null 2>/dev/null
)
"""


async def _reviews(rig: Rig) -> int:
    """How often the review has run to its end since the boot; none may have failed. One that ran while the service
    was started anew was stopped with it."""
    said = await rig.shell("sudo journalctl -b -u sweepgauge-review -o cat --no-pager")
    assert "Failed to start" not in said, said
    return said.count("Finished ")


async def _life(rig: Rig) -> tuple[int, float]:
    """Restarts of the daemon, and its memory in MiB."""
    restarts = await rig.shell("systemctl show -p NRestarts --value sweepgauge")
    process = "/proc/$(systemctl show -p MainPID --value sweepgauge)/status"
    kib = await rig.shell(f"awk '/VmRSS/ {{print $2}}' {process}")
    return int(restarts), round(int(kib) / 1024, 1)


async def _check(rig: Rig) -> float:
    async with rig.client() as path:
        return rig.missed(await rig.check(path))


async def _rows(rig: Rig) -> list[dict[str, Any]]:
    """The results of the log, newest first, as drift and due dates see them."""
    rows: list[dict[str, Any]] = json.loads(
        await rig.shell("sudo /opt/sweepgauge/bin/python -", given=ROWS.encode())
    )
    return rows


ROWS = """
import json
from bench.log.findings import list_findings
from bench.log.read_only import open_read
with open_read("/var/lib/sweepgauge/sweepgauge.db") as db:
    rows = list_findings(db)[::-1]
print(json.dumps([{"order": row.order, "wall_s": row.wall_s, "synced": row.synced} for row in rows]))
"""


def _rounded(values: list[float]) -> list[float]:
    return [round(value, 2) for value in values]
