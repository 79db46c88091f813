"""The scenes of the kept screens: what the daemon has said, and which keys were pressed. All figures invented.

A new screen is a function here and a row in `SCENES`; then rebuild, and look.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from types import SimpleNamespace

import msgspec
import pytest

from bench.checks import checks as all_checks
from bench.checks.model import EvidenceGear
from bench.console.app import Console, make_console
from bench.console.first_start import Guide
from bench.console.message_folding import fold
from bench.console.view_model import ViewModel
from bench.finding import BudgetRow, Comparison, Remark
from bench.procedure.prompt import ProcedureState
from bench.procedure.prompt import ask as next_ask
from bench.protocol import (
    Cable,
    Cables,
    ChecksReply,
    Contact,
    FindingNotice,
    FittedPass,
    GearReply,
    InstrumentState,
    LiveMoveNotice,
    LogRows,
    Notice,
    PassNotice,
    Points,
    Position,
    Prompt,
    PromptChanged,
    Quantity,
    Readings,
    SavedNotice,
    SetupNotice,
    StatusMessage,
    StatusReply,
    Version,
)
from bench.render.notices import with_prompt_words

Scene = Callable[[Console, object], None]


def _instruments(**more: object) -> list[InstrumentState]:
    one = InstrumentState(
        "indicator", "indicator", "open", "reads", "/dev/ttyUSB0", 20.0, 0.0, 2.513, grows="pushed-in"
    )
    two = InstrumentState(
        "travel", "travel", "open", "reads", "/dev/ttyUSB1", 20.0, 0.0, 112.25, grows="away"
    )
    return [msgspec.structs.replace(one, **more), two]


def fresh(app: Console, scenes, *, jigs: bool = True, last: tuple = (), **indicator: object) -> None:
    state = app.view
    state.connecting = True
    for message in (
        Version("sweepgauge"),
        GearReply([scenes.sled] if jigs else [], [], [], [0.04, 0.05, 0.10, 0.15]),
        StatusReply("sweepgauge", "", "recording", _instruments(**indicator), None, list(last)),
        ChecksReply(scenes.kinds),
        Readings("indicator", 0, [0.0], [2.513]),
    ):
        fold(state, message)
    if last:
        fold(state, LogRows(list(last), {"f1": "made"} if len(last) > 1 else {}))


def asked(app: Console, scenes, ask: Prompt) -> None:
    fresh(app, scenes)
    fold(
        app.view,
        PromptChanged("r1", "fence-square", "big-sled", ask, saw="cabinet", question=scenes.question),
    )


def _pass(n: int, slope: float = 0.0003) -> tuple[list[float], list[float]]:
    travel = [2.0 * k for k in range(110)]
    return travel, [2.4 + 0.004 * n + slope * s + 0.003 * math.sin(s / 9 + n) for s in travel]


def new(app: Console, scenes) -> None:
    fresh(app, scenes)


def first_start(app: Console, scenes) -> None:
    fresh(app, scenes, jigs=False)


def _bare(app: Console, scenes, *cables: Cable) -> None:
    """Nothing is set up; cables are listened to."""
    state = app.view
    state.connecting = True
    marks = InstrumentState("travel", "travel", "marks", "By marks.")
    for message in (
        Version("sweepgauge"),
        GearReply([], [], [], [], marks=[25.0, 50.0, 75.0, 100.0]),
        StatusReply("sweepgauge", "", "recording", [marks], None, []),
        ChecksReply(scenes.kinds),
        Cables([*cables], True),
    ):
        fold(state, message)
    app.guide.active = True


HEARD = (
    Cable("/dev/a", "UART_bridge_A50285", "reads", "It reads.", 2.513, age=0.0),
    Cable("/dev/b", "UART_bridge_B71131", "reads", "It reads.", 112.25, age=0.0),
    Cable("/dev/c", "serial_cable_3", "silent", "Nothing is sent."),
)


def finding_cable(app: Console, scenes) -> None:
    _bare(app, scenes, *HEARD)
    fold(
        app.view,
        SetupNotice("indicator", "asking", "Press the indicator's plunger well in. Let it out again."),
    )


def no_cable(app: Console, scenes) -> None:
    _bare(app, scenes)
    fold(
        app.view,
        SetupNotice("indicator", "asking", "Press the indicator's plunger well in. Let it out again."),
    )


def cable_seen(app: Console, scenes) -> None:
    words = "UART_bridge_A50285 went 2.00 mm and back: it is the indicator; its number grows as the plunger goes in."
    _bare(app, scenes, *HEARD)
    fold(
        app.view,
        SetupNotice("indicator", "seen", words, port="/dev/a", grows="pushed-in", enter=True),
    )


def leaf_proof(app: Console, scenes) -> None:
    words = "Slip the leaf of 0.10 mm under the tip and let the tip rest on it. Enter when it does."
    fresh(app, scenes, jigs=False)
    app.guide.active = True
    fold(app.view, SetupNotice("leaf", "asking", words, enter=True, leaf=0.10, step=2))


def cables(app: Console, scenes) -> None:
    fresh(app, scenes)


def checks(app: Console, scenes) -> None:
    fresh(app, scenes)


def options(app: Console, scenes) -> None:
    checks(app, scenes)


def cautions(app: Console, scenes) -> None:
    asked(
        app,
        scenes,
        Prompt(phase="cautions", words="Read.", enter=True, steps=2, cautions=scenes.cautions),
    )


def set_up(app: Console, scenes) -> None:
    asked(app, scenes, scenes.place)


def set_up_of(kind: str, step: int = 0) -> Scene:
    """A set-up of a check, drawn and worded as the check itself declares it."""

    def scene(app: Console, scenes) -> None:
        steps = all_checks()[kind].plan({}, EvidenceGear())
        facts = ProcedureState(acknowledged=True, step=step, accepted=[step.repeat for step in steps[:step]])
        fresh(app, scenes)
        ask = with_prompt_words(next_ask((), steps, facts), "mm")
        fold(
            app.view,
            PromptChanged("r1", kind, "big-sled", ask, saw="cabinet", question=all_checks()[kind].question),
        )

    return scene


def working_out(app: Console, scenes) -> None:
    asked(app, scenes, with_prompt_words(Prompt(phase="working-out", step=2, steps=2), "mm"))


def not_recorded(app: Console, scenes) -> None:
    ready(app, scenes)
    app.view.log_state = "not-recorded"


def set_up_again(app: Console, scenes) -> None:
    words = (
        "Turn the square over: handle to the RIGHT of the arm, on the same stretch of the sled fence, arm pointing away "
        "from you. Indicator standing on the LEFT of the arm, at the same height."
    )
    replace = msgspec.structs.replace
    asked(
        app, scenes,
        replace(scenes.place, words=words, placement="handle-right", side="left", step=2, picture="square-handle-right"),
    )  # fmt: skip


def lean(app: Console, scenes) -> None:
    words = "Lean the sled to the left within its play, hold it there, press Enter."
    asked(app, scenes, msgspec.structs.replace(scenes.place, phase="lean", words=words, lean="left"))


def tap(app: Console, scenes) -> None:
    words = (
        "Tap the indicator's post lightly with a finger, twice: the number must come back. Press Enter when it stands "
        "still."
    )
    asked(app, scenes, msgspec.structs.replace(scenes.place, phase="tap", words=words))


def tap_again(app: Console, scenes) -> None:
    """It did not come back; the number at rest is taken anew, with nothing touched."""
    remark = (
        "Tapped, and the number did not come back: it stands 0.020 mm off. Is the magnet on, the foot clean, every "
        "screw of the stand tight? Mend it, then hands off: it is asked again."
    )
    words = "Hands off everything: the number at rest is being taken."
    rest = msgspec.structs.replace(
        scenes.place, phase="tap", words=words, enter=False, waiting=True, remark=remark
    )
    asked(app, scenes, rest)


def ready(app: Console, scenes) -> None:
    asked(app, scenes, scenes.push)
    _kept(app)


def _kept(app: Console) -> None:
    travel, reading = _pass(0)
    counted = [StatusMessage("pass-kept", {"taken": 1, "wanted": 3})]
    kept = PassNotice("a", "handle-left", "kept", True, 1, 3, 110, 3e-4, 218.0, "1 of 3 kept.", counted)
    fold(app.view, kept)
    fold(app.view,
        FittedPass("a", "handle-left", True, travel, [r + 0.05 * (n in (30, 31)) for n, r in enumerate(reading)],
               [30, 31], 3e-4, 2.4)
    )  # fmt: skip


def moving(app: Console, scenes) -> None:
    ready(app, scenes)
    travel, reading = _pass(1)
    fold(app.view, PassNotice("b", "handle-left", "running"))
    fold(app.view, Points("b", travel[:70], reading[:70]))
    fold(
        app.view,
        PromptChanged(
            "r1", "fence-square", "big-sled", msgspec.structs.replace(scenes.push, moving=True), saw="cabinet"
        ),
    )


def refused(app: Console, scenes) -> None:
    remark = "That pass was 90 mm, the longest 220 mm: push right through to the end."
    asked(app, scenes, msgspec.structs.replace(scenes.push, remark=remark))


def mark(app: Console, scenes) -> None:
    words = "Push to the mark at 75 mm, stop, press Enter, hold still."
    asked(
        app,
        scenes,
        msgspec.structs.replace(scenes.push, phase="mark", words=words, enter=True, mark=3, marks=9, at=75.0),
    )


def pulled_cable(app: Console, scenes) -> None:
    moving(app, scenes)
    words = "The indicator's port is gone: plug its cable in again."
    fold(app.view, InstrumentState("indicator", "indicator", "absent", words))


def away(app: Console, scenes) -> None:
    ready(app, scenes)
    app.view.disconnected("The daemon went away.")


def _rip_fence(verdict: str, value: float, way: str) -> Scene:
    """A rip fence right of the blade: judged is the toe, the second quantity."""

    def scene(app: Console, scenes) -> None:
        lean = Quantity("rip-fence", 0.0006, "rad", 4e-5, 8.0, way="rear leans left", over=500.0)
        toe = Quantity("toe", value, "rad", 5e-5, 8.0, 0.08 / 500, verdict, way, over=500.0)  # type: ignore[arg-type]
        one = msgspec.structs.replace(
            scenes.finding(verdict, value, "r1"),
            check="rip-fence", jig=None, quantities=[lean, toe], move=None, remarks=[],
        )  # fmt: skip
        fresh(app, scenes, last=(one,))

    return scene


def _result(verdict: str, value: float) -> Scene:
    def scene(app: Console, scenes) -> None:
        fresh(
            app,
            scenes,
            last=(scenes.finding(verdict, value, "f0"), scenes.finding("inside", 0.00003, "b")),
        )

    return scene


def out(app: Console, scenes) -> None:
    fresh(
        app,
        scenes,
        last=(scenes.finding("outside", 0.0003, "f0"), scenes.finding("inside", 0.00003, "b")),
    )


def wrong_way(app: Console, scenes) -> None:
    """The verifying passes tell what went wrong with the move."""
    fresh(app, scenes, last=(scenes.finding("outside", 0.0003),))
    found = scenes.finding("outside", 0.00061, "f2")
    remarks = [Remark("moved-wrong-way"), *found.remarks]
    leaves = [0.15, 0.10, 0.04]
    move = msgspec.structs.replace(found.move, distance=0.293, leaves=leaves, leaves_left_over=0.003)
    fold(app.view, FindingNotice(None, msgspec.structs.replace(found, remarks=remarks, move=move)))
    app.view.result = app.view.last[0]


def _shaped(app: Console, scenes, quantities: list[Quantity], **more: object) -> None:
    more.setdefault("remarks", [])
    found = msgspec.structs.replace(scenes.finding("outside"), quantities=quantities, move=None, **more)
    if quantities[0].unit == "mm":
        budget = [
            BudgetRow("between sweeps", "A", 0.0021, 6.0, 0.7),
            BudgetRow("resolution", "B", 0.0014, None, 0.3),
        ]
        found = msgspec.structs.replace(found, budget=budget)
    fresh(app, scenes, last=(found,))


def heel(app: Console, scenes) -> None:
    """The blade's rear teeth stand off the cut."""
    way = "rear leans left, away from the rip fence"
    blade = Quantity("blade", 6e-4, "rad", 8e-5, 9.0, 2.5e-4, "outside", way, over=160.0)
    _shaped(app, scenes, [blade], check="slot-blade", jig=None)


