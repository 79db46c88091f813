"""The daemon's life: log, instruments and socket up, requests answered, down again in
good order. No numpy before it is ready.

Who owns whom; all of them hold the shared state, and none its owner:

    Service              Clients, PanelLink, Tones, RecordingState
      Station            LiveMoveController, ReadingDiagnostics, SweepDetector
        WiredInstruments   Instrument: its port, stamps, outlier filter and health
        CheckController    CheckSession: one check, its procedure and its evaluation
      DeviceSetup        CableSearch or the leaf proof
        PortScanner        PortListener

What happens goes up by the calls that each is given; requests come down by the table in
`request_handlers`, whose handlers alone know the service.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import signal
import time
from collections.abc import Callable
from functools import partial

import msgspec

from bench import __version__
from bench.daemon import queries
from bench.daemon.check_controller import HOW_TO_END
from bench.daemon.clients import Client, Clients, SocketHeld
from bench.daemon.device_setup import DeviceSetup
from bench.daemon.machine import SYNCED, boot_id, notify, watchdog_interval
from bench.daemon.outbox import RecordingState
from bench.daemon.panel import PanelLink
from bench.daemon.port_listener import ListPorts, serial_ports
from bench.daemon.request_handlers import answer_request
from bench.daemon.shared_state import SharedState
from bench.daemon.station import Station
from bench.daemon.tones import BEATS, Tones
from bench.gear import Gear
from bench.log import history, rows
from bench.log.rows import Commit, LogError
from bench.log.startup_history import caution_acknowledgements, live_move_history
from bench.log.writer import LogWriter
from bench.procedure.invalid_request import InvalidRequest
from bench.protocol import (
    FindingNotice,
    Notice,
    SavedNotice,
    Tone,
    Version,
    notice,
)
from bench.render.finding import unread_words
from bench.render.notices import text, with_words
from bench.render.screen import screen_text
from bench.settings.settings_file import Paths, Settings

log = logging.getLogger("sweepgauge")

TICK_S = 0.1  # s
# Polling rounds: from this rate on, in readings a second, they cost less than a wake
# for each reading does. Where a client wants each reading as it comes they begin later,
# since the 5 ms that are promised to it are promised at 100 readings a second.
ROUNDS_FROM_RATE, ROUNDS_FROM_RATE_WATCHED = 40.0, 150.0
ROUNDS_STAY_SHARE = 0.75  # of these rates, above which rounds that go on stay
# readings a second from which the kernel's buffer of 4 kB must not wait for a round
ROUNDS_UP_TO_RATE = 2000.0


class CannotRun(Exception):
    """The daemon cannot start; the message says what is in the way and what to do."""


class Service:
    """list_ports: the serial ports that are listened to while cables are searched."""

    recording: RecordingState

    def __init__(
        self, settings: Settings, paths: Paths, list_ports: ListPorts = serial_ports
    ) -> None:
        self.notes: list[str] = []
        self.notes_told = 0  # so many of them somebody at a screen has seen
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        writer = self._open_log(paths)
        self._left = writer.unfinished
        self.clients = Clients(paths.socket, self._greet, partial(answer_request, self))
        self.shared = SharedState(settings, paths, writer, self.tell)
        self.station = Station(self.shared, self.clients)
        self.recording = RecordingState(self.tell, self.shared.outbox, str(paths.log))
        self.device_setup = DeviceSetup(
            self.shared, self.station.wired, list_ports, self.busy, self.rewire
        )
        self.panel = PanelLink(
            settings.panel,
            self.press,
            self._undo,
            lambda: self.tell(Notice("press", screen_text("too-soon"))),
        )
        self._tones = Tones()

    def _open_log(self, paths: Paths) -> LogWriter:
        try:
            return LogWriter.open(
                paths.log,
                boot_id=boot_id(),
                program=f"sweepgauge {__version__}",
                on_saved=lambda saved: self._on_loop(lambda: self._saved(saved)),
                # it may be in trouble before there is anybody to tell
                on_trouble=lambda words: self._on_loop(
                    lambda: self.recording.trouble(words)
                ),
            )
        except LogError as error:
            raise CannotRun(str(error)) from error

    def _on_loop(self, call: Callable[[], object]) -> None:
        # the loop may be gone while the last commit is told
        with contextlib.suppress(RuntimeError):
            self._loop.call_soon_threadsafe(call)

    # ---- life ------------------------------------------------------------------------

    async def serve(self) -> None:
        """Run until SIGTERM or SIGINT. Raises CannotRun when it cannot begin."""
        for number in (signal.SIGTERM, signal.SIGINT):
            self._loop.add_signal_handler(number, self._stop.set)
        paths, writer = self.shared.paths, self.shared.log
        try:
            await self.clients.start()
        except (SocketHeld, OSError) as error:
            writer.close()
            words = f"the socket {paths.socket} cannot be made: {error}"
            raise CannotRun(words) from error
        try:
            self._take_up()
            self.station.wired.start()
            self.panel.start(self._loop)
            notify(f"READY=1\n{self.recording.status_line()}")
            log.info("ready: socket %s, log %s", paths.socket, paths.log)
            await self._work()
        finally:
            self.panel.panel.stop()
            await self.device_setup.stop()
            await self.station.stop()
            saved = await asyncio.to_thread(writer.close)
            # what could not be saved is answered as such
            self.shared.outbox.trouble(taking=False)
            await self.clients.stop()
            lost = "NOT RECORDED: not everything could be saved"
            log.info("ended; %s", "all is saved" if saved else lost)

    async def _work(self) -> None:
        """Work until the daemon is told to stop, or the tick fails."""
        ticking, *others = map(
            self._loop.create_task,
            (
                self._tick_on(),
                asyncio.to_thread(_load_arithmetic),
                self._look_through(),
                self.shared.climate.run(),
            ),
        )
        ticking.add_done_callback(lambda _: self._stop.set())
        await self._stop.wait()
        notify("STOPPING=1")
        if ticking.done():
            ticking.result()  # its fault ends the daemon, and the service restarts
        for task in (ticking, *others):
            task.cancel()

    def _take_up(self) -> None:
        left, path = self._left, self.shared.paths.log
        words = [*left.words]
        # in the order they were begun, whatever the clock said
        for run in left.runs[:-1]:
            self.shared.log.abandon(run.run, "a later check was begun")
        if left.runs:
            words.append(
                text([self.station.controller.take_up(left.runs[-1], time.monotonic())])
            )
        self.notes += words
        for one in words:
            log.warning("%s", one)
        with contextlib.suppress(Exception):
            self.shared.last = queries.earlier(path)
            self.station.live.past = live_move_history(path)
            now = rows.now(synced=SYNCED.exists())
            past = caution_acknowledgements(path, boot_id(), now)
            self.station.controller.remember(past)

    async def _look_through(self) -> None:
        """Tell which results of the log can no longer be read: now, and not when one is
        wanted."""
        path = self.shared.paths.log
        with contextlib.suppress(LogError):
            if unread := await asyncio.to_thread(history.unread, path):
                self._note(unread_words(unread))

    def _note(self, words: str) -> None:
        self.notes.append(words)
        log.warning("%s", words)
        self.tell(Notice("log", words))

    async def _tick_on(self) -> None:
        interval, due = watchdog_interval(), 0.0
        while True:
            await asyncio.sleep(TICK_S)
            now = time.monotonic()
            self._tick(now)
            if interval is not None and now >= due and not self.station.stalled(now):
                # The daemon is alive while its loop runs and no port waits unread.
                notify("WATCHDOG=1")
                due = now + interval

    def _tick(self, now: float) -> None:
        self.station.tick(now)
        self.shared.log.check_stall()
        self.recording.update()
        self.station.wired.sources.rounds.go(self._in_rounds())
        watched, present = self.clients.watched, bool(self.clients.all)
        self.device_setup.tick(now, watched=watched, present=present)
        for client in list(self.clients.all):
            client.flush(now)
        self._sound(self._tones.tick(now))

    def _in_rounds(self) -> bool:
        """Whether ports may be read in polling rounds: never where the time of a
        reading matters."""
        if self.station.measuring or self.device_setup.what is not None:
            return False
        if any(client.capturing is not None for client in self.clients.all):
            return False
        each = any(one.watching and one.most is None for one in self.clients.all)
        least = ROUNDS_FROM_RATE_WATCHED if each else ROUNDS_FROM_RATE
        if self.station.wired.sources.rounds.going:
            least *= ROUNDS_STAY_SHARE
        rate = sum(one.rate or 0.0 for one in self.station.wired.all)
        return least < rate < ROUNDS_UP_TO_RATE

    # ---- what the log says -----------------------------------------------------------

    def _saved(self, saved: Commit) -> None:
        # another file, or one that was damaged while it was written
        if self.shared.log.unfinished is not self._left:
            self._left = self.shared.log.unfinished
            for words in self._left.about_log:
                self._note(words)
        refused = [ticket for ticket, _ in saved.refused]
        self.shared.outbox.saved(saved.upto, refused)
        for sweep in saved.sweeps:
            self.tell(SavedNotice("sweep", sweep))
        for finding in saved.findings:
            self.tell(SavedNotice("finding", finding))
        for _, why in saved.refused:
            self.recording.refused(why)
        self.recording.update()

    # ---- what requests and the panel ask for -----------------------------------------

    async def rewire(self, settings: Settings) -> None:
        """Use the settings that were just written, and tell all clients how things
        stand."""
        await self.station.rewire(settings)
        self.tell(queries.gear(settings))
        self.tell(queries.kinds(settings))
        self.tell(msgspec.structs.replace(queries.status(self), notes=[]))

    def new_gear(self, gear: Gear) -> None:
        """Use the gear that the user has added to; the wiring stays as it is."""
        shared = self.shared
        shared.settings = msgspec.structs.replace(shared.settings, gear=gear)
        self.tell(queries.gear(shared.settings))

    def busy(self) -> str | None:
        if (run := self.station.run) is not None:
            return f"{run.check.kind} is in progress; {HOW_TO_END}"
        live = self.station.live.move is not None
        return "a move is being made live; end it first" if live else None

    def press(self, now: float | None = None, *, waits: bool = True) -> bool:
        """Enter or the pedal goes to whatever is asked. now: monotonic, s."""
        now = time.monotonic() if now is None else now
        return self.device_setup.press(now) or self.station.press(now, waits=waits)

    def _undo(self) -> None:
        with contextlib.suppress(InvalidRequest):
            undone = self.station.undo(time.monotonic())
            self.shared.outbox.tell(notice("undo", undone))

    # ---- what is told ----------------------------------------------------------------

    def _greet(self, client: Client) -> None:
        program, path = f"sweepgauge {__version__}", str(self.shared.paths.log)
        units = self.shared.settings.units
        client.send(Version(program=program, pid=os.getpid(), log=path, units=units))
        for message in self.recording.greeting():
            client.send(with_words(message, units))

    def tell(self, message: msgspec.Struct) -> None:
        message = with_words(message, self.shared.settings.units)
        if isinstance(message, FindingNotice):
            self.shared.last = queries.shown([message.finding, *self.shared.last])
        self.clients.tell(message)
        self.panel.show(message)
        self._sound(self._tones.tone_of(message))
        beat = BEATS.get(message.code) if isinstance(message, Notice) else None
        if beat is not None and self.shared.settings.sound:
            self.panel.tone(beat)

    def _sound(self, tone: Tone | None) -> None:
        if tone is not None and self.shared.settings.sound:
            self.clients.tell(tone)
            self.panel.tone(tone.name)


def _load_arithmetic() -> None:
    """Import the arithmetic that the first check and the first query of the log
    need."""
    from bench.daemon import evaluation_worker
    from bench.log import cut_forecast

    assert evaluation_worker and cut_forecast


def run_daemon(settings: Settings, paths: Paths) -> None:
    """Run until told to stop. Raises CannotRun with one line for the user."""

    async def main() -> None:
        await Service(settings, paths).serve()

    asyncio.run(main())
