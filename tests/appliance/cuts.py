"""The power gone at drawn moments of a check: what the daemon had acknowledged must be in the log afterwards.

Either the machine is killed and booted again, or it is stopped for a moment and its disk copied, which is what a cut just
then would leave. The copies cost no boot: their file system is recovered by this machine's kernel, and this machine's
daemon goes on with the log. It needs root and loop devices.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from guest import Rig, tell_all

from bench.demo.operator import Operator, connect, virtual_bench
from bench.demo.truth import JOB
from bench.protocol import (
    Begin,
    Done,
    FindingNotice,
    GetStatus,
    Message,
    NoteMove,
    PassNotice,
    PromptChanged,
    StatusReply,
)
from bench.protocol.async_client import AsyncClient

# what a cut waits for, its share of the cuts, and how long after it the power goes at the latest, s
MOMENTS = {
    "in mid-pass": (6, 1.5),
    "at the word kept": (2, 0.0),
    "while the result is written": (2, 2.0),
    "while a move is noted": (2, 2.0),
}
MOST_PASSES = 4  # of the check that are let go by before the power goes
IN_FLIGHT_S = 0.3  # in which what was told before the cut comes here
GO_ON_EACH = 4  # of the copies in which a check is open
PATH = "/var/lib/sweepgauge/sweepgauge.db"
MOVED = 1  # the request's number, by which its answer is known


class Cut(NamedTuple):
    moment: str
    passes: int  # of that kind, counted from the daemon's start
    delay: float  # s

    def is_at(self, message: Message, passes: int) -> bool:
        if self.moment == "while the result is written":
            return isinstance(message, PromptChanged) and _phase(message) == "working-out"
        if not isinstance(message, PassNotice):
            return False
        wanted = "running" if self.moment == "in mid-pass" else "kept"
        return message.state == wanted and passes >= self.passes


def _phase(message: PromptChanged) -> str | None:
    return message.ask.phase if message.ask is not None else None


def drawn(count: int, seed: int) -> list[Cut]:
    draw = random.Random(seed)
    shares = [share for share, _ in MOMENTS.values()]
    moments = draw.choices(list(MOMENTS), shares, k=count)
    return [Cut(one, draw.randint(0, MOST_PASSES), draw.uniform(0, MOMENTS[one][1])) for one in moments]


@dataclass
class Told:
    """What the daemon has told as being on the disk: ids of passes, findings, and findings whose move is noted."""

    passes: set[str] = field(default_factory=set)
    findings: set[str] = field(default_factory=set)
    moves: set[str] = field(default_factory=set)
    moving: str = ""  # the finding of whose move the note was asked for

    def hear(self, message: Message) -> None:
        if isinstance(message, PassNotice) and message.state in ("kept", "back"):
            self.passes |= {message.sweep} if message.recorded else set()
        elif isinstance(message, PassNotice):  # running, undone, refused: it does not count
            self.passes.discard(message.sweep)
        elif isinstance(message, FindingNotice) and message.recorded:
            self.findings.add(message.finding.id)
        elif isinstance(message, Done) and message.recorded and message.ref == MOVED:
            self.moves.add(self.moving)

    def lost(self, log: dict[str, Any]) -> list[str]:
        return [
            one for kind in ("passes", "findings", "moves") for one in getattr(self, kind) - set(log[kind])
        ]


async def power_cuts(rig: Rig, cuts: int, seed: int) -> bool:
    """A check that was cut goes on after the boot, and is cut again where the draw falls so."""
    told, lost, untold, booted, at = Told(), set[str](), 0, [], Counter[str]()
    for cut in drawn(cuts, seed):
        at[await _cut(rig, cut, told)] += 1
        booted.append(await rig.start())
        notes = (await rig.status())["notes"]
        log = await _log(rig)
        lost |= set(told.lost(log))
        untold += "open" in log["checks"] and not any("goes on" in note for note in notes)
        print(
            f"{cut}: up after {booted[-1]:.0f} s, lost {lost}, untold {untold}", file=sys.stderr, flush=True
        )
    async with rig.client() as path:
        await rig.check(path)
    log, truth = await _log(rig), rig.saw.truth()["rotation"]
    off = [abs(value - truth) / uncertainty for value, uncertainty in log["results"]]
    ends = Counter(log["checks"])
    return tell_all(
        (f"told as saved and lost in {cuts} power cuts", sorted(lost), [], not lost),
        ("cuts by moment", at),
        ("told as saved before some cut", _counts(told)),
        ("cut checks that the next start did not speak of", untold, 0, not untold),
        ("checks at the end, by state", ends, "all finished", set(ends) == {"finished"}),
        (f"error over give or take of {len(off)} results, largest", round(max(off), 2), 1.5, max(off) < 1.5),
        ("log sound at the end", log["sound"], True, log["sound"]),
        ("boot after a cut, s, median and longest", _spread(booted)),
    )


def _counts(told: Told) -> dict[str, int]:
    return {"passes": len(told.passes), "findings": len(told.findings), "moves": len(told.moves)}


def _spread(values: list[float]) -> list[float]:
    return [round(sorted(values)[len(values) // 2], 1), round(max(values), 1)]


async def _cut(rig: Rig, cut: Cut, told: Told) -> str:
    """Go on with the check, or begin one, until the power goes. Gives the moment."""
    async with rig.client() as path:
        observer = await AsyncClient.connect(path)
        work = asyncio.create_task(rig.check(path))
        where = await _moment(cut, observer, told)
        await asyncio.to_thread(rig.machine.cut_power)
        work.cancel()
        await asyncio.gather(work, return_exceptions=True)
        await _hear(observer, told, IN_FLIGHT_S)
    return where


async def _moment(cut: Cut, observer: AsyncClient, told: Told) -> str:
    """Returns at the moment, and says which it was: a check that has no such moment any more is cut at its result."""
    where = await _until(cut, observer, told)
    if where == cut.moment:
        await _hear(observer, told, cut.delay)
    return where


async def _until(cut: Cut, observer: AsyncClient, told: Told) -> str:
    passes = 0
    while (message := await observer.inbox.get()) is not None:
        told.hear(message)
        passes += isinstance(message, PassNotice) and message.state == "kept"
        if isinstance(message, FindingNotice):
            if cut.moment != "while a move is noted":
                return "at the result"
            told.moving = message.finding.id
            observer.send(NoteMove(message.finding.id, distance=0.1, how="leaves", ref=MOVED))
            return cut.moment
        if cut.moment != "while a move is noted" and cut.is_at(message, passes):
            return cut.moment
    raise RuntimeError("the daemon went away")


async def _hear(observer: AsyncClient, told: Told, seconds: float) -> None:
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            while (message := await observer.inbox.get()) is not None:
                told.hear(message)


# ---- copies of the disk --------------------------------------------------------------


async def disk_copies(rig: Rig, count: int, seed: int) -> bool:
    """Cuts of which only a copy of the disk is looked into, several in one check; with some of them it is gone on."""
    told, at, lost, opened, sound = Told(), Counter[str](), [], [], True
    with tempfile.TemporaryDirectory(prefix="sweepgauge-cuts-") as folder:
        async for copy in _copies(rig, drawn(count, seed), Path(folder), told, at):
            log = await asyncio.to_thread(_rows, copy)
            lost += told.lost(log)
            sound &= log["sound"]
            opened += [copy] if "open" in log["checks"] else []
        ends = [await _go_on(copy, seed) for copy in opened[::GO_ON_EACH]]
    untold, worst = sum(not said for said, _ in ends), max((off for _, off in ends), default=0.0)
    return tell_all(
        (f"told as saved and lost in {count} copies of the disk", lost, [], not lost),
        ("logs sound in all of them", sound, True, sound),
        ("copies by moment", at),
        ("told as saved before the last copy", _counts(told)),
        (f"of {len(ends)} cut checks gone on with, not spoken of at the start", untold, 0, not untold),
        ("error over give or take of their results, largest", round(worst, 2), 1.5, worst < 1.5),
    )


async def _copies(
    rig: Rig, cuts: list[Cut], folder: Path, told: Told, at: Counter[str]
) -> AsyncIterator[Path]:
    """Folders with the log as a cut left it; told: what had been told until then."""
    async with rig.client() as path:
        observer, work = await AsyncClient.connect(path), None
        for number, cut in enumerate(cuts):
            work = work or asyncio.create_task(rig.check(path))
            where = await _moment(cut, observer, told)
            at[where] += 1
            with rig.machine.stopped():
                await _hear(observer, told, IN_FLIGHT_S)
                disk = folder / f"{number}.qcow2"
                await asyncio.to_thread(shutil.copy, rig.machine.disk, disk)
            await asyncio.to_thread(_log_of, disk, folder / str(number))
            yield folder / str(number)
            if where in ("at the result", "while a move is noted"):
                await work
                work = None
        if work is not None:
            await work


def _log_of(disk: Path, folder: Path) -> None:
    """The log of a disk, after its file system was recovered."""
    raw = disk.with_suffix(".raw")
    folder.mkdir()
    subprocess.run(["qemu-img", "convert", "-O", "raw", str(disk), str(raw)], check=True)
    mount = folder.with_suffix(".mount")
    mount.mkdir()
    subprocess.run(["mount", "-o", "loop", str(raw), str(mount)], check=True)
    try:
        for file in (mount / "var/lib/sweepgauge").iterdir():
            if file.suffix != ".lock":
                shutil.copy(file, folder / file.name.replace("sweepgauge.db", "log.db"))
    finally:
        subprocess.run(["umount", str(mount)], check=True)
    raw.unlink()
    disk.unlink()


async def _go_on(copy: Path, seed: int) -> tuple[bool, float]:
    """Whether the next start speaks of the check, and its result's error over its give or take."""
    async with virtual_bench(seed, folder=copy) as (saw, hands, _, folder, _daemon):
        client = await connect(folder)
        client.send(GetStatus())
        while not isinstance(message := await client.inbox.get(), StatusReply):
            assert message is not None
        finding = await Operator(client, hands, lambda words: None).take(Begin(JOB))
        client.close()
        fence, truth = finding.quantities[0], saw.truth()["rotation"]
        told = any("goes on" in note for note in message.notes)
        return told, abs(fence.value - truth) / fence.uncertainty