def board(app: Console, scenes) -> None:
    """The test board, and whether the sweep agrees with it."""
    fence = Quantity("board", 1.2e-4, "rad", 3e-5, 9.0, 0.05 / 300, "inside", "left end too near you")
    agrees = Comparison("2026-06-01T10:00:00", 1.0e-4, 2.1e-5, 0.5, True)
    _shaped(app, scenes, [fence], check="test-board", comparison=agrees, verdict="inside")


def due_new(app: Console, scenes) -> None:
    """Nothing is found yet; what is due leads."""
    fresh(app, scenes)
    app.view.due = DUE


def _size(name: str, value: float, limit: float | None, way: str | None = None) -> Quantity:
    return Quantity(name, value, "mm", value / 15, 20.0, limit, "outside" if limit else None, way)


def crown(app: Console, scenes) -> None:
    """The face of a sled fence, and where a board meets it."""
    profile = [(20.0 * n - 300.0, 0.08 * math.cos((n - 15) / 10)) for n in range(31)]
    contact = [Contact(-200.0, 100.0, -50.0, 4e-5, 1e-5)]
    straight = _size("minimum-zone", 0.082, 0.05, "crown")
    _shaped(app, scenes, [straight], check="fence-straight", profile=profile, contact=contact)


def binds(app: Console, scenes) -> None:
    positions = [
        Position(
            50.0 * n,
            2e-4,
            None if n == 0 else 0.0 if 4 <= n <= 6 else 0.02 * abs(n - 5),
            0.03 * (4 <= n <= 6),
        )
        for n in range(13)
    ]
    _shaped(app, scenes, [_size("side-play", 0.12, 0.10)], check="runner-fit", positions=positions)


