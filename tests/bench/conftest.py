"""A bench of the tests' own: pseudo-terminals opened here, bytes written here, the programs run as a user would.

Nothing of the virtual saw is used, so that the main job is seen to work on instruments it does not know.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import queue
import signal
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from turns import HANG_S, until

STEP = 0.01  # s between lines: 100 readings a second


class Rig:
    """Two instruments that see a surface turned by `rotation` rad walk past an indicator on `side`.

    The reading comes from turning a line about the origin and meeting it with the plunger's axis, not from a
    slope formula: the surface through the origin of a sled pushed by s, met by the axis y = 0.
    """

    def __init__(self, folder: Path, *, travel: bool = True) -> None:
        self.s = 0.0
        self.rotation = 0.0
        self.side = "right"
        self.offset = 2.5
        self.lines = 0  # sent of each instrument
        self.sends = True
        self.spoil: Callable[[str, bytes], bytes] = lambda name, line: line  # what becomes of each line
        self._stop = threading.Event()
        self._arrived = threading.Event()
        self._sent = threading.Condition()
        self._hand: tuple[float, float] | None = (
            None  # where the hand pushes the sled to, and by how many mm a line
        )
        self._lock = threading.Lock()
        self.names = {}
        self._masters = {}
        self.folder = folder
        for name in ("indicator", "travel") if travel else ("indicator",):
            self.plug(name)
        self._thread = threading.Thread(target=self._write, daemon=True)
        self._thread.start()

    def plug(self, name: str) -> None:
        master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(master, False)
        link = self.folder / f"port-{name}"
        link.unlink(missing_ok=True)
        link.symlink_to(os.ttyname(slave))
        with self._lock:
            self._masters[name] = (master, slave)
        self.names[name] = str(link)

    def unplug(self, name: str) -> None:
        with self._lock:
            master, slave = self._masters.pop(name)
        os.close(master)
        os.close(slave)
        (self.folder / f"port-{name}").unlink()

    def reading(self) -> float:
        # the edge: through (0, s), direction (-sin b, cos b); the plunger's axis is y = 0
        along = -self.s / math.cos(self.rotation)
        x = -math.sin(self.rotation) * along
        return self.offset + (x if self.side == "right" else -x)

    def _write(self) -> None:
        """One line of each instrument every STEP. A gauge is never late, only who hears it: what a busy machine
        kept from being sent follows at once, as if it had waited in the port."""
        due = time.monotonic()
        while not self._stop.wait(max(0.0, due - time.monotonic())):
            due += STEP
            self._push()
            with self._sent:
                self.lines += 1
                self._sent.notify_all()
            values = {"indicator": f"{self.reading():+.3f} mm\r\n", "travel": f"{self.s:+.2f} mm\r\n"}
            with self._lock:
                for name, (master, _) in self._masters.items():
                    if self.sends:
                        with contextlib.suppress(OSError):
                            os.write(master, self.spoil(name, values[name].encode()))

    def _push(self) -> None:
        if self._hand is None:
            return
        to, step = self._hand
        left = to - self.s
        if abs(left) > step:
            self.s += math.copysign(step, left)
        else:
            self.s, self._hand = to, None
            self._arrived.set()

    def send(self, name: str, data: bytes) -> None:
        with self._lock:
            os.write(self._masters[name][0], data)

    def go(self, to: float, speed: float = 300.0) -> None:
        """Push or draw the sled to `to` mm at `speed` mm/s, and wait until it is there."""
        self._arrived.clear()
        self._hand = (to, speed * STEP)
        assert self._arrived.wait(HANG_S)

    def rest(self, seconds: float) -> None:
        """Nothing moves for so long by the clock of the instruments, which is the lines that they send."""
        over = self.lines + round(seconds / STEP)
        with self._sent:
            assert self._sent.wait_for(lambda: self.lines >= over, HANG_S)

    def close(self) -> None:
        self._stop.set()
        self._arrived.set()  # whoever still pushes need not wait
        self._thread.join()
        for master, slave in self._masters.values():
            os.close(master)
            os.close(slave)


class Program:
    """A running sweepgauge command; what it says is gathered, `hear` waits for a text."""

    def __init__(self, args: list[str], folder: Path, ports: str | None = None) -> None:
        env = {k: v for k, v in os.environ.items() if not k.startswith("SWEEPGAUGE_")}
        env |= {
            "SWEEPGAUGE_SOCKET": str(folder / "socket"),
            "SWEEPGAUGE_SETTINGS": str(folder / "settings.toml"),
            "SWEEPGAUGE_LOG": str(folder / "log.db"),
        }
        if ports is not None:
            env["SWEEPGAUGE_PORTS"] = ports
        self.process = subprocess.Popen(
            [sys.executable, "-m", "bench.cli", *args],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=env,
        )
        self.lines: list[str] = []
        self._queue: queue.Queue[str | None] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self._queue.put(line.decode())
        self._queue.put(None)

    def hear(self, text: str, seconds: float = HANG_S) -> str:
        until = time.monotonic() + seconds
        while True:
            try:
                line = self._queue.get(timeout=max(0.01, until - time.monotonic()))
            except queue.Empty:
                raise AssertionError(f"never said {text!r}; said:\n{''.join(self.lines)}") from None
            if line is None:
                raise AssertionError(f"ended without {text!r}; said:\n{''.join(self.lines)}")
            self.lines.append(line)
            if text in line:
                return line

    def hear_set_up(self, placement: str) -> str:
        """The request to set up so; a placement is an identifier, which is never shown."""
        sides = {"handle-left": "to the LEFT of the arm", "handle-right": "to the RIGHT of the arm"}
        return self.hear(sides.get(placement, "] "))

    def rest(self) -> str:
        """All that it said and says until it ends."""
        while (line := self._queue.get(timeout=HANG_S)) is not None:
            self.lines.append(line)
        return "".join(self.lines)

    def enter(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(b"\n")
        self.process.stdin.flush()

    def end(self, number: int = signal.SIGTERM, seconds: float = HANG_S) -> int:
        self.process.send_signal(number)
        return self.wait(seconds)

    def wait(self, seconds: float = HANG_S) -> int:
        return self.process.wait(seconds)

    def answer(self) -> dict:
        assert self.process.stdout is not None
        return json.loads(self.process.stdout.read())

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self._reader.join(5)
        for stream in (self.process.stdin, self.process.stdout, self.process.stderr):
            if stream is not None:
                stream.close()


SETTINGS = """
[indicator]
port = "{indicator}"
resolution = "0.001 mm"
{travel}
[jig.big-sled]
fence = "near"
pivot = "right"
pivot_to_blade = "250 mm"
pivot_to_screw = "500 mm"
pivot_to_stop = "480 mm"
widest_board = "600 mm"
tolerance = "0.05 mm per 300 mm"

