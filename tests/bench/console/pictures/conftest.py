"""The scenes of the kept screens: what the daemon has said, and which keys were pressed. All figures invented.

A new screen is a function here and a row in `SCENES`; then rebuild, and look.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import msgspec
import pytest

from bench.console.desk import Desk
from bench.finding import Remark
from bench.protocol import (
    Ask,
    Asking,
    Cable,
    Cables,
    ChecksReply,
    Concluded,
    Contact,
    Fitted,
    GearReply,
    InstrumentState,
    LearnSaid,
    LiveSaid,
    LogRows,
    Notice,
    Points,
    Position,
    Quantity,
    Readings,
    Saved,
    StatusReply,
    SweepSaid,
    Version,
)

Scene = Callable[[Desk, object], None]


def _instruments(**more: object) -> list[InstrumentState]:
    one = InstrumentState(
        "indicator", "indicator", "open", "reads", "/dev/ttyUSB0", 20.0, 0.0, 2.513, grows="pushed-in"
    )
    two = InstrumentState(
        "travel", "travel", "open", "reads", "/dev/ttyUSB1", 20.0, 0.0, 112.25, grows="away"
    )
    return [msgspec.structs.replace(one, **more), two]


def fresh(desk: Desk, scenes, *, jigs: bool = True, last: tuple = (), **indicator: object) -> None:
    state = desk.state
    state.came()
    for message in (
        Version("sweepgauge"),
        GearReply([scenes.sled] if jigs else [], [], [], [0.04, 0.05, 0.10, 0.15]),
        StatusReply("sweepgauge", "", "recording", _instruments(**indicator), None, list(last)),
        ChecksReply(scenes.kinds),
        Readings("indicator", 0, [0.0], [2.513]),
    ):
        state.hear(message)
    if last:
        state.hear(LogRows(list(last), {"f1": "made"} if len(last) > 1 else {}))


def asked(desk: Desk, scenes, ask: Ask) -> None:
    fresh(desk, scenes)
    desk.state.hear(Asking("r1", "fence-square", "big-sled", ask, saw="cabinet", question=scenes.question))


def _pass(n: int, slope: float = 0.0003) -> tuple[list[float], list[float]]:
    travel = [2.0 * k for k in range(110)]
    return travel, [2.4 + 0.004 * n + slope * s + 0.003 * math.sin(s / 9 + n) for s in travel]


def new(desk: Desk, scenes) -> None:
    fresh(desk, scenes)


def first_start(desk: Desk, scenes) -> None:
    fresh(desk, scenes, jigs=False)
    desk.key("7")


def _bare(desk: Desk, scenes, *cables: Cable) -> None:
    """Nothing is set up; cables are listened to."""
    state = desk.state
    state.came()
    marks = InstrumentState("travel", "travel", "marks", "By marks.")
    for message in (
        Version("sweepgauge"),
        GearReply([], [], [], [], marks=[25.0, 50.0, 75.0, 100.0]),
        StatusReply("sweepgauge", "", "recording", [marks], None, []),
        ChecksReply(scenes.kinds),
        Cables([*cables], True),
    ):
        state.hear(message)
    desk.view.first_start = True


HEARD = (
    Cable("/dev/a", "UART_bridge_A50285", "reads", "It reads.", 2.513, age=0.0),
    Cable("/dev/b", "UART_bridge_B71131", "reads", "It reads.", 112.25, age=0.0),
    Cable("/dev/c", "serial_cable_3", "silent", "Nothing is sent."),
)


def finding_cable(desk: Desk, scenes) -> None:
    _bare(desk, scenes, *HEARD)
    desk.state.hear(
        LearnSaid("indicator", "asking", "Press the indicator's plunger in, some 2 mm, and let it out again.")
    )


def no_cable(desk: Desk, scenes) -> None:
    _bare(desk, scenes)
    desk.state.hear(
        LearnSaid("indicator", "asking", "Press the indicator's plunger in, some 2 mm, and let it out again.")
    )


def cable_seen(desk: Desk, scenes) -> None:
    words = "UART_bridge_A50285 went 2.00 mm and back: it is the indicator; its number grows as the plunger goes in."
    _bare(desk, scenes, *HEARD)
    desk.state.hear(LearnSaid("indicator", "seen", words, port="/dev/a", grows="pushed-in", enter=True))


def leaf_proof(desk: Desk, scenes) -> None:
    words = "Slip the leaf of 0.10 mm under the tip and let the tip rest on it. Enter when it does."
    fresh(desk, scenes, jigs=False)
    desk.view.first_start = True
    desk.state.hear(LearnSaid("leaf", "asking", words, enter=True, leaf=0.10, step=2))


def cables(desk: Desk, scenes) -> None:
    fresh(desk, scenes)
    desk.key("7")
    desk.key("3")


def checks(desk: Desk, scenes) -> None:
    fresh(desk, scenes)
    desk.key("1")


def options(desk: Desk, scenes) -> None:
    checks(desk, scenes)
    desk.key("1")


def cautions(desk: Desk, scenes) -> None:
    asked(desk, scenes, Ask(phase="cautions", words="Read.", enter=True, steps=2, cautions=scenes.cautions))


def set_up(desk: Desk, scenes) -> None:
    asked(desk, scenes, scenes.place)


def set_up_again(desk: Desk, scenes) -> None:
    words = (
        "Turn the square over: handle to the RIGHT of the arm, on the same stretch of the sled fence, arm pointing away "
        "from you. Indicator standing on the LEFT of the arm, at the same height."
    )
    replace = msgspec.structs.replace
    asked(
        desk, scenes,
        replace(scenes.place, words=words, placement="handle-right", side="left", step=2, picture="square-handle-right"),
    )  # fmt: skip


def lean(desk: Desk, scenes) -> None:
    words = "Lean the sled to the left within its play, hold it there, press Enter."
    asked(desk, scenes, msgspec.structs.replace(scenes.place, phase="lean", words=words, lean="left"))


def tap(desk: Desk, scenes) -> None:
    words = (
        "Tap the indicator's post lightly with a finger, twice: the number must come back. Press Enter when it stands "
        "still."
    )
    asked(desk, scenes, msgspec.structs.replace(scenes.place, phase="tap", words=words))


def tap_again(desk: Desk, scenes) -> None:
    """It did not come back; the number at rest is taken anew, with nothing touched."""
    remark = (
        "Tapped, and the number did not come back: it stands 0.020 mm off. Is the magnet on, the foot clean, every "
        "screw of the stand tight? Mend it, then hands off: it is asked again."
    )
    words = "Hands off everything: the number at rest is being taken."
    rest = msgspec.structs.replace(
        scenes.place, phase="tap", words=words, enter=False, waiting=True, remark=remark
    )
    asked(desk, scenes, rest)


def ready(desk: Desk, scenes) -> None:
    asked(desk, scenes, scenes.push)
    _kept(desk)


def _kept(desk: Desk) -> None:
    travel, reading = _pass(0)
    desk.state.hear(SweepSaid("a", "handle-left", "kept", True, 1, 3, 110, 3e-4, 218.0, "1 of 3 kept."))
    desk.state.hear(
        Fitted("a", "handle-left", True, travel, [r + 0.05 * (n in (30, 31)) for n, r in enumerate(reading)],
               [30, 31], 3e-4, 2.4)
    )  # fmt: skip


def moving(desk: Desk, scenes) -> None:
    ready(desk, scenes)
    travel, reading = _pass(1)
    desk.state.hear(SweepSaid("b", "handle-left", "running"))
    desk.state.hear(Points("b", travel[:70], reading[:70]))
    desk.state.hear(
        Asking(
            "r1", "fence-square", "big-sled", msgspec.structs.replace(scenes.push, moving=True), saw="cabinet"
        )
    )


def refused(desk: Desk, scenes) -> None:
    remark = "That pass was 90 mm, the longest 220 mm: push right through to the end."
    asked(desk, scenes, msgspec.structs.replace(scenes.push, remark=remark))


def mark(desk: Desk, scenes) -> None:
    words = "Push to the mark at 75 mm, stop, press Enter, hold still."
    asked(
        desk,
        scenes,
        msgspec.structs.replace(scenes.push, phase="mark", words=words, enter=True, mark=3, marks=9),
    )


def pulled_cable(desk: Desk, scenes) -> None:
    moving(desk, scenes)
    words = "The indicator's port is gone: plug its cable in again."
    desk.state.hear(InstrumentState("indicator", "indicator", "absent", words))


def away(desk: Desk, scenes) -> None:
    ready(desk, scenes)
    desk.state.went("The daemon went away.")


def _result(verdict: str, value: float) -> Scene:
    def scene(desk: Desk, scenes) -> None:
        fresh(
            desk, scenes, last=(scenes.finding(verdict, value, "f0"), scenes.finding("inside", 0.00003, "b"))
        )

    return scene


def out(desk: Desk, scenes) -> None:
    fresh(
        desk, scenes, last=(scenes.finding("outside", 0.0003, "f0"), scenes.finding("inside", 0.00003, "b"))
    )
    _kept(desk)


def wrong_way(desk: Desk, scenes) -> None:
    """The verifying passes tell what went wrong with the move."""
    fresh(desk, scenes, last=(scenes.finding("outside", 0.0003),))
    found = scenes.finding("outside", 0.00061, "f2")
    remarks = [Remark("moved-wrong-way"), *found.remarks]
    desk.state.hear(Concluded(None, msgspec.structs.replace(found, remarks=remarks)))
    desk.state.result = desk.state.last[0]


def _shaped(desk: Desk, scenes, quantities: list[Quantity], **more: object) -> None:
    found = msgspec.structs.replace(
        scenes.finding("outside"), quantities=quantities, move=None, remarks=[], **more
    )
    fresh(desk, scenes, last=(found,))


def _size(name: str, value: float, limit: float | None, way: str | None = None) -> Quantity:
    return Quantity(name, value, "mm", value / 15, 20.0, limit, "outside" if limit else None, way)


def crown(desk: Desk, scenes) -> None:
    """The face of a sled fence, and where a board meets it."""
    profile = [(20.0 * n - 300.0, 0.08 * math.cos((n - 15) / 10)) for n in range(31)]
    contact = [Contact(-200.0, 100.0, -50.0, 4e-5, 1e-5)]
    straight = _size("minimum-zone", 0.082, 0.05, "crown")
    _shaped(desk, scenes, [straight], check="fence-straight", profile=profile, contact=contact)


def binds(desk: Desk, scenes) -> None:
    positions = [
        Position(
            50.0 * n,
            2e-4,
            None if n == 0 else 0.0 if 4 <= n <= 6 else 0.02 * abs(n - 5),
            0.03 * (4 <= n <= 6),
        )
        for n in range(13)
    ]
    _shaped(desk, scenes, [_size("side-play", 0.12, 0.10)], check="runner-fit", positions=positions)


def plate(desk: Desk, scenes) -> None:
    phase = Quantity("phase", 2.1, "rad", 0.02, 5.0, way="largest at 120 degrees of turn")
    quantities = [_size("total", 0.14, 0.05), _size("tilt", 0.13, None), _size("warp", 0.01, None), phase]
    _shaped(desk, scenes, quantities, check="plate-wobble")


def moved(desk: Desk, scenes) -> None:
    fresh(desk, scenes, last=(scenes.finding("outside", 0.0003),))
    desk.state.hear(Saved("move", "f1"))


def the_move(desk: Desk, scenes) -> None:
    fresh(desk, scenes, last=(scenes.finding(),))
    desk.key("4")


def live_stand(desk: Desk, scenes) -> None:
    fresh(desk, scenes, last=(scenes.finding(),))
    desk.key("5")


def _live(said: LiveSaid) -> Scene:
    def scene(desk: Desk, scenes) -> None:
        fresh(desk, scenes, last=(scenes.finding(),))
        desk.state.hear(said)

    return scene


def _go(
    words: str, to_go: float, *, phase: str = "go", way: str = "away", enter: bool = True, **more
) -> LiveSaid:
    said = LiveSaid(True, phase, words, enter, "left", way, to_go, moved=0.092, target=0.144, tolerance=0.08)  # type: ignore[arg-type]
    return msgspec.structs.replace(said, uncertainty=0.0097, **more)


def past(desk: Desk, scenes) -> None:
    fresh(desk, scenes, last=(scenes.finding(), scenes.finding("inside", 0.00003, "b")))
    desk.key("6")


def limits(desk: Desk, scenes) -> None:
    fresh(desk, scenes, last=(scenes.finding(),))
    desk.key("3")


def sled(desk: Desk, scenes) -> None:
    fresh(desk, scenes)
    desk.key("7")
    desk.key("2")
    desk.view.sled.update(
        pivot_to_blade="250 mm", pivot_to_screw="500 mm", pivot_to_stop="480 mm", widest_board="600 mm"
    )


def keys(desk: Desk, scenes) -> None:
    fresh(desk, scenes)
    desk.key("slash")


def sure(desk: Desk, scenes) -> None:
    ready(desk, scenes)
    desk.key("9")


def told(desk: Desk, scenes) -> None:
    ready(desk, scenes)
    desk.state.hear(Notice("stand", "The stand was bumped: 0.20 mm at once, at rest. Set up again."))


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
    "sure": sure,
    "wrong-way": wrong_way,
    "crown": crown,
    "binds": binds,
    "plate": plate,
    "move": the_move,
    "moved": moved,
    "live-stand": live_stand,
    "live-set-up": _live(LiveSaid(True, "stand", "Stand the indicator on the sled, its tip on the sled fence 480 mm from "
                                  "the pivot. Enter when it stands.", True, target=0.144, stands="beyond")),
    "live-lean": _live(LiveSaid(True, "lean", "Lean and push the sled: the number must stand still. Then Enter.", True,
                                target=0.144)),
    "live-go": _live(_go("0.05 mm to go: move the left end away from you.", 0.052, enter=False, verdict="outside")),
    "live-wrong-way": _live(_go("Wrong way: move the left end away from you. 0.17 mm to go.", 0.17, enter=False,
                                moved=-0.026, wrong=True, verdict="outside")),
    "live-past": _live(_go("Too far by 0.02 mm: back toward you. Or Enter, to tighten it as it is.", 0.020, way="toward",
                           moved=0.164, past=True, verdict="inside")),
    "live-there": _live(_go("There, and it holds. Enter, then tighten.", 0.001, moved=0.143, there=True, verdict="inside")),
    "live-tighten": _live(_go("Tighten. It has drawn 0.03 mm toward you. 0.03 mm short: away from you. Enter when it is "
                              "tight.", 0.030, phase="tighten", moved=0.114, drawn=-0.03)),
    "limits": limits,
    "past": past,
    "sled": sled,
    "keys": keys,
}  # fmt: skip


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "named" in metafunc.fixturenames:
        metafunc.parametrize("named", SCENES.items(), ids=list(SCENES))


@pytest.fixture
def every_scene() -> dict[str, Scene]:
    return SCENES