def side_play(app: Console, scenes) -> None:
    play = Quantity("side-play", 0.084, "mm", 0.006, 10.0, band=(0.03, 0.15))
    good = Remark("play-good", values={"binds": 0.03, "loose": 0.15}, severity="act")
    _shaped(app, scenes, [play], check="side-play", verdict=None, remarks=[good])


def leans(app: Console, scenes) -> None:
    fence = Quantity("fence-lean", 0.0013, "rad", 1e-4, 8.0, 0.001, "outside", "top leans toward you")
    blade = Quantity("blade-lean", -4e-4, "rad", 1e-4, 8.0, 0.001, "inside", "top leans to the right")
    _shaped(app, scenes, [fence, blade], check="upright")


def plate(app: Console, scenes) -> None:
    phase = Quantity("phase", 2.1, "rad", 0.02, 5.0, way="largest at 120 degrees of turn")
    quantities = [_size("total", 0.14, 0.05), _size("tilt", 0.13, None), _size("warp", 0.01, None), phase]
    _shaped(app, scenes, quantities, check="plate-wobble")


def moved(app: Console, scenes) -> None:
    fresh(app, scenes, last=(scenes.finding("outside", 0.0003),))
    fold(app.view, SavedNotice("move", "f1"))


def the_move(app: Console, scenes) -> None:
    fresh(app, scenes, last=(scenes.finding(),))


