"""A daemon of the tests' own: a Unix socket that says what a test wants said and keeps what it was asked."""

from __future__ import annotations

import asyncio
import contextlib
import importlib.util
import sys
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from types import SimpleNamespace

import msgspec
import pytest
import turns
from textual import app as textual_app
from textual import pilot as textual_pilot
from textual._context import active_app
from textual.css.stylesheet import Stylesheet

from bench.console.app import make_console
from bench.protocol import (
    CheckKind,
    ChecksReply,
    Done,
    Finding,
    GearReply,
    GetChecks,
    GetGear,
    GetStatus,
    InstrumentState,
    Jig,
    LogList,
    LogRows,
    Move,
    Option,
    Prompt,
    Readings,
    RunState,
    StatusReply,
    Version,
    Watch,
    decode_request,
    encode,
    question,
)

# what several test files share, by a name of its own: tests are imported each by its path
_spec = importlib.util.spec_from_file_location("console_job", Path(__file__).with_name("job.py"))
assert _spec is not None and _spec.loader is not None
sys.modules["console_job"] = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(sys.modules["console_job"])


async def nothing_to_draw(*_seconds: float) -> None:
    """After a key: until the loop has nothing left to do and the screen is drawn, where Textual waits 20 ms twice."""
    app = active_app.get()

    def drawn() -> bool:
        waits = app.screen_stack and app.screen._update_timer._active.is_set()
        return not waits and app._resize_timer is None  # another size is taken up a moment later

    await turns.until(drawn, at_rest=True)


textual_app.wait_for_idle = textual_pilot.wait_for_idle = nothing_to_draw  # type: ignore[assignment]

_parse_rules, _parsed = Stylesheet._parse_rules, {}


def parse_once(sheet: Stylesheet, *source: object, **more: object) -> list:
    """Each style sheet is read once a worker and set of colours, not once an application."""
    key = (source, frozenset(more.items()), frozenset(sheet._variables.items()))
    if key not in _parsed:
        _parsed[key] = _parse_rules(sheet, *source, **more)
    return _parsed[key]


Stylesheet._parse_rules = parse_once  # type: ignore[method-assign]

SLED = Jig(
    "big-sled",
    saw="cabinet",
    pivot_to_blade=250.0,
    pivot_to_screw=500.0,
    pivot_to_stop=480.0,
    widest_board=400.0,
    tolerance=0.05 / 300,
)
CAUTIONS = [
    "Unplug the saw before hands, square or stand come near the blade.",
    "Blade right down, unless it is what the indicator or its magnet touches.",
    "Teeth that stand still cut all the same, and chip: turn the blade by hand, clear of the teeth; insert flush.",
    "Before power comes back: count off the saw what was put on it (magnet, stand, square, clamps, leaves, cable).",
    "Follow the saw's manual, local rules and licensed practice: this measures, it does not make a saw safe.",
]
KINDS = [
    CheckKind(
        "fence-square",
        "Is the sled fence square to the cut?",
        ["jig"],
        [
            Option(
                "placements",
                "choice",
                "Which set-ups to take",
                "both",
                ("both", "handle-left", "handle-right"),
            ),
            Option(
                "hold", "choice", "Against which wall of the slots the sled is held", None, ("left", "right")
            ),
            Option("runner_length", "length", "Length of the runners", low=10.0, high=5000.0),
        ],
        turns_fence=True,
        picture="square-handle-left",
        side="right",
    ),
    CheckKind(
        "slot-blade",
        "Do the slots run with the blade?",
        ["saw"],
        [
            Option("turns", "count", "Sweeps at so many even turns", low=1, high=72, sweeps=True),
            Option(
                "rear_at",
                "length",
                "Place of the spot at the rear",
                low=-5000.0,
                high=5000.0,
                unless="turns",
            ),
            Option("slip", "length", "How far it slips", low=0.0, high=1.0, needs="turns"),
        ],
        swept=False,
        picture="slot-blade",
        side="right",
    ),
    CheckKind("runner-fit", "Do the runners fit?", ["jig"], [], False, "no caliper is set up"),
]
PLACE = Prompt(
    phase="place",
    words="Square on the sled: handle against the sled fence to the LEFT of the arm, arm pointing away from you. "
    "Indicator standing on the RIGHT of the arm, at the height of the leading teeth.",
    enter=True,
    placement="handle-left",
    gather="sweep",
    step=1,
    steps=2,
    taken=0,
    wanted=3,
    side="right",
    mount="standing",
    picture="square-handle-left",
)
PUSH = msgspec.structs.replace(
    PLACE,
    phase="sweep",
    words="Lift the square, wipe it, press it home again. Push the sled, evenly, right through; stop; draw back.",
    enter=False,
    ready=True,
    taken=1,
)


