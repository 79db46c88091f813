"""A disk whose power can be cut: what a writer did to it, in order, and what may be left of that at any moment.

The model is that of SQLite's own documents on atomic commit: what was synced is there; of what was written since, each
sector of 512 bytes is there or not, whatever its neighbours and the order of writing.
"""

from __future__ import annotations

import os
import random
import shutil
import struct
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import pytest

SECTOR = 512
WRITE, SYNC, CUT, REMOVED, FAILED = 1, 2, 3, 4, 5
COMPILER = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")

# Records sweeps, and acknowledges in a file beside the log what it was told is saved. How it syncs can be made worse,
# and the write-ahead log shorter, so that it is often merged into the file.
WRITER = r"""
import os, sys, time
from bench.checks.model import EvidenceGear, Trace
from bench.log import schema
from bench.log.writer import LogWriter

path, synchronous, sweeps, pages = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
connect = schema.connect

def connect_worse(path):
    db = connect(path)
    db.execute("PRAGMA synchronous = " + synchronous)
    db.execute("PRAGMA wal_autocheckpoint = %d" % pages)
    return db

schema.connect = connect_worse
acks = os.open(path + ".acks", os.O_WRONLY | os.O_CREAT | os.O_APPEND)

def saved(saved):
    lines = ["ticket %d" % saved.upto] + ["sweep " + name for name in saved.sweeps]
    os.write(acks, ("\n".join(lines) + "\n").encode())

def trouble(words):
    os.write(acks, ("trouble %.3f %s\n" % (time.monotonic(), words or "none")).encode())

writer = LogWriter.open(path, boot_id="boot", program="test", on_saved=saved, on_trouble=trouble)
writer.begin_check("run", "fence-square", jig=None, saw=None, options={}, gear=EvidenceGear())
for number in range(sweeps):
    sweep = "run-%d" % number
    writer.start_sweep(sweep, "run", "handle-right")
    for block in range(6):
        writer.queue.put_block(sweep, "indicator", b"%02d" % block * 10, [block * 10**6 + n * 1000 for n in range(10)])
    trace = Trace("handle-right", [n / 7 for n in range(60)], [n / 1000 + number for n in range(60)], sweep=sweep)
    writer.end_sweep(sweep, "whole", trace=trace)
    time.sleep(0.004)
ok = writer.flush(8.0)
time.sleep(0.1)  # what is saved is told a moment after
os.write(acks, b"end %d\n" % ok)
os._exit(0)  # power is cut while it is open
"""


@dataclass(frozen=True, slots=True)
class Done:
    """One thing done to a file."""

    kind: int
    path: str
    offset: int
    data: bytes


def library(folder: Path) -> Path:
    """disk.c, compiled. Needs a compiler."""
    assert COMPILER is not None
    made = folder / "disk.so"
    source = Path(__file__).with_name("disk.c")
    subprocess.run([COMPILER, "-O1", "-shared", "-fPIC", "-o", str(made), str(source), "-ldl"], check=True)
    return made


def write_log(
    disk: Path, path: Path, *, synchronous: str = "FULL", sweeps: int = 60, pages: int = 40, **fail: int
) -> list[str]:
    """A writer's life on a watched disk; what it acknowledged. fail: at, for: which calls fail."""
    path.parent.mkdir(parents=True, exist_ok=True)
    env = {**os.environ, "LD_PRELOAD": str(disk)}
    env |= {"DISK_WATCH": str(path.parent), "DISK_JOURNAL": f"{path}.journal"}
    env |= {f"DISK_FAIL_{name.upper()}": str(value) for name, value in fail.items()}
    subprocess.run(
        [sys.executable, "-c", WRITER, str(path), synchronous, str(sweeps), str(pages)],
        check=True,
        env=env,
        timeout=60,
        stderr=subprocess.DEVNULL if fail else None,
    )
    return Path(f"{path}.acks").read_text().splitlines()


def journal(path: Path) -> list[Done]:
    data, at, out = Path(f"{path}.journal").read_bytes(), 0, []
    while at < len(data):
        kind, length, offset, size = struct.unpack_from("<IIqq", data, at)
        at += 24
        name = data[at : at + length].decode()
        at += length
        out.append(Done(kind, name, offset, data[at : at + size]))
        at += size
    return out


def _change(image: bytearray, done: Done) -> None:
    if done.kind == WRITE:
        end = done.offset + len(done.data)
        if len(image) < end:
            image.extend(bytes(end - len(image)))
        image[done.offset : end] = done.data
    elif done.kind == CUT:
        if done.offset < len(image):
            del image[done.offset :]
        else:
            image.extend(bytes(done.offset - len(image)))


def _change_partly(image: bytearray, done: Done, kept: float, chance: random.Random) -> None:
    if done.kind != WRITE:
        if chance.random() < kept:
            _change(image, done)
        return
    at = done.offset
    while at < done.offset + len(done.data):
        end = min((at // SECTOR + 1) * SECTOR, done.offset + len(done.data))
        if chance.random() < kept:
            piece = done.data[at - done.offset : end - done.offset]
            _change(image, Done(WRITE, done.path, at, piece))
        at = end


class Replay:
    """What lies on the disk as the journal goes on; `cut` gives what may be left at this moment."""

    def __init__(self, done: Sequence[Done]) -> None:
        self._done = done
        self._at = 0
        self._safe: dict[str, bytearray] = {}
        self._since: dict[str, list[Done]] = {}
        self._removed: set[str] = set()  # and the folder was not synced since
        self.acks: list[str] = []

    def go_to(self, moment: int) -> None:
        """moment: so many things were done; must not go back."""
        for one in self._done[self._at : moment]:
            if one.path.endswith(".acks"):
                self.acks += one.data.decode().splitlines()
            elif one.kind == REMOVED:
                self._removed.add(one.path)
            elif one.kind == SYNC and Path(one.path).is_dir():
                self._forget(self._removed)
            elif one.kind == SYNC:
                safe = self._safe.setdefault(one.path, bytearray())
                for before in self._since.pop(one.path, ()):
                    _change(safe, before)
            elif one.kind in {WRITE, CUT}:
                self._forget(self._removed & {one.path})  # another file of the same name
                self._since.setdefault(one.path, []).append(one)
        self._at = moment

    def _forget(self, paths: set[str]) -> None:
        for path in list(paths):
            self._safe.pop(path, None)
            self._since.pop(path, None)
            self._removed.discard(path)

    def cut(self, into: Path, name: str, kept: float, chance: random.Random) -> None:
        """Write what is left of each file, `name` for the log's own name. kept: of what was not synced."""
        for path in {*self._safe, *self._since}:
            if path.endswith("-shm") or not Path(path).name.startswith(name):
                continue  # shared memory does not outlive the power
            if path in self._removed and chance.random() < kept:
                continue
            image = bytearray(self._safe.get(path, b""))
            for one in self._since.get(path, ()):
                _change_partly(image, one, kept, chance)
            (into / Path(path).name).write_bytes(image)


@pytest.fixture(scope="session")
def power(tmp_path_factory: pytest.TempPathFactory) -> SimpleNamespace:
    if COMPILER is None:
        pytest.skip("no C compiler here to build the watched disk")
    disk = library(tmp_path_factory.mktemp("disk"))
    return SimpleNamespace(disk=disk, write_log=write_log, journal=journal, Replay=Replay, FAILED=FAILED)
