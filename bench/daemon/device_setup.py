"""First start: which cable is the indicator and which the travel, and which way they
count; the leaf proof.

The port whose number goes out and comes back is the plunger's; the one that goes far
and stays is the sled's. What is ambiguous is said and asked again; nothing is written
before a press keeps it, so a daemon that is killed meanwhile leaves nothing behind.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from bench.daemon.acquisition import Instrument
from bench.daemon.cable_movements import CableMovements, What
from bench.daemon.cable_settings import (
    Role,
    changes_remark,
    found_remark,
    heard_remark,
    moved_remark,
    not_kept_remark,
    values_of,
    write,
)
from bench.daemon.port_listener import PortListener, wired_cable
from bench.daemon.port_scanner import PortScanner
from bench.daemon.serial_places import Places, short_name
from bench.procedure.leaf_proof import LeafProof, Phase
from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Cables, Learn, Readings, SetupNotice
from bench.settings import edit
from bench.settings.settings_file import SettingsError
from bench.stream.motion import Seen

if TYPE_CHECKING:
    from bench.daemon.service import Service

log = logging.getLogger("sweepgauge")

# s that ports are held on when nobody looks any more: a screen may come back
LINGER = 3.0
IDLE = 20.0  # s without a movement until that is said
STAYED = 6.0  # s that a plunger rests pressed in before the port is doubted
LEAF = 0.10  # mm, where no other is named

ASK = {"indicator": StatusMessage("setup-press"), "travel": StatusMessage("setup-push")}


class DeviceSetup:
    """where: the serial ports that are listened to."""

    def __init__(self, service: Service, where: Places) -> None:
        self._service, self._paths = service, service.paths
        self._tell, self._wired = service.bench.outbox.tell, service.bench.wired
        self.scanner = PortScanner(
            where,
            self._wired.devices,
            lambda one, times, values: self._take(one.place.name, times, values),
        )
        self.what: What | None = None
        self.said: SetupNotice | None = None
        self._cables: Cables | None = None
        self._left = False  # the person does not want to be asked by itself any more
        self._wanted = 0.0  # monotonic s when the cables were last of use
        self._moves = CableMovements()
        self._moved_at = 0.0
        self._seen: tuple[str, float] | None = None  # port, signed mm
        self._keeping: asyncio.Task[None] | None = None
        self._stopping: asyncio.Task[None] | None = None
        self._proof: LeafProof | None = None

    # ---- life ------------------------------------------------------------------------

    @property
    def first(self) -> bool:
        """Nothing is wired."""
        return not self._wired.all

    async def stop(self) -> None:
        if self._keeping is not None:
            # a write is not broken off
            await asyncio.gather(self._keeping, return_exceptions=True)
        await self.scanner.stop()

    def tick(self, now: float, *, watched: bool, present: bool) -> None:
        """present: there is a client. watched: one looks at the readings. Ports are
        held on for nobody else."""
        keeping = self._keeping is not None and not self._keeping.done()
        if keeping or (self.what is not None and present) or (self.first and watched):
            self._wanted = now
            stopped = self._stopping is None or self._stopping.done()
            if self.what != "leaf" and not self.scanner.on and stopped:
                self.scanner.start()
        elif now - self._wanted > LINGER:
            self._let_go()
        self.scanner.tick(now)
        asked = self.what is not None or self._left
        if self.first and watched and not asked and self.scanner.looked:
            self._ask("indicator", now)
        if self._proof is not None:
            self._proof.tick(now, self._wired.indicator())
        elif self.what is not None:
            self._look(now)
        self._say_cables(now)

    def _let_go(self) -> None:
        """Whoever wanted it is gone."""
        if self.what is not None:
            self._finish("failed")
        elif self.scanner.on:
            self._stopping = asyncio.get_running_loop().create_task(self.scanner.stop())

    # ---- what clients ask ------------------------------------------------------------

    def start(self, request: Learn, now: float) -> None:
        """Raises InvalidRequest where it cannot be."""
        why = self._service.busy()
        if why is not None:
            raise InvalidRequest(why)
        if request.what != "leaf":
            self._ask(request.what, now)
            return
        self._seen = None
        self._proof = LeafProof(
            LEAF if request.leaf is None else request.leaf,
            self._service.settings,
            self._wired.indicator(),
            self._said_of_leaf,
        )
        self.what = "leaf"
        self._proof.begin()

    def end(self) -> None:
        """The person leaves it."""
        self._left = True
        if self.what is not None:
            self._finish("failed")

    def press(self, now: float) -> bool:
        """True when it answered something that is asked here."""
        if self.what is None or self.said is None or not self.said.enter:
            return False
        if self._keeping is not None and not self._keeping.done():
            return True
        if self.said.phase == "seen":
            self._keeping = asyncio.get_running_loop().create_task(self._keep())
        elif self._proof is not None:
            self._proof.press(now)
        return True

    # ---- what is heard ---------------------------------------------------------------

    def heard(self, message: Readings) -> None:
        """Readings of an instrument that is set up."""
        if self.what is None or (one := self._wired.named(message.instrument)) is None:
            return
        if self._proof is not None and one.role == "indicator":
            self._proof.readings(message)
        elif self._proof is None and one.settings.port:
            self._take(one.settings.port, message.at, message.values)

    def _take(self, port: str, times: list[float], values: list[float]) -> None:
        self._moves.take(self.what, port, times, values)

    def _readable(self) -> dict[str, PortListener | Instrument]:
        return self._wired.readable(self.scanner.tapped.values())

    def _say_cables(self, now: float) -> None:
        if not self.scanner.on:
            if self._cables is not None:
                self._cables = None
                self._tell(Cables([]))
            return
        cables = [one.said(now) for one in self.scanner.tapped.values()]
        cables += [wired_cable(one) for one in self._wired.with_ports()]
        said = Cables(sorted(cables, key=lambda one: one.port), self.first)
        if said != self._cables and self.scanner.looked:
            self._cables = said
            self._tell(said)

    def greet(self, send: Callable[[msgspec.Struct], None]) -> None:
        """To a client that has just come."""
        if self._cables is not None:
            send(self._cables)
        if self.said is not None:
            send(self.said)

    # ---- the cables ------------------------------------------------------------------

    def _ask(self, what: Role, now: float, *before: StatusMessage) -> None:
        self._moves.restart(anew=what != self.what)
        self.what, self._seen, self._moved_at, self._proof = what, None, now, None
        self._say("asking", *before, ASK[what])

    def _look(self, now: float) -> None:
        assert self.said is not None and self.what in ("indicator", "travel")
        what: Role = "indicator" if self.what == "indicator" else "travel"
        lost = self._moves.drop_all_but(self._readable())
        if self._keeping is not None and not self._keeping.done():
            return
        if self._seen is not None:
            if self._seen[0] in lost:
                name = {"name": short_name(self._seen[0])}
                self._ask(what, now, StatusMessage("setup-port-gone", name))
            return
        midway = next((port for port, far in lost.items() if far > 0.02), None)
        if midway is not None:
            name = {"name": short_name(midway)}
            self._ask(what, now, StatusMessage("setup-port-gone-midway", name))
            return
        self._judge(what, self._moves.seen(what, now), now)

    def _judge(self, what: Role, seen: Seen, now: float) -> None:
        if seen.outcome in ("nothing", "moving"):
            if seen.outcome == "moving":
                self._moved_at = now
            elif now - self._moved_at > IDLE:
                self._ask(what, now, heard_remark(self._readable()))
            return
        port, mm = seen.moved[0]
        if seen.outcome == "seen":
            self._found(what, port, mm)
        elif seen.outcome == "little" and what == "travel":
            # what it has gone already counts
            push_on = StatusMessage("setup-push-on")
            self._say("asking", moved_remark(what, seen), push_on)
        elif seen.outcome == "stays" and self._moves.rested(port, now) <= STAYED:
            still = {"name": short_name(port), "far": abs(mm)}
            self._say("asking", StatusMessage("setup-stays", still))
        else:
            self._ask(what, now, moved_remark(what, seen))

    def _found(self, what: Role, port: str, mm: float) -> None:
        self._seen = (port, mm)
        remarks = [found_remark(what, port, mm)]
        try:
            values = self._values(what, port)
            changes = edit.changes(self._paths.settings, what, values)
        except SettingsError as error:
            why = {"why": str(error)}
            self._finish("failed", StatusMessage("setup-nothing-kept", why))
            return
        if self._inches(what, port):
            remarks.append(StatusMessage("setup-inches"))
        other = self._wired.other_role(what, port)
        if other is not None:
            remarks.append(StatusMessage("setup-was-other", {"other": other}))
        if changes:
            remarks.append(changes_remark(self._paths.settings.name, changes))
        grows = str(values["grows"])
        self._say("seen", *remarks, port=port, grows=grows, enter=True, value=abs(mm))

    def _inches(self, what: What, port: str) -> bool:
        """The indicator shows inches, and the file does not say what people see."""
        one = self._readable().get(port)
        inches = what == "indicator" and one is not None and one.unit == "inch"
        return inches and not edit.says(self._paths.settings, None, "units")

    def _values(self, what: Role, port: str) -> dict[str, edit.Value]:
        assert self._seen is not None
        source, shown = self._readable().get(port), self._moves.shown(port)
        other, path = self._wired.other_role(what, port), self._paths.settings
        return values_of(what, port, self._seen[1], source, other, path, shown)

    async def _keep(self) -> None:
        """Into the settings file; then the daemon reads what it says."""
        assert self.what is not None
        what, path = self.what, self._paths.settings
        section: Role = "travel" if what == "travel" else "indicator"
        values: dict[str, edit.Value] = {}
        try:
            if self._proof is not None:
                values = self._proof.cure
            elif self._seen is not None:
                values = self._values(section, self._seen[0])
            other, inches = None, False
            if self._seen is not None:
                other = self._wired.other_role(what, self._seen[0])
                inches = self._inches(what, self._seen[0])
            settings = await asyncio.to_thread(
                write, self._paths, section, values, other, inches
            )
        except Exception as error:
            if not isinstance(error, SettingsError | OSError):
                log.exception("keeping what was learned of the %s", what)
            self._finish("failed", not_kept_remark(error, path, section, values))
            return
        port = self._seen[0] if self._seen is not None else ""
        if port:
            await self.scanner.release(port)
        await self._service.rewire(settings)
        self._note("learned", {"what": what, "values": values})
        if self._proof is not None:
            cured = StatusMessage("setup-cured", {"file": path.name})
            self._proof.cured(settings, cured)
            return
        grows = str(values.get("grows", ""))
        kept = {"file": path.name, "name": short_name(port), "what": what}
        self._finish("kept", StatusMessage("setup-kept", kept), port=port, grows=grows)

    # ---- what is told ----------------------------------------------------------------

    def _said_of_leaf(
        self, phase: Phase, remarks: Sequence[StatusMessage], more: Mapping[str, Any]
    ) -> None:
        proof = self._proof
        assert proof is not None
        if proof.outcome is not None:
            change = more.get("value")
            leaf = {"leaf_mm": proof.leaf, "change_mm": change}
            self._note("leaf", {**leaf, "outcome": proof.outcome})
            proof.outcome = None
        if phase in ("kept", "failed"):
            self._finish(phase, *remarks, **more)
        else:
            self._say(phase, *remarks, **more)

    def _note(self, kind: str, data: Mapping[str, Any]) -> None:
        self._service.log.event(None, kind, data, urgent=True)

    def _say(self, phase: Phase, *remarks: StatusMessage, **more: Any) -> None:
        assert self.what is not None
        said = SetupNotice(self.what, phase, remarks=list(remarks), **more)
        if said != self.said:
            self.said = said
            self._tell(said)

    def _finish(self, phase: Phase, *remarks: StatusMessage, **more: Any) -> None:
        """It is over, one way or the other."""
        self._say(phase, *remarks, on=False, **more)
        self.what = self.said = self._seen = self._proof = None
        self._wanted = time.monotonic()
