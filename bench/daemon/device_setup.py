"""First start: which cable is the indicator and which the travel, and which way they
count; the leaf proof.

The port whose number goes out and comes back is the plunger's; the one that goes far
and stays is the sled's. What is ambiguous is said and asked again; nothing is written
before a press keeps it, so a daemon that is killed meanwhile leaves nothing behind.
"""

from __future__ import annotations

import asyncio
import logging
import os
import time
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Literal

import msgspec

from bench.daemon.acquisition import Instrument
from bench.daemon.discovered import Role, heard_words, values_of
from bench.daemon.port_scanner import (
    Places,
    PortScanner,
    Tapped,
    short_name,
    wired_cable,
)
from bench.procedure.leaf_proof import LeafProof, Phase
from bench.procedure.wrong_use import WrongUse
from bench.protocol import Cables, Learn, LearnSaid, Readings
from bench.settings import edit
from bench.settings.settings_file import Paths, Settings, SettingsError
from bench.stream.motion import PRESSED, PUSHED, Seen, Watcher, pressed, pushed, watcher
from bench.units import length_words

log = logging.getLogger("sweepgauge")

What = Literal["indicator", "travel", "leaf"]
# s that ports are held on when nobody looks any more: a screen may come back
LINGER = 3.0
IDLE = 20.0  # s without a movement until that is said
LEAF = 0.10  # mm, where no other is named
MOST_VALUES = 400  # different values kept of a cable, to tell its count from

ASK = {
    "indicator": "Press the indicator's plunger in, some 2 mm, and let it out again.",
    "travel": "Push the sled AWAY from you, 50 mm or more, and leave it there.",
}