def _rows(folder: Path) -> dict[str, Any]:
    """What is in the log of that folder, of which nothing is changed."""
    with tempfile.TemporaryDirectory(prefix="sweepgauge-log-") as scratch:
        shutil.copytree(folder, scratch, dirs_exist_ok=True)
        query = [sys.executable, "-c", LOG.replace(PATH, f"{scratch}/log.db")]
        found: dict[str, Any] = json.loads(subprocess.run(query, capture_output=True, check=True).stdout)
    return found


async def _log(rig: Rig) -> dict[str, Any]:
    """passes, findings, moves: ids; checks: states; results: value and uncertainty of each, rad; sound."""
    found: dict[str, Any] = json.loads(await rig.shell("sudo python3 -", given=LOG.encode()))
    return found


# A pass that was refused or taken back after it was kept is in the log before that is told: the power may go between.
# An ordinary connection, as of any program with which somebody looks into the log: when it is closed it must not take
# the write-ahead file away from under the daemon
LOG = r"""
import json, sqlite3
db = sqlite3.connect("/var/lib/sweepgauge/sweepgauge.db")
column = lambda query: [row[0] for row in db.execute(query)]
first = [json.loads(text)["quantities"][0] for text in column("SELECT finding_json FROM finding")]
print(json.dumps({
    "passes": column("SELECT sweep FROM sweep WHERE state IN ('whole', 'refused', 'undone')"),
    "findings": column("SELECT finding FROM finding"),
    "moves": column("SELECT finding FROM move JOIN finding USING (finding_key) WHERE made_json IS NOT NULL"),
    "checks": column("SELECT state FROM check_run ORDER BY run_key"),
    "results": [(one["value"], one["uncertainty"]) for one in first],
    "sound": column("PRAGMA integrity_check") == ["ok"],
}))
db.close()
"""
