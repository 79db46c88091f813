"""First start: which cable is the indicator and which the travel, and which way they
count; the leaf proof.

Nothing is written before a press keeps it, so a daemon that is killed meanwhile leaves
nothing behind.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Literal

from bench.daemon.acquisition import Instrument
from bench.daemon.cable_search import CableSearch, FoundCable, Role
from bench.daemon.outbox import Send
from bench.daemon.port_listener import ListPorts, PortListener, short_name, wired_cable
from bench.daemon.port_scanner import PortScanner
from bench.daemon.shared_state import SharedState
from bench.daemon.wired_instruments import WiredInstruments
from bench.procedure.invalid_request import InvalidRequest
from bench.procedure.leaf_proof import LeafProof
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import Cables, Learn, Readings, SetupNotice, SetupPhase
from bench.settings import editor
from bench.settings.settings_file import Settings, SettingsError

log = logging.getLogger("sweepgauge")

# s that ports are held on when nobody looks any more: a screen may come back
LINGER_S = 3.0
PROOF_LEAF_MM = 0.10  # mm, where no other is named


class DeviceSetup:
    """Sets up instruments by a search for their cables and by the leaf proof.
    list_ports: the serial ports to listen to. busy: why nothing can be set up now.
    rewire: has the daemon read by other settings.

    what: is set up now, by a search for its cable or by the leaf proof. notice: the
    latest of that.
    """

    def __init__(
        self,
        shared: SharedState,
        wired: WiredInstruments,
        list_ports: ListPorts,
        busy: Callable[[], str | None],
        rewire: Callable[[Settings], Awaitable[None]],
    ) -> None:
        self._shared, self._wired = shared, wired
        self._busy, self._rewire = busy, rewire
        self.scanner = PortScanner(list_ports, wired.devices, self._on_listener)
        self.notice: SetupNotice | None = None
        self._cables: Cables | None = None
        self._left = False  # the person does not want to be asked by itself any more
        self._wanted = 0.0  # monotonic s when the cables were last of use
        self._keeping: asyncio.Task[None] | None = None
        self._stopping: asyncio.Task[None] | None = None
        self._search: CableSearch | None = None
        self._proof: LeafProof | None = None

    # ---- life ------------------------------------------------------------------------

    @property
    def what(self) -> Role | Literal["leaf"] | None:
        if self._proof is not None:
            return "leaf"
        return self._search.what if self._search is not None else None

    @property
    def _keeps(self) -> bool:
        return self._keeping is not None and not self._keeping.done()

    async def stop(self) -> None:
        if self._keeping is not None:
            # a write is not broken off
            await asyncio.gather(self._keeping, return_exceptions=True)
        await self.scanner.stop()

    def tick(self, now: float, *, watched: bool, present: bool) -> None:
        """present: there is a client. watched: one looks at the readings. Ports are
        held on for nobody else."""
        first = not self._wired.all
        if self._keeps or (self.what and present) or (first and watched):
            self._wanted = now
            stopped = self._stopping is None or self._stopping.done()
            if self._proof is None and stopped:
                self.scanner.start()
        elif now - self._wanted > LINGER_S:
            self._let_go()
        self.scanner.tick(now)
        asked = self.what is not None or self._left
        if first and watched and not asked and self.scanner.looked:
            self._begin_search("indicator", now)
        if self._proof is not None:
            self._proof.tick(now, self._wired.named("indicator"))
        elif self._search is not None and not self._keeps:
            self._search.tick(now)
        self._say_cables(now)

    def _let_go(self) -> None:
        """End the setup or the listening since no client wants it any more."""
        if self.what is not None:
            self._finish("failed")
        elif self.scanner.on:
            self._stopping = asyncio.get_running_loop().create_task(self.scanner.stop())

    # ---- what clients ask ------------------------------------------------------------

    def start(self, request: Learn, now: float) -> None:
        """Raises InvalidRequest where it cannot be."""
        if (why := self._busy()) is not None:
            raise InvalidRequest(why)
        if request.what != "leaf":
            self._begin_search(request.what, now)
            return
        leaf = PROOF_LEAF_MM if request.leaf is None else request.leaf
        indicator, settings = self._wired.named("indicator"), self._shared.settings
        self._proof = LeafProof(leaf, settings, indicator, self._on_step)
        self._search, self._wired.on_readings = None, self._on_instrument
        self._proof.begin()

    def _begin_search(self, what: Role, now: float) -> None:
        if self._search is None or self._search.what != what:
            file, role_of = self._shared.paths.settings, self._wired.other_role
            self._search = CableSearch(
                what, file, self._readable, role_of, self._on_step
            )
        self._proof, self._wired.on_readings = None, self._on_instrument
        self._search.begin(now)

    def end(self) -> None:
        """End the setup since the person leaves it."""
        self._left = True
        if self.what is not None:
            self._finish("failed")

    def press(self, now: float) -> bool:
        """True when it answered something that is asked here."""
        if self.what is None or self.notice is None or not self.notice.enter:
            return False
        if self._keeps:
            return True
        if self.notice.phase == "seen":
            self._keeping = asyncio.get_running_loop().create_task(self._keep())
        elif self._proof is not None:
            self._proof.press(now)
        return True

    # ---- what is heard ---------------------------------------------------------------

    def _on_instrument(self, message: Readings) -> None:
        """Called with the readings of an instrument that is set up."""
        one = self._wired.named(message.instrument)
        if self._proof is not None and message.instrument == "indicator":
            self._proof.readings(message)
        elif self._search is not None and one is not None and one.settings.port:
            self._search.readings(one.settings.port, message.at, message.values)

    def _on_listener(
        self, one: PortListener, times: list[float], values: list[float]
    ) -> None:
        if self._search is not None:
            self._search.readings(one.port.name, times, values)

    def _readable(self) -> dict[str, PortListener | Instrument]:
        """The instruments, wired or listened to, that can be read at this moment, by
        port."""
        heard: dict[str, PortListener | Instrument] = {
            one.port.name: one
            for one in self.scanner.listeners.values()
            if one.proposal is not None and not one.lost
        }
        wired = [one for one in self._wired.with_ports() if one.state != "absent"]
        return heard | {one.settings.port: one for one in wired}

    def _say_cables(self, now: float) -> None:
        cables: Cables | None = None
        if self.scanner.on:
            if not self.scanner.looked:
                return
            heard = [one.cable(now) for one in self.scanner.listeners.values()]
            heard += [wired_cable(one) for one in self._wired.with_ports()]
            by_port = sorted(heard, key=lambda one: one.port)
            cables = Cables(by_port, first=not self._wired.all)
        if cables != self._cables:
            self._cables = cables
            self._shared.outbox.tell(cables or Cables([]))

    def greet(self, send: Send) -> None:
        """Send a client that has just come the cables and the state of the setup."""
        for one in (self._cables, self.notice):
            if one is not None:
                send(one)

    # ---- what is kept ----------------------------------------------------------------

    async def _keep(self) -> None:
        """Write what was found into the settings file; then the daemon reads by it."""
        what, path, proof = self.what, self._shared.paths.settings, self._proof
        found = self._search.found if self._search is not None else None
        if found is None:
            found = FoundCable("", proof.cure if proof is not None else {}, None, False)
        section: Role = "travel" if what == "travel" else "indicator"
        try:
            settings = await asyncio.to_thread(self._write, section, found)
        except Exception as error:
            if not isinstance(error, SettingsError | OSError):
                log.exception("keeping what was learned of the %s", what)
            self._finish("failed", self._not_kept(error, section, found.values))
            return
        if found.port:
            await self.scanner.release(found.port)
        await self._rewire(settings)
        self._note("learned", {"what": what, "values": found.values})
        if proof is not None:
            proof.cured(settings, status("setup-cured", file=path.name))
            return
        grows = str(found.values.get("grows", ""))
        name = short_name(found.port)
        remark = status("setup-kept", file=path.name, name=name, what=what)
        self._finish("kept", remark, port=found.port, grows=grows)

    def _write(self, section: Role, found: FoundCable) -> Settings:
        """Raises SettingsError and OSError."""
        file, gear = self._shared.paths.settings, self._shared.paths.gear
        settings = editor.write_section(
            file, section, found.values, gear_path=gear, take_from=found.was
        )
        if found.inches:
            return editor.write_setting(file, "units", "inch", gear_path=gear)
        return settings

    def _not_kept(
        self, error: Exception, section: Role, values: Mapping[str, editor.Value]
    ) -> StatusMessage:
        """The message why nothing was written, and what to do about it."""
        if isinstance(error, OSError):
            why, by_hand = (
                error.strerror or str(error),
                editor.section_text(section, values),
            )
            path = str(self._shared.paths.settings)
            return status("setup-not-writable", path=path, why=why, by_hand=by_hand)
        fault = "" if isinstance(error, SettingsError) else f"{type(error).__name__}: "
        return status("setup-nothing-kept", why=f"{fault}{error}")

    def _note(self, kind: str, data: Mapping[str, Any]) -> None:
        self._shared.log.event(None, kind, data, urgent=True)

    # ---- what is told ----------------------------------------------------------------

    def _on_step(self, phase: SetupPhase, *remarks: StatusMessage, **more: Any) -> None:
        """Called by the search or the proof with each step of its conversation."""
        proof = self._proof
        if proof is not None and proof.outcome is not None:
            leaf = {"leaf_mm": proof.leaf, "change_mm": more.get("value")}
            self._note("leaf", {**leaf, "outcome": proof.outcome})
            proof.outcome = None
        if phase in ("kept", "failed"):
            self._finish(phase, *remarks, **more)
        else:
            self._say(phase, *remarks, **more)

    def _say(self, phase: SetupPhase, *remarks: StatusMessage, **more: Any) -> None:
        assert self.what is not None
        notice = SetupNotice(self.what, phase, remarks=list(remarks), **more)
        if notice != self.notice:
            self.notice = notice
            self._shared.outbox.tell(notice)

    def _finish(self, phase: SetupPhase, *remarks: StatusMessage, **more: Any) -> None:
        """End the search or the proof, whatever came of it."""
        self._say(phase, *remarks, on=False, **more)
        self.notice = self._search = self._proof = self._wired.on_readings = None
        self._wanted = time.monotonic()