def live_stand(app: Console, scenes) -> None:
    fresh(app, scenes, last=(scenes.finding(),))


def _live(said: LiveMoveNotice) -> Scene:
    def scene(app: Console, scenes) -> None:
        fresh(app, scenes, last=(scenes.finding(),))
        fold(app.view, said)

    return scene


def _go(
    words: str, to_go: float, *, phase: str = "go", way: str = "away", enter: bool = True, **more
) -> LiveMoveNotice:
    said = LiveMoveNotice(
        True, phase, words, enter, "left", way, to_go, moved=0.092, target=0.144, tolerance=0.04
    )  # type: ignore[arg-type]
    return msgspec.structs.replace(said, uncertainty=0.0097, **more)


def past(app: Console, scenes) -> None:
    fresh(app, scenes, last=(scenes.finding(), scenes.finding("inside", 0.00003, "b")))


def limits(app: Console, scenes) -> None:
    fresh(app, scenes, last=(scenes.finding(),))


def sled(app: Console, scenes) -> None:
    fresh(app, scenes)


def all_keys(app: Console, scenes) -> None:
    fresh(app, scenes)


def sure(app: Console, scenes) -> None:
    ready(app, scenes)


def told(app: Console, scenes) -> None:
    ready(app, scenes)
    fold(
        app.view,
        Notice("stand", "The stand was bumped: 0.20 mm at once, at rest. Set up again.", severity="warning"),
    )