class DeviceSetup:
    """`wired`: the instruments that the daemon reads. `rewire`: others from now on.
    `busy`: why not now, or None."""

    def __init__(
        self,
        *,
        tell: Callable[[msgspec.Struct], None],
        note: Callable[[str, Mapping[str, Any]], object],
        settings: Callable[[], Settings],
        paths: Paths,
        wired: Callable[[], list[Instrument]],
        rewire: Callable[[Settings], Awaitable[None]],
        busy: Callable[[], str | None],
        where: Places,
    ) -> None:
        self._tell, self._note, self._settings, self._paths = (
            tell,
            note,
            settings,
            paths,
        )
        self._wired, self._rewire, self._busy = wired, rewire, busy
        self.scout = PortScanner(
            where,
            self._held,
            lambda one, times, values: self._take(one.place.name, times, values),
        )
        self.what: What | None = None
        self.said: LearnSaid | None = None
        self._cables: Cables | None = None
        self._left = False  # the person does not want to be asked by itself any more
        self._wanted = 0.0  # monotonic s when the cables were last of use
        self._watchers: dict[str, Watcher] = {}
        self._shown: dict[str, set[float]] = {}
        self._moved_at = 0.0
        self._seen: tuple[str, float] | None = None  # port, signed mm
        self._keeping: asyncio.Task[None] | None = None
        self._stopping: asyncio.Task[None] | None = None
        self._proof: LeafProof | None = None

    # ---- life ------------------------------------------------------------------------

    @property
    def first(self) -> bool:
        """Nothing is wired."""
        return not self._wired()

    async def stop(self) -> None:
        if self._keeping is not None:
            # a write is not broken off
            await asyncio.gather(self._keeping, return_exceptions=True)
        await self.scout.stop()

    def tick(self, now: float, *, watched: bool, present: bool) -> None:
        """present: there is a client. watched: one looks at the readings. Ports are
        held on for nobody else."""
        keeping = self._keeping is not None and not self._keeping.done()
        if keeping or (self.what is not None and present) or (self.first and watched):
            self._wanted = now
            if (
                self.what != "leaf"
                and not self.scout.on
                and (self._stopping is None or self._stopping.done())
            ):
                self.scout.start()
        elif now - self._wanted > LINGER and self.what is not None:
            self._finish("failed", "")  # whoever wanted it is gone
        elif now - self._wanted > LINGER and self.scout.on:
            self._stopping = asyncio.get_running_loop().create_task(self.scout.stop())
        self.scout.tick(now)
        if (
            self.first
            and watched
            and self.what is None
            and not self._left
            and self.scout.looked
        ):
            self._ask("indicator", now)
        if self._proof is not None:
            self._proof.tick(now, self._indicator())
        elif self.what is not None:
            self._look(now)
        self._say_cables(now)

    # ---- what clients ask ------------------------------------------------------------

    def start(self, request: Learn, now: float) -> None:
        """Raises WrongUse where it cannot be."""
        why = self._busy()
        if why is not None:
            raise WrongUse(why)
        if request.what != "leaf":
            self._ask(request.what, now)
            return
        self._seen = None
        self._proof = LeafProof(
            LEAF if request.leaf is None else request.leaf,
            self._settings(),
            self._indicator(),
            self._said_of_leaf,
        )
        self.what = "leaf"
        self._proof.begin()

    def end(self) -> None:
        """The person leaves it."""
        self._left = True
        if self.what is not None:
            self._finish("failed", "")

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

    def _held(self) -> set[str]:
        ports = [one.settings.port for one in self._wired() if one.settings.port]
        return {port if "://" in port else os.path.realpath(port) for port in ports}

    def _named(self, name: str) -> Instrument | None:
        return next((one for one in self._wired() if one.name == name), None)

    def _indicator(self) -> Instrument | None:
        return next((one for one in self._wired() if one.role == "indicator"), None)

    def heard(self, message: Readings) -> None:
        """Readings of an instrument that is set up."""
        if self.what is None or (one := self._named(message.instrument)) is None:
            return
        if self._proof is not None and one.role == "indicator":
            self._proof.readings(message)
        elif self._proof is None and one.settings.port:
            self._take(one.settings.port, message.at, message.values)

    def _take(self, port: str, times: list[float], values: list[float]) -> None:
        shown = self._shown.setdefault(port, set())
        if len(shown) < MOST_VALUES:
            shown.update(values)
        if self.what in ("indicator", "travel"):
            if port not in self._watchers:
                self._watchers[port] = watcher(
                    "indicator" if self.what == "indicator" else "travel"
                )
            self._watchers[port].take(times, values)

    def _here(self) -> dict[str, Tapped | Instrument]:
        """By port what can be heard at this moment."""
        out: dict[str, Tapped | Instrument] = {
            one.place.name: one
            for one in self.scout.tapped.values()
            if one.proposal is not None and not one.lost
        }
        out |= {
            one.settings.port: one
            for one in self._wired()
            if one.settings.port and one.state != "absent"
        }
        return out

    def _say_cables(self, now: float) -> None:
        if not self.scout.on:
            if self._cables is not None:
                self._cables = None
                self._tell(Cables([]))
            return
        cables = [one.said(now) for one in self.scout.tapped.values()]
        cables += [wired_cable(one) for one in self._wired() if one.settings.port]
        said = Cables(sorted(cables, key=lambda one: one.port), self.first)
        if said != self._cables and self.scout.looked:
            self._cables = said
            self._tell(said)

    def greet(self, send: Callable[[msgspec.Struct], None]) -> None:
        """To a client that has just come."""
        if self._cables is not None:
            send(self._cables)
        if self.said is not None:
            send(self.said)

    # ---- the cables ------------------------------------------------------------------

    def _ask(self, what: Role, now: float, remark: str = "") -> None:
        if what != self.what:
            self._watchers = {}
        self.what, self._seen, self._moved_at, self._proof = what, None, now, None
        for one in self._watchers.values():
            one.begin()
        self._say("asking", f"{remark} {ASK[what]}".strip())

    def _look(self, now: float) -> None:
        assert self.said is not None and self.what in ("indicator", "travel")
        here = self._here()
        what: Role = "indicator" if self.what == "indicator" else "travel"
        gone = [port for port in self._watchers if port not in here]
        was = {port: self._watchers.pop(port) for port in gone}
        if self._keeping is not None and not self._keeping.done():
            return
        if self._seen is not None:
            if self._seen[0] in gone:
                self._ask(
                    what,
                    now,
                    f"{short_name(self._seen[0])} went away; nothing was kept.",
                )
            return
        for port, one in was.items():
            if abs(one.far) > 0.02:
                self._ask(
                    what,
                    now,
                    f"{short_name(port)} went away in the middle of it: plug it in,"
                    " then again.",
                )
                return
        seen = (
            pressed(self._watchers, now)
            if what == "indicator"
            else pushed(self._watchers, now)
        )
        self._judge(what, seen, now)

    def _judge(self, what: Role, seen: Seen, now: float) -> None:
        if seen.outcome in ("nothing", "moving"):
            if seen.outcome == "moving":
                self._moved_at = now
            elif now - self._moved_at > IDLE:
                self._ask(
                    what, now, f"Nothing has moved yet; {heard_words(self._here())}."
                )
            return
        port, mm = seen.moved[0]
        name, far = short_name(port), self._mm(mm)
        if seen.outcome == "seen":
            self._found(what, port, mm)
        elif seen.outcome == "two":
            both = ", ".join(f"{short_name(p)} by {self._mm(m)}" for p, m in seen.moved)
            self._ask(what, now, f"More than one moved: {both}. Move one alone.")
        elif seen.outcome == "far":
            self._ask(
                what,
                now,
                f"{name} moved by {far}: no plunger goes so far. Was it the sled?",
            )
        elif seen.outcome == "little":
            least = length_words(
                PRESSED if what == "indicator" else PUSHED, self._settings().units
            )
            remark = f"{name} moved by {far} only: {least} at the least is wanted."
            if what == "indicator":
                self._ask(what, now, remark)
            else:
                # what it has gone already counts
                self._say("asking", f"{remark} Push on, AWAY from you.")
        elif seen.outcome == "stays":
            self._say(
                "asking",
                f"{name} moved by {far} and stays there: let the plunger out again.",
            )
            if self._watchers[port].rested(now) > 6.0:
                self._ask(
                    what,
                    now,
                    f"{name} moved by {far} and stayed there: no plunger does.",
                )
        else:  # back
            self._ask(
                what,
                now,
                f"{name} moved by {far} and came back: leave the sled where you"
                " pushed it.",
            )

    def _found(self, what: Role, port: str, mm: float) -> None:
        self._seen = (port, mm)
        name, far = short_name(port), self._mm(mm)
        way = "grows" if mm > 0 else "falls"
        if what == "indicator":
            words = (
                f"{name} went {far} and back: it is the indicator; its number {way} as"
                " the plunger goes in."
            )
        else:
            words = (
                f"{name} went {far}: it is the travel; its number {way} as the sled"
                " goes away."
            )
        try:
            values = self._values(what, port)
            changes = edit.changes(self._paths.settings, what, values)
        except SettingsError as error:
            self._finish("failed", f"Nothing is kept: {error}.")
            return
        if self._inches(what, port):
            words += " It shows inches, and so will this."
        other = self._other(what, port)
        if other is not None:
            words += f" It was the {other} until now, which then has no cable."
        if changes:
            words += (
                f" In {self._paths.settings.name}:"
                f" {'; '.join(change.text() for change in changes)}."
            )
        self._say(
            "seen",
            words,
            port=port,
            grows=str(values["grows"]),
            enter=True,
            value=abs(mm),
        )

    def _inches(self, what: What, port: str) -> bool:
        """The indicator shows inches, and the file does not say what people see."""
        one = self._here().get(port)
        inches = what == "indicator" and one is not None and one.unit == "inch"
        return inches and not edit.says(self._paths.settings, None, "units")

    def _other(self, what: What, port: str) -> Role | None:
        for one in self._wired():
            if (
                one.settings.port == port
                and one.role in ("indicator", "travel")
                and one.role != what
            ):
                return "indicator" if one.role == "indicator" else "travel"
        return None

    def _values(self, what: Role, port: str) -> dict[str, edit.Value]:
        assert self._seen is not None
        source, shown = self._here().get(port), self._shown.get(port, set())
        return values_of(
            what,
            port,
            self._seen[1],
            source,
            self._other(what, port),
            self._paths.settings,
            shown,
        )

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
            other = None if self._seen is None else self._other(what, self._seen[0])
            inches = self._seen is not None and self._inches(what, self._seen[0])
            settings = await asyncio.to_thread(
                edit.keep,
                path,
                section,
                values,
                gear_path=self._paths.gear,
                take_from=other,
            )
            if inches:
                settings = await asyncio.to_thread(
                    edit.keep_units, path, "inch", gear_path=self._paths.gear
                )
        except SettingsError as error:
            self._finish("failed", f"Nothing is kept: {error}.")
            return
        except OSError as error:
            by_hand = edit.as_text(section, values)
            why = error.strerror or str(error)
            self._finish(
                "failed",
                f"Nothing is kept: {path} cannot be written: {why}. Mend that and do it"
                f" again, or write there: {by_hand}",
            )
            return
        except Exception as error:
            log.exception("keeping what was learned of the %s", what)
            self._finish("failed", f"Nothing is kept: {type(error).__name__}: {error}.")
            return
        port = self._seen[0] if self._seen is not None else ""
        if port:
            await self.scout.release(port)
        await self._rewire(settings)
        self._note("learned", {"what": what, "values": values})
        if self._proof is not None:
            self._proof.cured(settings, f"Kept in {path.name}. Now prove it again.")
            return
        grows = str(values.get("grows", ""))
        self._finish(
            "kept",
            f"Kept in {path.name}: {short_name(port)} is the {what}.",
            port=port,
            grows=grows,
        )

    # ---- what is told ----------------------------------------------------------------

    def _said_of_leaf(self, phase: Phase, words: str, more: Mapping[str, Any]) -> None:
        proof = self._proof
        assert proof is not None
        if proof.outcome is not None:
            self._note(
                "leaf",
                {
                    "leaf_mm": proof.leaf,
                    "change_mm": more.get("value"),
                    "outcome": proof.outcome,
                },
            )
            proof.outcome = None
        if phase in ("kept", "failed"):
            self._finish(phase, words, **more)
        else:
            self._say(phase, words, **more)

    def _mm(self, mm: float) -> str:
        units = self._settings().units
        return length_words(
            abs(mm),
            units,
            (
                (1 if abs(mm) >= 10 else 2 if abs(mm) >= 0.1 else 3)
                if units == "mm"
                else None
            ),
        )

    def _say(self, phase: Phase, words: str, **more: Any) -> None:
        assert self.what is not None
        said = LearnSaid(self.what, phase, words, **more)
        if said != self.said:
            self.said = said
            self._tell(said)

    def _finish(self, phase: Phase, words: str, **more: Any) -> None:
        """It is over, one way or the other."""
        self._say(phase, words, on=False, **more)
        self.what = self.said = self._seen = self._proof = None
        self._wanted = time.monotonic()
