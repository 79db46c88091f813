"""The daemon's life: log, instruments and socket up, requests answered, down again in
good order. No numpy before it is ready."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import signal
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import msgspec

from bench import __version__
from bench.checks.model import EvidenceGear, Known
from bench.daemon import status_requests
from bench.daemon.clients import Client, Clients, SocketHeld
from bench.daemon.device_setup import DeviceSetup
from bench.daemon.log_requests import LAST
from bench.daemon.mark_beat import MarkBeat
from bench.daemon.notify import notify, watchdog_interval
from bench.daemon.panel import PanelLink
from bench.daemon.recording_state import RecordingState
from bench.daemon.request_handlers import RequestHandlers
from bench.daemon.serial_places import Places, places
from bench.daemon.shop_air import ShopAir
from bench.daemon.station import Station
from bench.daemon.tones import Tones
from bench.daemon.wall_clock import SYNCED
from bench.finding import Finding
from bench.gear import Gear
from bench.log import history, rows
from bench.log.remembered import acknowledged, live_move_history
from bench.log.rows import Commit, LogError
from bench.log.writer import LogWriter
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Concluded, Notice, PromptChanged, Tone, Version, notice
from bench.protocol import Saved as SavedSaid
from bench.render.finding import unread_words
from bench.render.notices import text, with_words
from bench.settings.settings_file import Paths, Settings
from hw.climate import read_climate

log = logging.getLogger("sweepgauge")

TICK = 0.1  # s
WORTH_IT = 40.0  # readings a second; more wakes than that cost more than rounds do
AS_THEY_COME = 150.0  # the same where a client wants each as it comes
# of these, and rounds go on: what is promised of 5 ms is so at a hundred readings a
# second
STAYS = 0.75
# readings a second from which what the kernel keeps (4 kB) must not wait for a round
HURRIES = 2000.0


class CannotRun(Exception):
    """The daemon cannot start; the message says what is in the way and what to do."""


class Service:
    """`where`: the serial ports that are listened to while cables are looked for."""

    recording: RecordingState

    def __init__(
        self, settings: Settings, paths: Paths, where: Places = places
    ) -> None:
        self.settings = settings
        self.paths = paths
        self.notes: list[str] = []
        self.notes_told = 0  # so many of them somebody at a screen has seen
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        self.last: list[Finding] = []
        try:
            self.log = LogWriter.open(
                paths.log,
                boot_id=_boot_id(),
                program=f"sweepgauge {__version__}",
                on_saved=lambda saved: self._on_loop(lambda: self._saved(saved)),
                # it may be in trouble before there is anybody to tell
                on_trouble=lambda words: self._on_loop(
                    lambda: self.recording.trouble(words)
                ),
            )
        except LogError as error:
            raise CannotRun(str(error)) from error
        answer = RequestHandlers(self).answer
        self.clients = Clients(paths.socket, self._greet, answer)
        self.bench = Station(settings, self.log, self.tell, self.clients, self._known)
        self.recording = RecordingState(self.tell, self.bench.outbox, str(paths.log))
        self.beat = MarkBeat(
            self.tell, self._beep, lambda now: self.bench.press(now, waits=False)
        )
        self.bench.checking.find = lambda name: next(
            (f for f in self.last if f.id == name), None
        )
        self.air = ShopAir(self.log, read_climate)
        self.bench.checking.air = self.air
        self.learner = DeviceSetup(self, where)
        self.bench.setup = self.learner
        self.panel = PanelLink(settings.panel, self._pedal, self._pedal_long)
        self._tones = Tones()

    def _on_loop(self, call: Callable[[], object]) -> None:
        # the loop may be gone while the last commit is told
        with contextlib.suppress(RuntimeError):
            self._loop.call_soon_threadsafe(call)

    # ---- life ------------------------------------------------------------------------

    async def serve(self) -> None:
        """Run until SIGTERM or SIGINT. Raises CannotRun when it cannot begin."""
        for number in (signal.SIGTERM, signal.SIGINT):
            self._loop.add_signal_handler(number, self._stop.set)
        try:
            await self.clients.start()
        except (SocketHeld, OSError) as error:
            self.log.close()
            raise CannotRun(
                f"the socket {self.paths.socket} cannot be made: {error}"
            ) from error
        try:
            self._take_up()
            self.bench.start()
            self.panel.start(self._loop)
            notify(f"READY=1\n{self.recording.status_line()}")
            log.info("ready: socket %s, log %s", self.paths.socket, self.paths.log)
            ticking = self._loop.create_task(self._tick_on())
            loading = self._loop.create_task(asyncio.to_thread(_load_arithmetic))
            looking = self._loop.create_task(self._look_through())
            airing = self._loop.create_task(self.air.go_on())
            ticking.add_done_callback(lambda _: self._stop.set())
            await self._stop.wait()
            notify("STOPPING=1")
            if ticking.done():
                ticking.result()  # its fault ends the daemon, and the service restarts
            for task in (ticking, loading, looking, airing):
                task.cancel()
        finally:
            self.panel.stop()
            await self.learner.stop()
            await self.bench.stop()
            saved = await asyncio.to_thread(self.log.close)
            # what could not be saved is answered as such
            self.bench.outbox.trouble(taking=False)
            await self.clients.stop()
            lost = "NOT RECORDED: not everything could be saved"
            log.info("ended; %s", "all is saved" if saved else lost)

    def _take_up(self) -> None:
        left = self._left = self.log.unfinished
        self.notes.extend(left.words)
        for words in left.words:
            log.warning("%s", words)
        now = time.monotonic()
        # in the order they were begun, whatever the clock said
        for run in left.runs[:-1]:
            self.log.abandon(run.run, "a later check was begun")
        if left.runs:
            words = text([self.bench.checking.take_up(left.runs[-1], now)])
            self.notes.append(words)
            log.warning("%s", words)
        with contextlib.suppress(Exception):
            self.last = history.latest(self.paths.log, LAST)
            self.bench.live.past = live_move_history(self.paths.log)
            stamp = rows.now(synced=SYNCED.exists())
            past = acknowledged(self.paths.log, _boot_id(), stamp)
            self.bench.checking.remember(past)

    async def _look_through(self) -> None:
        """Whether each result of the log can still be read: said now, and not when one
        is wanted."""
        with contextlib.suppress(LogError):
            if unread := await asyncio.to_thread(history.unread, self.paths.log):
                self._note(unread_words(unread))

    def _note(self, words: str) -> None:
        self.notes.append(words)
        log.warning("%s", words)
        self.tell(Notice("log", words))

    async def _tick_on(self) -> None:
        interval, due = watchdog_interval(), 0.0
        while True:
            await asyncio.sleep(TICK)
            now = time.monotonic()
            self.bench.tick(now)
            self.log.look()
            self.recording.look()
            self.bench.wired.sources.rounds.go(self._in_rounds())
            watched, present = self.clients.watched, bool(self.clients.all)
            self.learner.tick(now, watched=watched, present=present)
            for client in list(self.clients.all):
                client.flush(now)
            self.beat.tick(self.bench.run, now)
            self._sound(self._tones.tick(now))
            if interval is not None and not self.bench.stalled(now) and now >= due:
                # alive is who reads: the loop that this runs on, and each reader by
                # what it leaves unread
                notify("WATCHDOG=1")
                due = now + interval

    def _in_rounds(self) -> bool:
        """Whether the ports may be looked at now and then: never where it matters when
        a reading came."""
        if self.bench.measuring or self.learner.what is not None:
            return False
        if any(client.capturing is not None for client in self.clients.all):
            return False
        each = any(one.watching and one.most is None for one in self.clients.all)
        least = AS_THEY_COME if each else WORTH_IT
        if self.bench.wired.sources.rounds.going:
            least *= STAYS
        return least < sum(one.rate or 0.0 for one in self.bench.instruments) < HURRIES

    # ---- what the log says -----------------------------------------------------------

    def _saved(self, saved: Commit) -> None:
        # another file, or one that was damaged while it was written
        if self.log.unfinished is not self._left:
            self._left = self.log.unfinished
            for words in self._left.about_log:
                self._note(words)
        self.bench.outbox.saved(saved.upto, [ticket for ticket, _ in saved.refused])
        for sweep in saved.sweeps:
            self.tell(SavedSaid("sweep", sweep))
        for finding in saved.findings:
            self.tell(SavedSaid("finding", finding))
        for _, why in saved.refused:
            self.recording.refused(why)
        self.recording.look()

    def _known(
        self, gear: EvidenceGear, kind: str, options: Mapping[str, Any]
    ) -> Known:
        try:
            wired = self.settings.indicator
            port = None if wired is None else wired.port
            return history.known(self.paths.log, kind, gear, options, instrument=port)
        except Exception:
            # an unreadable history must not cost today's answer
            log.exception("reading what is known from the log")
            return Known()

    async def rewire(self, settings: Settings) -> None:
        """What was learned is in the settings file: read by it from now on, and tell
        everybody how things stand."""
        self.settings = settings
        await self.bench.rewire(settings)
        self.tell(status_requests.gear(self))
        self.tell(status_requests.kinds(self))
        self.tell(msgspec.structs.replace(status_requests.status(self), notes=[]))

    def busy(self) -> str | None:
        run = self.bench.run
        if run is not None:
            end = "finish it, or end it with `sweepgauge abandon`"
            return f"{run.check.kind} is in progress; {end}"
        live = self.bench.live.move is not None
        return "a move is being made live; end it first" if live else None

    def new_gear(self, gear: Gear) -> None:
        """The user added to it; the wiring stays as it is."""
        self.settings = msgspec.structs.replace(self.settings, gear=gear)
        self.bench.settings = self.settings
        self.tell(status_requests.gear(self))

    # ---- what is told ----------------------------------------------------------------

    def _greet(self, client: Client) -> None:
        program, path = f"sweepgauge {__version__}", str(self.paths.log)
        units = self.settings.units
        client.send(Version(program=program, pid=os.getpid(), log=path, units=units))
        for message in self.recording.greeting():
            client.send(with_words(message, self.settings.units))

    def tell(self, message: msgspec.Struct) -> None:
        message = with_words(message, self.settings.units)
        if isinstance(message, Concluded):
            self.last = [message.finding, *self.last][:LAST]
            self.beat.end()
        if isinstance(message, PromptChanged) and message.run is None:
            self.beat.end()
        self.clients.tell(message)
        self.panel.show(message)
        self._sound(self._tones.hear(message))

    def _sound(self, tone: Tone | None) -> None:
        if tone is not None and self.settings.sound:
            self.clients.tell(tone)
            self.panel.tone(tone.name)

    def press(self, now: float, *, waits: bool = True) -> bool:
        """Enter or the pedal goes to whatever is asked."""
        return self.learner.press(now) or self.bench.press(now, waits=waits)

    def _pedal(self) -> None:
        self.press(time.monotonic())

    def _pedal_long(self) -> None:
        with contextlib.suppress(InvalidRequest):
            self.bench.outbox.tell(notice("undo", self.bench.undo(time.monotonic())))

    def _beep(self, pitch: str) -> None:
        if self.settings.sound:
            self.panel.tone(pitch)


def _load_arithmetic() -> None:
    """What the first check and the first question about the log need."""
    from bench.daemon import evaluation_worker
    from bench.log import cut_forecast

    assert evaluation_worker and cut_forecast


def _boot_id() -> str:
    """Tells this run of the machine from the next: times of the monotonic clock hold
    within one."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        return f"unknown-{int(time.time() - time.monotonic())}"


def run_daemon(settings: Settings, paths: Paths) -> None:
    """Run until told to stop. Raises CannotRun with one line for the user."""

    async def main() -> None:
        await Service(settings, paths).serve()

    asyncio.run(main())