# keys that are pressed when all has been said
KEYS: dict[str, tuple[str, ...]] = {
    "cables": ("8",),
    "sleds": ("7",),
    "checks": ("1",),
    "options": ("1", "1"),
    "move": ("4",),
    "live-stand": ("5",),
    "limits": ("3",),
    "past": ("6",),
    "past-result": ("6", "enter"),
    "sled": ("7", "2", "4", *"250", "enter", "5", *"500", "enter", "6", *"480", "enter"),
    "value": ("7", "2", "4", *"250"),
    "keys": ("slash",),
    "sure": ("9",),
    "drawing": ("8",),
    "due-page": ("9",),
    "drift": ("9", "3"),
    "cut": ("9", "4"),
    "shop": ("9", "5"),
    "event": ("9", "6"),
    "symptoms": ("full_stop",),
    "symptom": ("full_stop", "1"),
}


ROW = {"check": "fence-square", "jig": "big-sled", "saw": None, "last": "2026-02-01", "minutes": 2}
DUE = {
    "at": "2026-03-01",
    "due": [
        {**ROW, "state": "now", "by": "2026-03-01", "reason": "step", "quick": False},
        {
            **ROW,
            "check": "slot-blade",
            "state": "later",
            "by": "2026-05-01",
            "reason": "interval",
            "quick": False,
        },
    ],
    "left_out": [],
}


def _charted() -> dict[str, object]:
    """Six results in a year: a step after the third, and a move after the fifth."""

    def result(month: int, value: float, alarm: str | None = None) -> dict[str, object]:
        return {
            **{"id": f"r{month}", "at": f"2025-{month:02}-03", "value": value, "uncertainty": 2e-5, "z": 0.0},
            **{
                "ewma": 0.0,
                "alarm": alarm,
                "temperature": None,
                "humidity": None,
                "corrected": value,
                "runs": [],
            },
        }

    trend = {"trend": None, "mean": 2e-5, "sigma": 1e-5, "detectable": 5e-5}
    before = {"from": "2025-02-03", "reason": "first", "after_move_of": None, **trend}
    after = {"from": "2025-11-20", "reason": "moved", "after_move_of": "r11", **trend}
    values = {2: 2e-5, 4: 3e-5, 6: 1e-5, 8: 1.9e-4, 11: 1.8e-4}
    series = {
        **{"check": "fence-square", "jig": "big-sled", "saw": "cabinet", "quantity": "fence", "unit": "rad"},
        **{"tolerance": 0.05 / 300, "alarm": False, "look_again": "2026-03-08", "season": None},
        "way": "left end too near you",
        "baselines": [
            {**before, "results": [result(m, v, "step" if m == 8 else None) for m, v in values.items()]},
            {**after, "results": [result(12, 1e-5)]},
        ],
    }
    return {"series": [series], "left_out": [], "unread": []}


def due(app: Console, scenes) -> None:
    out(app, scenes)
    app.view.due = DUE