def finding(verdict: str = "outside", value: float = 0.0003, name: str = "f1") -> Finding:
    """A result as the daemon would conclude it; all figures invented."""
    budget = [
        ("between sweeps", "A", 9.0e-6, 4.0, 0.61),
        ("indicator, short span", "B", 5.0e-6, None, 0.22),
        ("plunger's lean", "B", 3.0e-6, None, 0.10),
        ("travel scale", "B", 1.5e-6, None, 0.07),
    ]
    move = Move(
        "left", "away", 0.144, 0.011, [0.10, 0.04], 0.004, "Move the left end away from you by 0.144 mm."
    )
    return msgspec.convert(
        {
            "check": "fence-square",
            "id": name,
            "jig": "big-sled",
            "saw": "cabinet",
            "at": "2026-06-03T10:00:00+02:00",
            "quantities": [
                {
                    **{"name": "fence", "value": value, "unit": "rad", "uncertainty": 2.1e-5},
                    **{"degrees_of_freedom": 11.3, "tolerance": 0.05 / 300, "verdict": verdict},
                    "way": "left end too near you" if value > 0 else "left end too far from you",
                },
                {
                    **{"name": "square", "value": 4e-5, "unit": "rad", "uncertainty": 2e-5},
                    **{"degrees_of_freedom": 11.3, "way": "wider than square"},
                },
            ],
            "verdict": verdict,
            "settle": {"part": "between sweeps", "sweeps": 10} if verdict == "cannot-tell" else None,
            "sweeps": [
                {
                    **{"placement": p, "push": True, "readings": 240, "set_aside": 6},
                    **{"slope": 2.7e-4, "standard_uncertainty": 4e-6},
                }
                for p in ("handle-left", "handle-right")
                for _ in range(3)
            ],
            "budget": [
                dict(
                    zip(
                        ("part", "type", "standard_uncertainty", "degrees_of_freedom", "share"),
                        row,
                        strict=True,
                    )
                )
                for row in budget
            ],
            "move": msgspec.to_builtins(move) if verdict != "inside" else None,
            "remarks": [{"code": "handle-stretch"}],
        },
        Finding,
    )


