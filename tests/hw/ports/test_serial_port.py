"""A serial port on real pseudo-terminals: blocks, cables pulled and put back, and all that keeps one from opening.

What to expect of the kernel is POSIX's termios and the Linux manual pages tty_ioctl(2) and pty(7).
"""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import socket
import struct
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial
from turns import until

from hw.port_names import PortOptions
from hw.ports import serial_port
from hw.ports.open_errors import open_error
from hw.ports.serial_port import SerialPort

PATIENCE = 60.0  # s; what is waited for comes in a few ms unless the machine is busy
EXCLUSIVE = 0x80045440  # TIOCGEXCL, tty_ioctl(2)


class Cable:
    """A pseudo-terminal under a stable name; pulled and put back it is another device."""

    def __init__(self, folder: Path) -> None:
        self.name = folder / "usb-some-gauge"
        self.master = -1
        self.devices: list[str] = []
        self._spare: list[int] = []
        self.put()

    def put(self) -> None:
        master, slave = os.openpty()
        while os.ttyname(slave) in self.devices[-1:]:  # another number, as the next free one often is
            self._spare += [master, slave]
            master, slave = os.openpty()
        tty.setraw(slave)
        self.devices.append(os.ttyname(slave))
        os.close(slave)
        self.master = master
        self.name.symlink_to(self.devices[-1])

    def pull(self) -> None:
        self.name.unlink(missing_ok=True)
        os.close(self.master)
        self.master = -1

    def say(self, data: bytes) -> None:
        os.write(self.master, data)

    def close(self) -> None:
        for fd in [self.master, *self._spare]:
            if fd >= 0:
                os.close(fd)


class Heard:
    """What a port said, with a wait for it."""

    def __init__(self, port: str, **options: object) -> None:
        self.blocks: list[tuple[bytes, int]] = []
        self.states: list[tuple[str, str]] = []
        self.threads: set[int] = set()
        self.port = SerialPort(PortOptions(port, **options), self._block, self._state)  # type: ignore[arg-type]

    def _block(self, data: bytes, when: int) -> None:
        self.threads.add(threading.get_ident())
        self.blocks.append((data, when))

    def _state(self, state: str, words: str) -> None:
        self.threads.add(threading.get_ident())
        self.states.append((state, words))

    @property
    def data(self) -> bytes:
        return b"".join(data for data, _ in self.blocks)

    def all_received(self) -> list[bytes]:
        """What the port reads from now on, also what it discards."""
        really, received = self.port._receive, []

        def receive(data: bytes, now: int) -> None:
            really(data, now)
            received.append(data)

        self.port._receive = receive  # type: ignore[method-assign]
        return received

    @property
    def state(self) -> str | None:
        return self.states[-1][0] if self.states else None

    async def until(self, true: Callable[[], bool]) -> None:
        await until(true, PATIENCE, lambda: (self.states, self.blocks[-3:]))

    async def is_(self, state: str) -> None:
        await self.until(lambda: self.state == state)


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Cable]:
    made = Cable(tmp_path)
    yield made
    made.close()


@contextlib.asynccontextmanager
async def opened(port: object, **options: object):
    heard = Heard(str(port), **options)
    heard.port.start()
    try:
        yield heard
    finally:
        await heard.port.stop()


async def test_blocks_arrive_whole_on_the_loop_with_their_time(cable: Cable) -> None:
    async with opened(cable.name) as heard:
        await heard.is_("open")
        before = time.monotonic_ns()
        line = b"+0012.345 mm\r\n" * 100
        cable.say(line)
        await heard.until(lambda: len(heard.data) >= len(line))
        assert heard.data == line
        assert len(heard.blocks) < 20  # blocks, not bytes
        assert all(before <= when <= time.monotonic_ns() for _, when in heard.blocks)
        assert heard.threads == {threading.get_ident()}
        assert heard.port.write(b"R\r")
        assert os.read(cable.master, 10) == b"R\r"
    assert not heard.port.is_open
    assert not heard.port.write(b"R\r")


async def test_a_pulled_cable_is_told_and_taken_up_again_under_its_name(cable: Cable) -> None:
    async with opened(cable.name) as heard:
        await heard.is_("open")
        for turn in range(3):
            cable.say(b"%d\n" % turn)
            await heard.until(lambda turn=turn: heard.data.endswith(b"%d\n" % turn))
            cable.pull()
            await heard.is_("absent")
            assert "went away" in heard.states[-1][1]
            assert str(cable.name) in heard.states[-1][1]
            cable.put()
            await heard.is_("open")  # how soon is the slow test's
        assert heard.data == b"0\n1\n2\n"
        assert heard.port.opened == 4
        assert len(set(cable.devices)) > 1  # another device number behind the same name
        states = [state for state, _ in heard.states]
        assert states[0] == "open" and states.count("open") == 4


