"""Every phase on every size and in every look: the whole of what is asked stands inside the screen. No terminal."""

from __future__ import annotations

import msgspec
import pytest
from bench.console.controller import ScreenController
from bench.console.layout import compose
from bench.console.navigation import Navigation
from bench.console.panels import health

from bench.console import themes
from bench.console.message_folding import fold
from bench.console.text import plain, width
from bench.console.view_model import ViewModel
from bench.protocol import (
    GearReply,
    InstrumentState,
    LiveMoveNotice,
    Prompt,
    PromptChanged,
    Readings,
    StatusReply,
    Version,
)

SIZES = [(40, 15), (60, 20), (80, 24), (200, 60)]


@pytest.fixture(params=themes.THEMES, ids=lambda look: look.name)
def controller(request, scenes) -> ScreenController:
    state = ViewModel(lambda: 100.0)
    state.connected()
    instruments = [
        InstrumentState("indicator", "indicator", "open", "reads", "", 20.0, 0.0, -12.513, grows="pushed-in"),
        InstrumentState("travel", "travel", "open", "reads", "", 20.0, 0.0, 12.25, grows="away"),
    ]
    for message in (
        Version("p"),
        StatusReply("p", "", "recording", instruments, None, []),
        GearReply([scenes.sled], [], [], [0.05]),
        Readings("indicator", 0, [0.0], [-12.513]),
    ):
        fold(state, message)
    return ScreenController(state, Navigation(glyphs=request.param.glyphs), lambda message: True)


def drawn(controller: ScreenController, size: tuple[int, int]) -> list[str]:
    frame = compose(controller, *size)
    assert len(frame.lines) == size[1]
    assert {width(line) for line in frame.lines} == {size[0]}
    text = [plain(line) for line in frame.lines]
    if not controller.navigation.glyphs.braille:
        "".join(text).encode("cp437")
    return text


def left(text: list[str], words: str) -> bool:
    """Whether the words stand there, whatever stands beside them."""
    columns = (31, 45, 109, 143, 200)
    return any(words in " ".join(" ".join(line[:room].split()) for line in text) for room in columns)


def phases(scenes) -> list[tuple[Prompt, str]]:
    replace = msgspec.structs.replace
    mark = replace(
        scenes.push, phase="mark", words="Push to the mark at 25 mm, stop, press Enter, hold still.", enter=True,
        mark=1, marks=9,
    )  # fmt: skip
    lean = replace(
        scenes.place, phase="lean", words="Lean the sled to the left within its play, hold it there, press Enter.",
        lean="left",
    )  # fmt: skip
    return [
        (scenes.place, "SET UP"),
        (lean, "LEAN TEST"),
        (scenes.push, "READY"),
        (mark, "mark 1 of 9"),
        (replace(mark, waiting=True), "HOLD STILL"),
        (replace(scenes.push, ready=False, words="Leave the sled at rest a moment."), "WAIT"),
    ]


@pytest.mark.parametrize("size", SIZES)
def test_all_that_is_asked_is_inside(controller, scenes, size) -> None:
    for ask, sign in phases(scenes):
        fold(
            controller.state,
            PromptChanged("r1", "fence-square", "big-sled", ask, question="Is the sled's fence square?"),
        )
        text = drawn(controller, size)
        assert any(sign in line for line in text), text
        assert left(text, ask.words), "\n".join(text)
        assert any("mm indicator" in line for line in text)
        assert f"{ask.taken} of {ask.wanted} kept" in "\n".join(text)
        if ask.enter and not ask.waiting:
            assert any("Enter" in line for line in text[-3:])


@pytest.mark.parametrize("size", SIZES)
def test_why_it_was_not_kept_goes_before_what_is_asked(controller, scenes, size) -> None:
    remark = "That pass was 90 mm, the longest 220 mm: push right through to the end."
    ask = msgspec.structs.replace(scenes.push, remark=remark)
    fold(controller.state, PromptChanged("r1", "fence-square", "big-sled", ask))
    assert left(drawn(controller, size), remark)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("verdict", ["inside", "outside", "cannot-tell"])
def test_a_result_says_its_act(controller, scenes, size, verdict) -> None:
    controller.state.last = [scenes.finding(verdict)]
    text = drawn(controller, size)
    sign, word, act = {
        "inside": (controller.navigation.glyphs.good, "GOOD ENOUGH", "nothing to move"),
        "outside": (controller.navigation.glyphs.bad, "OUT", "Move the left end 0.144 mm AWAY from you."),
        "cannot-tell": (
            controller.navigation.glyphs.unsure,
            "TOO CLOSE TO CALL",
            "10 pushes in all would settle it.",
        ),
    }[verdict]
    assert any(f"{sign} {word}" in line for line in text)
    assert left(text, act), "\n".join(text)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "page", ["checks", "options", "past", "limits", "move", "live", "sleds", "sled", "keys"]
)
def test_every_page_fits_and_says_how_to_go_back(controller, scenes, size, page) -> None:
    controller.state.last = [scenes.finding(), scenes.finding("inside", 0.00002, "b")]
    controller.navigation.kind = "fence-square"
    controller.navigation.go(page)
    text = drawn(controller, size)
    assert any("back" in line for line in text[-3:])
    rows = controller.rows()
    for _ in rows:  # every row can be come to, however small the screen
        controller.key("down")
        shown = drawn(controller, size)
        here = controller.rows()[controller.navigation.cursor].words
        assert any(here[:20] in line for line in shown), (here, shown)


@pytest.mark.parametrize("size", SIZES)
def test_the_live_move_at_every_size(controller, scenes, size) -> None:
    controller.state.last = [scenes.finding()]
    fold(
        controller.state,
        LiveMoveNotice(True, "go", "0.052 mm to go away. Enter.", True, "left", "away", 0.052, target=0.144),
    )
    text = drawn(controller, size)
    assert left(text, "0.052 mm to go away. Enter.")
    assert any("LIVE" in line for line in text)
    assert left([line[-16:] if size[0] >= 60 else line for line in text], "left end AWAY"), "\n".join(text)


@pytest.mark.parametrize("state", ["absent", "busy", "denied", "silent", "garbled", "flooding"])
@pytest.mark.parametrize("size", SIZES)
def test_every_trouble_of_an_instrument_has_a_sign_and_a_word(controller, size, state) -> None:
    fold(
        controller.state, InstrumentState("indicator", "indicator", state, "A whole sentence of what to do.")
    )
    words, role = health(controller.state.instruments["indicator"], 100.0)
    assert role == "bad"
    text = drawn(controller, size)
    assert f"{controller.navigation.glyphs.troubled} indicator {words}" in text[0]
    assert "A whole sentence of what to do." in "\n".join(text)


def test_not_recorded_is_said_before_all_else(controller) -> None:
    controller.state.recording = "NOT RECORDED: the disk is full"
    for size in SIZES:
        assert "NOT RECORDED" in drawn(controller, size)[0]