class Fake:
    """One client at a time is enough; `asked` are its requests, in their order."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.asked: list[msgspec.Struct] = []
        self.run: RunState | None = None
        self.last: list[Finding] = []
        self.past: list[Finding] = []
        self.jigs = [SLED]
        self.kinds = KINDS
        self.instruments = [
            InstrumentState(
                "indicator", "indicator", "open", "indicator reads.", "", 20.0, 0.0, 2.513, grows="pushed-in"
            ),
            InstrumentState("travel", "travel", "open", "travel reads.", "", 20.0, 0.0, 12.25, grows="away"),
        ]
        self.units = "mm"
        self.notes: list[str] = []
        self.told = 0
        self.writers: list[asyncio.StreamWriter] = []
        self._server: asyncio.Server | None = None
        self._numbers = {"indicator": 0, "travel": 0}

    async def start(self) -> None:
        self._server = await asyncio.start_unix_server(self._serve, self.path)

    async def stop(self) -> None:
        if self._server is not None:
            self._server.close()
        for writer in self.writers:
            writer.close()
        self.writers.clear()
        self.path.unlink(missing_ok=True)
        await asyncio.sleep(0)

    def say(self, *messages: msgspec.Struct) -> None:
        for writer in self.writers:
            for message in messages:
                writer.write(encode(message))

    def read(self, name: str, *values: float) -> None:
        first = self._numbers[name]
        self._numbers[name] += len(values)
        self.say(Readings(name, first, [0.0] * len(values), list(values)))

    def gear(self) -> GearReply:
        return GearReply(self.jigs, [], [], [0.04, 0.05, 0.10], self.units)

    def of(self, kind: type) -> list[msgspec.Struct]:
        return [asked for asked in self.asked if isinstance(asked, kind)]

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writers.append(writer)
        writer.write(encode(Version("sweepgauge 0", units=self.units)))
        with contextlib.suppress(ConnectionError, asyncio.CancelledError):
            while line := await reader.readline():
                request = decode_request(line)
                self.asked.append(request)
                self._answer(writer, request)
        if writer in self.writers:
            self.writers.remove(writer)
        writer.close()

    def _answer(self, writer: asyncio.StreamWriter, request: msgspec.Struct) -> None:
        if isinstance(request, GetStatus):
            answer: msgspec.Struct = StatusReply(
                "sweepgauge 0",
                "",
                "recording",
                self.instruments,
                self.run,
                self.last,
                self.notes,
                told=self.told,
            )
        elif isinstance(request, GetGear):
            answer = self.gear()
        elif isinstance(request, GetChecks):
            answer = ChecksReply(self.kinds)
        elif isinstance(request, LogList):
            answer = LogRows(self.past or self.last, {f.id: "made" for f in self.past if f.move})
        elif isinstance(request, Watch):
            answer = Done("watching")
        else:
            answer = Done("taken")
        writer.write(encode(answer))


async def until(pilot, met: Callable[[str], bool], seconds: float = 60.0) -> str:
    return await sys.modules["console_job"].drawn(pilot.app, met, seconds)


def running(ask: Prompt, **more) -> RunState:
    return RunState("r1", "fence-square", "big-sled", "cabinet", ask, "Is the sled's fence square?", **more)


@contextlib.asynccontextmanager
async def screen(fake, *, size=(80, 24), look="shop"):
    app = make_console(fake.path, theme=look)
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda t: bool(t.strip()) and app.view.status_known)
        fake.read("indicator", 2.513)
        fake.read("travel", 12.25)
        await pilot.pause()
        yield app, pilot


def inside(app, size) -> str:
    """The sheet is exactly the screen, nothing hangs over; its text."""
    lines = sys.modules["console_job"].rows(app)
    assert len(lines) == size[1]
    assert all(len(line) == size[0] for line in lines)
    return "\n".join(lines)


@pytest.fixture(autouse=True)
def quick_hands(monkeypatch) -> None:
    """A test answers as soon as it sees what is asked, which no hand can."""
    monkeypatch.setattr(question, "HAND_S", 0.0)


@pytest.fixture
async def fake(tmp_path: Path) -> AsyncIterator[Fake]:
    one = Fake(tmp_path / "socket")
    await one.start()
    yield one
    await one.stop()


@pytest.fixture
def scenes() -> SimpleNamespace:
    """What the tests of the screen share: made-up asks and results, and how to look at the screen."""
    return SimpleNamespace(
        place=PLACE,
        push=PUSH,
        cautions=CAUTIONS,
        sled=SLED,
        kinds=KINDS,
        question=KINDS[0].question,
        finding=finding,
        rows=sys.modules["console_job"].rows,
        until=until,
        running=running,
        screen=screen,
        inside=inside,
        fake=Fake,
    )