async def test_no_busy_loop_and_no_repeated_words_while_the_cable_is_out(
    cable: Cable, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries: list[float] = []
    really = SerialPort._open_serial

    def tried(self: SerialPort) -> object:
        tries.append(time.monotonic())
        return really(self)

    monkeypatch.setattr(SerialPort, "_open_serial", tried)
    async with opened(cable.name) as heard:
        await heard.is_("open")
        cable.say(b"x")
        await heard.until(lambda: bool(heard.data))
        cable.pull()
        await heard.is_("absent")
        await heard.until(lambda: "is not there" in heard.states[-1][1])
        said, spent, began = len(heard.states), time.process_time(), time.monotonic()
        enough = len(tries) + 2
        await heard.until(lambda: len(tries) >= enough)
        # a hung-up descriptor left on the loop costs all of that time
        assert time.process_time() - spent < 0.25 * (time.monotonic() - began)
        assert len(heard.states) == said <= 3
        cable.put()


async def test_a_port_that_opens_and_hangs_up_at_once_is_tried_less_and_less(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Such as a cable with a broken wire: it must not fill the log eight times a second."""
    monkeypatch.setattr(serial_port, "PORT_FIRST_RETRY_S", 0.02)
    monkeypatch.setattr(serial_port, "PORT_LAST_RETRY_S", 0.2)
    name = tmp_path / "port"
    opens: list[float] = []

    def hang_up(self: SerialPort) -> object:
        master, slave = os.openpty()
        name.unlink(missing_ok=True)
        name.symlink_to(os.ttyname(slave))
        port = serial.Serial(str(name), timeout=0)
        os.close(slave)
        os.close(master)
        opens.append(time.monotonic())
        return port

    monkeypatch.setattr(SerialPort, "_open_serial", hang_up)
    async with opened(name) as heard:
        heard.port._retry = 0.02
        await heard.until(lambda: len(opens) >= 8)
    gaps = [b - a for a, b in pairwise(opens)]
    assert gaps[-1] > 2 * gaps[0]


async def test_the_lock_keeps_a_second_reader_out_and_names_the_holder(cable: Cable) -> None:
    script = (
        "import serial, sys; s = serial.Serial(sys.argv[1], exclusive=True); print('held', flush=True);"
        "sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script, str(cable.name)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert other.stdout is not None and other.stdin is not None
        assert other.stdout.readline() == b"held\n"
        async with opened(cable.name) as heard:
            await heard.is_("busy")
            await heard.until(lambda: f"process {other.pid}" in heard.states[-1][1])
            assert "close that program" in heard.states[-1][1]
            other.stdin.close()
            other.wait()
            await heard.is_("open")


async def test_ours_is_locked_too(cable: Cable) -> None:
    async with opened(cable.name) as heard:
        await heard.is_("open")
        with pytest.raises(serial.SerialException):
            serial.Serial(str(cable.name), exclusive=True)
        # not the terminal's own flag: the program at the other end of a pseudo-terminal may need this end
        with os.fdopen(os.open(cable.name, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK), "rb", 0) as other:
            assert struct.unpack("i", fcntl.ioctl(other, EXCLUSIVE, b"\0" * 4))[0] == 0


def _a_console() -> str | None:
    """A real terminal device that is no pseudo-terminal and that nobody uses, to be opened like a port."""
    for number in range(60, 20, -1):
        try:
            fd = os.open(f"/dev/tty{number}", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:
            continue
        try:
            termios.tcgetattr(fd)
        except termios.error:
            continue
        finally:
            os.close(fd)
        return f"/dev/tty{number}"
    return None


async def test_a_real_terminal_gets_the_exclusive_flag() -> None:
    console = _a_console()
    if console is None:
        pytest.skip("no virtual console may be opened here")
    watcher = os.open(console, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        async with opened(console) as heard:
            await heard.is_("open")
            flag = struct.unpack("i", fcntl.ioctl(watcher, EXCLUSIVE, b"\0" * 4))[0]
        fcntl.ioctl(watcher, termios.TIOCNXCL)
    finally:
        os.close(watcher)
    assert flag == 1


async def test_denied_names_the_group(cable: Cable) -> None:
    os.chmod(cable.devices[-1], 0)
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        async with opened(cable.name) as heard:
            await heard.is_("denied")
    finally:
        if root:
            os.seteuid(0)
    words = heard.states[-1][1]
    assert "dialout" in words and "log in again" in words and str(cable.name) in words


@pytest.mark.parametrize(
    ("port", "options", "says"),
    [
        ("{folder}/nothing", {}, "plugged in"),
        ("{folder}", {}, "not a serial port"),
        ("/dev/null", {}, "not a serial port"),
        ("no-such-scheme://x", {}, "names no port"),
        ("{cable}", {"baud": -1}, "do not go together"),
        ("{cable}", {"parity": "X"}, "do not go together"),
        ("{cable}", {"bits": 9}, "do not go together"),
        ("{cable}", {"stop": 3}, "do not go together"),
        ("socket://127.0.0.1:1", {}, "cannot be opened"),
    ],
)
async def test_what_cannot_be_opened_is_one_sentence(
    cable: Cable, tmp_path: Path, port: str, options: dict[str, object], says: str
) -> None:
    name = port.format(folder=tmp_path, cable=cable.name)
    async with opened(name, **options) as heard:
        await heard.is_("absent")
    assert len(heard.states) == 1
    words = heard.states[0][1]
    assert says in words and name in words and "\n" not in words


async def test_an_error_of_another_class_is_told_and_tried_again(
    cable: Cable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """termios.error is no OSError; once it ended the opening for good, without a word."""
    monkeypatch.setattr(serial_port, "PORT_FIRST_RETRY_S", 0.02)
    really, times = termios.tcflush, []

    def flush(fd: int, queue: int) -> None:
        if queue == termios.TCIFLUSH and not times:
            times.append(1)
            raise termios.error(5, "Input/output error")
        really(fd, queue)

    monkeypatch.setattr(termios, "tcflush", flush)
    async with opened(cable.name) as heard:
        heard.port._retry = 0.02
        await heard.is_("open")
    assert times
    assert [state for state, _ in heard.states] == ["absent", "open"]


async def test_stop_while_it_is_being_opened_leaves_nothing_open(
    cable: Cable, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go, went = threading.Event(), threading.Event(), threading.Event()
    made: list[serial.Serial] = []
    really = SerialPort._open_serial

    def slow(self: SerialPort) -> object:
        begun.set()
        assert go.wait(60)
        port = really(self)
        made.append(port)  # type: ignore[arg-type]
        went.set()
        return port

    monkeypatch.setattr(SerialPort, "_open_serial", slow)
    heard = Heard(str(cable.name))
    heard.port.start()
    assert await asyncio.to_thread(begun.wait, PATIENCE)
    await heard.port.stop()  # does not wait for the opening, which goes on only now
    go.set()
    assert await asyncio.to_thread(went.wait, PATIENCE)
    await heard.until(lambda: not made[0].is_open)
    assert heard.states == [] and not heard.port.is_open


async def test_a_slow_opening_does_not_hold_up_the_loop(
    cable: Cable, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, loop_goes_on, answers = threading.Event(), threading.Event(), []

    def slow(self: SerialPort) -> object:
        begun.set()
        answers.append(loop_goes_on.wait(10))  # a loop that is held up can never say so
        raise OSError("not there")

    monkeypatch.setattr(SerialPort, "_open_serial", slow)
    heard = Heard(str(cable.name))
    heard.port.start()
    await heard.until(begun.is_set)
    loop_goes_on.set()
    await heard.until(lambda: bool(answers))
    await heard.port.stop()
    assert answers[0]


async def test_input_is_discarded_while_a_board_settles(cable: Cable) -> None:
    async with opened(cable.name, settle=600.0) as heard:
        received = heard.all_received()
        await heard.is_("open")
        cable.say(b"boot noise\r\n")
        await heard.until(lambda: b"".join(received) == b"boot noise\r\n")
        assert heard.blocks == []
        heard.port._discard_until = 0  # the time to settle is over
        cable.say(b"+1.0\r\n")
        await heard.until(lambda: heard.data == b"+1.0\r\n")


@pytest.mark.parametrize("settle", [0.0, 600.0])
async def test_a_url_without_a_descriptor_is_read_by_a_thread(settle: float) -> None:
    async with opened("loop://", settle=settle) as heard:
        received = heard.all_received()
        await heard.is_("open")
        assert heard.port.write(b"early\r\n")
        if settle:
            await heard.until(lambda: b"".join(received) == b"early\r\n")
            assert heard.data == b""
            heard.port._discard_until = 0  # the time to settle is over
            assert heard.port.write(b"+1.5 mm\r\n")
        await heard.until(lambda: heard.data.endswith(b"\n"))
        assert heard.data == (b"+1.5 mm\r\n" if settle else b"early\r\n")
        assert heard.threads == {threading.get_ident()}
        (reading,) = [one for one in threading.enumerate() if "_read_in_thread" in one.name]
    await asyncio.to_thread(reading.join, PATIENCE)  # it ends by itself
    assert not reading.is_alive()


async def test_nothing_is_heard_after_stop() -> None:
    heard = Heard("loop://")
    heard.port.start()
    await heard.is_("open")
    hand_over, handed = heard.port._from_thread, threading.Event()

    def hand(*what: object) -> None:
        hand_over(*what)  # type: ignore[arg-type]
        handed.set()

    heard.port._from_thread = hand  # type: ignore[method-assign,assignment]
    heard.port.write(b"late")
    assert handed.wait(PATIENCE)  # the loop has it from the thread, and has not run since
    await heard.port.stop()
    await asyncio.sleep(0)  # what was handed over has had its turn
    assert heard.blocks == []


def test_a_thread_that_outlives_the_loop_ends_quietly() -> None:
    async def short() -> Heard:
        heard = Heard("loop://")
        heard.port.start()
        await heard.is_("open")
        return heard  # and never stopped, as after a crash

    threads = set(threading.enumerate())
    heard = asyncio.run(short())
    heard.port.write(b"late")  # which comes back, and nobody is there
    for thread in set(threading.enumerate()) - threads:
        thread.join(PATIENCE)
        assert not thread.is_alive()
    # pytest turns an exception in a thread into a failure


async def test_a_remote_port_is_read_and_its_end_is_seen() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        async with opened(f"socket://127.0.0.1:{server.getsockname()[1]}") as heard:
            server.settimeout(PATIENCE)
            peer, _ = await asyncio.to_thread(server.accept)
            with peer:
                await heard.is_("open")
                peer.sendall(b"+1.25 mm\r\n")
                await heard.until(lambda: heard.data == b"+1.25 mm\r\n")
            await heard.is_("absent")


@pytest.mark.slow
async def test_a_hundred_pulled_cables(cable: Cable, capsys: pytest.CaptureFixture[str]) -> None:
    """Back in 1 s in the median, 3 s at the worst; under 2 % of a core meanwhile."""
    took: list[float] = []
    async with opened(cable.name) as heard:
        await heard.is_("open")
        began, spent = time.monotonic(), time.process_time()
        for turn in range(100):
            cable.say(b"x")
            await asyncio.sleep(0.05)
            cable.pull()
            await asyncio.sleep(0.05 + 0.02 * (turn % 40))
            cable.put()
            at = time.monotonic()
            await heard.until(lambda turn=turn: heard.port.opened >= turn + 2)
            took.append(time.monotonic() - at)
        share = (time.process_time() - spent) / (time.monotonic() - began)
    took.sort()
    with capsys.disabled():
        print(f"\nback after {took[50]:.2f} s median, {took[-1]:.2f} s worst; {share:.2%} of a core")
    assert took[50] <= 1.0 and took[-1] <= 3.0
    assert share < 0.05  # the test's own waiting is most of it


def test_a_framing_that_a_port_refuses_is_said_with_what_to_do() -> None:
    """What the kernel answers to a framing it cannot do is EINVAL (tcsetattr, POSIX)."""
    state, words = open_error("/dev/ttyX0", termios.error(22, "Invalid argument"), "dialout")
    assert state == "absent"
    assert "does not take these settings" in words and "parity7" in words


async def test_a_remote_port_slow_to_close_holds_up_nobody(monkeypatch) -> None:
    """pyserial waits for the other computer when it closes; the other instruments are read on this loop meanwhile."""
    from serial.urlhandler import protocol_loop

    free, closed = threading.Event(), threading.Event()

    def close(port: object) -> None:
        if free.wait(PATIENCE):
            closed.set()

    async with opened("loop://") as heard:
        await heard.is_("open")
        monkeypatch.setattr(protocol_loop.Serial, "close", close)
    free.set()  # here only once the port was let go
    assert await asyncio.to_thread(closed.wait, PATIENCE)


async def test_a_remote_port_that_reads_nothing_is_not_written_to() -> None:
    """pyserial would wait in the writing, five seconds each time, with the loop."""
    heard = Heard("rfc2217://nobody:1")
    ours, other = socket.socketpair()
    with ours, other:
        written: list[bytes] = []
        heard.port._serial = SimpleNamespace(_socket=ours, write=written.append, close=lambda: None)
        assert heard.port.write(b"?\r") and written == [b"?\r"]
        ours.setblocking(False)
        with contextlib.suppress(BlockingIOError):
            while True:
                ours.send(b"x" * 65536)
        assert not heard.port.write(b"?\r") and len(written) == 1