[leaves]
set = ["0.04 mm", "0.05 mm", "0.10 mm", "0.15 mm"]
"""


@pytest.fixture
def rigs(tmp_path: Path) -> Iterator[Callable[..., Rig]]:
    made: list[Rig] = []

    def make(*, marks: str | None = None) -> Rig:
        rig = Rig(tmp_path, travel=marks is None)
        made.append(rig)
        travel = (
            f'[travel]\nport = "{rig.names["travel"]}"\n' if marks is None else f"[travel]\nmarks = {marks}\n"
        )
        text = SETTINGS.format(indicator=rig.names["indicator"], travel=travel)
        (tmp_path / "settings.toml").write_text(text)
        return rig

    yield make
    for rig in made:
        rig.close()


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Callable[..., Program]]:
    made: list[Program] = []

    def start(*args: str, ports: str | None = None) -> Program:
        program = Program(list(args), tmp_path, ports)
        made.append(program)
        return program

    yield start
    for program in reversed(made):
        program.close()


class FirstBench:
    """A daemon in the test's own loop that finds nothing set up, beside the virtual saw's cables."""

    def __init__(self, folder: Path, settings: str | None, **ports) -> None:
        from hw.virtual.hands import Hands
        from hw.virtual.ptys import VirtualPorts
        from hw.virtual.saw import VirtualSaw

        self.folder = folder
        self.saw = VirtualSaw.draw(3)
        self.hands = Hands(self.saw, pace=0.6)
        rate = ports.pop("rate", 60.0)
        self.ports = VirtualPorts(self.saw, self.hands, folder / "ports", rate, **ports)
        self.names = {name: path for name, path in self.ports.paths.items()}
        self.settings_file = folder / "settings.toml"
        if settings is not None:
            self.settings_file.write_text(settings.format(**self.names))
        self.said: list = []
        self._wires: list = []

    def places(self) -> list:
        from bench.daemon.port_listener import NamedPort

        return [
            NamedPort(path, os.path.realpath(path)) for path in self.names.values() if os.path.exists(path)
        ]

    async def start(self) -> None:
        import asyncio

        from bench.daemon.service import Service
        from bench.settings.settings_file import Paths, load

        paths = Paths(
            self.settings_file, self.folder / "log.db", self.folder / "gear.toml", self.folder / "socket"
        )
        self.service = Service(load(paths.settings, paths.gear), paths, self.places)
        self.serving = asyncio.get_running_loop().create_task(self.service.serve())
        await until(lambda: paths.socket.exists() or self.serving.done())

    async def stop(self) -> None:
        for wire in self._wires:
            wire.close()
        self._wires = []
        self.service._stop.set()
        await self.serving

    async def reads(self, name: str = "indicator") -> None:
        """Wait until that instrument is read."""
        await until(
            lambda: any(one.name == name and one.last is not None for one in self.service.station.wired.all)
        )

    async def talk(self):
        """A client that looks at the readings; what it hears is in `said` of what is returned."""
        from bench.demo.operator import connect
        from bench.protocol import GetStatus, Watch

        wire = await connect(self.folder)
        wire.said = []
        wire.send(GetStatus())
        wire.send(Watch(on=True, most=10.0))
        self._wires.append(wire)
        return wire

    async def until(self, wire, kind: type, met: Callable = lambda m: True, seconds: float = HANG_S):
        """The next message of that kind that is as it should be."""
        import asyncio

        try:
            async with asyncio.timeout(seconds):
                while True:
                    message = await wire.inbox.get()
                    wire.said.append(message)
                    if isinstance(message, kind) and met(message):
                        return message
        except TimeoutError:
            told = [m for m in wire.said if type(m).__name__ in ("LearnSaid", "Error", "InstrumentState")]
            raise AssertionError(f"never said; last said: {told[-6:]}") from None


@pytest.fixture
def first_bench(tmp_path: Path):
    """Makes the bench of a first start: `async with first_bench(settings=None, encode_indicator=...) as bench`."""

    @contextlib.asynccontextmanager
    async def make(settings: str | None = None, **ports):
        bench = FirstBench(tmp_path, settings, **ports)
        await bench.ports.start()
        try:
            await bench.start()
            try:
                yield bench
            finally:
                await bench.stop()
        finally:
            await bench.ports.stop()

    return make


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., list]]:
    """What the doctor says of an instrument that sends `line` again and again, or answers what it is asked."""
    from bench.doctor import instruments
    from bench.doctor.diagnostic import ListeningOptions
    from bench.doctor.rights import User
    from bench.settings.settings_file import PortSettings

    somebody = User("ann", False, frozenset(), frozenset())
    opened: list[int] = []

    def look(line: bytes, *, answers: bytes = b"", name: str = "indicator", **settings: object) -> list:
        master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(master, False)
        opened.extend((master, slave))
        over = threading.Event()
        spoken = 0  # lines

        def speak() -> None:
            nonlocal spoken
            while not over.wait(0.02):
                spoken += 1
                try:
                    asked = os.read(master, 256)
                except OSError:
                    asked = b""
                if line or (answers and asked):
                    os.write(master, line or answers)

        thread = threading.Thread(target=speak, daemon=True)
        thread.start()
        wired = [(name, PortSettings(port=os.ttyname(slave), **settings))]
        try:
            for longer in (1, 10, 100):  # a busy machine may need more until anything is heard
                monkeypatch.setattr("hw.discovery.listening.TURN_S", 0.2 * longer)
                monkeypatch.setattr("hw.discovery.listening.SILENCE_S", 0.2 * longer)
                monkeypatch.setattr("bench.doctor.silent_instrument.ANSWER", 0.03 * longer)
                options = ListeningOptions(2.0, "mm", seconds=0.4 * longer)
                before = spoken
                found = instruments.diagnose_ports(wired, [], somebody, options)
                enough = spoken - before >= 8 and all(one.code != "silent" for one in found)
                if enough or not (line or answers):
                    break
            return found
        finally:
            over.set()
            thread.join()

    yield look
    for descriptor in opened:
        os.close(descriptor)


@pytest.fixture
def no_parity(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ports that know no parity, such as the small one on a Pi's pins: the C library then refuses, with no OSError."""
    import termios

    really = termios.tcsetattr

    def refuse(fd: int, when: int, attributes: list) -> None:
        if attributes[2] & termios.PARENB:
            raise termios.error(22, "Invalid argument")
        really(fd, when, attributes)

    monkeypatch.setattr(termios, "tcsetattr", refuse)


@pytest.fixture
def small_disk(tmp_path) -> Iterator[Callable[..., None]]:
    """A real file system of its own at `tmp_path / disk`; call it with other mount options to change it."""
    folder = tmp_path / "disk"
    folder.mkdir()

    def mount(options: str) -> None:
        made = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", options, "none", str(folder)],
            check=False,
            capture_output=True,
            text=True,
        )
        if made.returncode:
            pytest.skip(f"no file system can be mounted here: {made.stderr.strip()}")

    if os.geteuid() != 0:
        pytest.skip("mounting a small file system needs root")
    mount("size=400k")
    mount.folder = folder
    yield mount
    subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.fixture
def figure(capsys) -> Callable[..., None]:
    """Prints {test, figure, limit, pass} and fails where it does not pass."""

    def say(test: str, value: object, limit: object, *, good: bool) -> None:
        with capsys.disabled():
            print("\n" + json.dumps({"test": test, "figure": value, "limit": limit, "pass": good}))
        assert good, (test, value, limit)

    return say