def cut_forecast(app: Console, scenes) -> None:
    """The design's worked example: a fence, a bow that makes up for it in part, a curved slot, free play."""
    due(app, scenes)
    row = {"finding": None, "age_days": None, "assumed": False}
    rows = [
        {
            **row,
            "part": "play",
            "value": 0.0,
            "standard_uncertainty": 64e-6,
            "check": "side-play",
            "worth": 60e-6,
        },
        {
            **row,
            "part": "fence",
            "value": 60e-6,
            "standard_uncertainty": 15e-6,
            "check": "fence-square",
            "worth": 30e-6,
        },
        {
            **row,
            "part": "bow",
            "value": -30e-6,
            "standard_uncertainty": 10e-6,
            "check": "fence-straight",
            "worth": -30e-6,
        },
        {
            **row,
            "part": "slot",
            "value": 20e-6,
            "standard_uncertainty": 10e-6,
            "check": "fence-square",
            "worth": 0.0,
        },
    ]
    first = {"part": "play", "worth": 60e-6, "check": "side-play", "words": "", "act": "put-right"}
    app.view.cut = {
        "jig": "big-sled", "saw": None, "board_mm": 400.0, "cut_mm": 300.0, "at": "left", "tolerance": 0.05 / 300,
        "square": {"value": 50e-6, "uncertainty": 41e-6}, "spread": 67e-6, "good_share": 0.951,
        "within_95": 167e-6, "rows": rows, "first": {**first, "together_with": None, "assumed": False},
        "pair": None, "thickness": [], "frame": None, "missing": ["slot-blade"],
    }  # fmt: skip
    app.view.shop = {
        "sleds": [
            {
                "jig": "big-sled",
                "saw": None,
                "state": "good",
                "worst": "play",
                "within_95": 167e-6,
                "next": "2026-06-20",
            },
            {
                "jig": "small-sled",
                "saw": None,
                "state": "never-checked",
                "worst": None,
                "within_95": 9e-4,
                "next": None,
            },
        ]
    }


def chart(app: Console, scenes) -> None:
    due(app, scenes)
    app.view.drift = _charted()


def turned(app: Console, scenes) -> None:
    """Spots at turns of the blade: the turn alone differs, and it is the largest."""
    ask = Prompt(
        phase="spot", words="Turn the blade to 135 degrees, clear of the teeth. It is taken once it holds still.",
        ready=True, placement="turn-135", gather="spot", step=4, steps=8, taken=0, wanted=1, side="right",
        mount="still", picture="plate-wobble", by_itself=True, focus_words="135 degrees",
    )  # fmt: skip
    asked(app, scenes, ask)


SCENES: dict[str, Scene] = {
    "new": new,
    "first-start": first_start,
    "finding-cable": finding_cable,
    "no-cable": no_cable,
    "cable-seen": cable_seen,
    "leaf-proof": leaf_proof,
    "cables": cables,
    "checks": checks,
    "options": options,
    "cautions": cautions,
    "set-up": set_up,
    "set-up-again": set_up_again,
    "lean": lean,
    "tap": tap,
    "tap-again": tap_again,
    "ready": ready,
    "moving": moving,
    "refused": refused,
    "told": told,
    "mark": mark,
    "pulled-cable": pulled_cable,
    "away": away,
    "out": out,
    "good-enough": _result("inside", 0.00004),
    "too-close": _result("cannot-tell", 0.00016),
    "closes": _rip_fence("outside", 0.0008, "closes at the rear"),
    "opens": _rip_fence("inside", -0.0001, "opens at the rear"),
    "sure": sure,
    "wrong-way": wrong_way,
    "crown": crown,
    "side-play": side_play,
    "leans": leans,
    "binds": binds,
    "plate": plate,
    "move": the_move,
    "moved": moved,
    "live-stand": live_stand,
    "live-set-up": _live(LiveMoveNotice(True, "stand", "Stand the indicator on the sled, its tip on the sled fence 480 mm from "  # noqa: E501
                                  "the pivot. Enter when it stands.", True, target=0.144, stands="beyond")),
    "live-lean": _live(LiveMoveNotice(True, "lean", "Lean and push the sled: the number must stand still. Then Enter.", True,
                                target=0.144, stands="beyond")),
    "live-go": _live(_go("0.05 mm to go: move the left end away from you.", 0.052, enter=False, verdict="outside")),
    "live-wrong-way": _live(_go("Wrong way: move the left end away from you. 0.17 mm to go.", 0.17, enter=False,
                                moved=-0.026, wrong=True, verdict="outside")),
    "live-past": _live(_go("Too far by 0.02 mm: back toward you. Or Enter, to tighten it as it is.", 0.020, way="toward",
                           moved=0.164, past=True, verdict="inside")),
    "live-there": _live(_go("There, and it holds. Enter, then tighten.", 0.001, moved=0.143, there=True, verdict="inside")),
    "live-tighten": _live(_go("Tighten. It has drawn 0.03 mm toward you. 0.03 mm short: away from you. Enter when it is "
                              "tight.", 0.030, phase="tighten", moved=0.114, drawn=-0.03,
                              remarks=[Remark("live-drawn")])),
    "limits": limits,
    "past": past,
    "past-result": past,
    "sleds": sled,
    "sled": sled,
    "value": sled,
    "keys": all_keys,
    "drawing": set_up,
    "turned": turned,
    "set-up-heel": set_up_of("slot-blade", 1),
    "set-up-rip": set_up_of("rip-fence"),
    "set-up-plate": set_up_of("plate-wobble", 3),
    "set-up-straight": set_up_of("fence-straight"),
    "set-up-width": set_up_of("runner-fit", 2),
    "set-up-play": set_up_of("side-play", 3),
    "set-up-board": set_up_of("test-board", 1),
    "set-up-mitre": set_up_of("mitre-square"),
    "set-up-upright": set_up_of("upright", 1),
    "working-out": working_out,
    "not-recorded": not_recorded,
    "heel": heel,
    "board": board,
    "due-new": due_new,
    "due": due,
    "due-page": due,
    "drift": chart,
    "cut": cut_forecast,
    "shop": cut_forecast,
    "event": due,
    "symptoms": new,
    "symptom": new,
}  # fmt: skip


@contextlib.asynccontextmanager
async def console(folder: Path, size: tuple[int, int], look: str) -> AsyncIterator[tuple]:
    """A console that no daemon answers; scenes are put before it one after the other."""
    app = make_console(folder / "nobody", theme=look)
    app.client.run = asyncio.Event().wait  # type: ignore[method-assign,assignment]
    app.client.send = lambda message: True  # type: ignore[method-assign]
    app.requests._send = app.client.send
    async with app.run_test(size=size) as pilot:
        yield app, pilot


async def put(app: Console, pilot, scene, keys: tuple[str, ...], scenes) -> None:
    """One scene, as if nothing had been before it."""
    app.go_home()
    for now, new in ((app.view, ViewModel(lambda: 100.0)), (app.guide, Guide())):
        for field in type(new).__struct_fields__:
            setattr(now, field, getattr(new, field))
    app.requests.last_begin = app.requests._noted = None
    scene(app, scenes)
    app._due = dict.fromkeys(app._due, 0.0)
    app.mark()
    await settled(pilot)
    for key in keys:
        await pilot.press(key)
        await settled(pilot)


async def settled(pilot) -> None:
    """Until every message is handled and nothing is due to be drawn; the same three times, as one may bring another."""
    loop, idle = asyncio.get_running_loop(), 0
    while idle < 3:
        await pilot.pause(0)  # until all messages are handled
        turns = 0
        while loop._ready:  # type: ignore[attr-defined]  # what is to be done at once
            await asyncio.sleep(0)
            turns += 1
        due = pilot.app._changes or pilot.app._timer is not None
        idle = 0 if due or turns > 1 else idle + 1


def shown(app: Console) -> list[str]:
    strips = app.screen._compositor.render_strips()
    return ["".join(s.text for s in strip).rstrip() for strip in strips]


@pytest.fixture
def every_scene() -> dict[str, Scene]:
    return SCENES


@pytest.fixture
def keys() -> dict[str, tuple[str, ...]]:
    return KEYS


@pytest.fixture
def screens() -> SimpleNamespace:
    """How a scene is put before a console, and what it then shows."""
    return SimpleNamespace(console=console, put=put, settled=settled, shown=shown)
