"""What a person must find in a picture: you, the blade, what moves and which way, the number of the place, the limit."""

from __future__ import annotations

import cmath
import math
from itertools import product
from types import SimpleNamespace

import msgspec
import pytest
from msgspec.structs import replace

from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.console import themes
from bench.console.contents.figure import large_figure, live_role, result_figure
from bench.console.contents.live import live_facts, live_gauge, move_picture
from bench.console.contents.prompt import prompt_words
from bench.console.contents.result import budget_bars, past_rows, result_picture
from bench.console.drawings.canvas import Canvas
from bench.console.drawings.glyphs import PLAIN, RICH
from bench.console.drawings.plot import scale
from bench.console.drawings.result import draw_result
from bench.console.drawings.set_up import draw_set_up
from bench.console.drawings.sled import draw_sled
from bench.console.drawings.styled_text import Block, plain, width
from bench.console.message_folding import fold
from bench.console.view_model import ViewModel
from bench.finding import BudgetRow, Contact, Finding, Move, Position, Quantity
from bench.gear import Jig
from bench.procedure.prompt import Prompt
from bench.protocol import LiveMoveNotice, Notice
from bench.units import length_words

SIZES = [(36, 11), (40, 7), (78, 24)]
SLED = Jig("sled", pivot_to_blade=250.0, pivot_to_screw=500.0, pivot_to_stop=480.0)
AT_BLADE = {
    "fence-square",
    "mitre-square",
    "slot-blade",
    "plate-wobble",
    "rip-fence",
    "fence-straight",
    "side-play",
}


def prompts(kind: str):
    for step in checks()[kind].plan({}, EvidenceGear()):
        focus = "45 degrees" if step.focus is not None and step.focus.what == "turn" else ""
        yield Prompt(
            phase="place", picture=step.picture, placement=step.placement, side=step.side, mount=step.mount,
            at=step.at, gather=step.gather, pushed=step.pushed, focus=step.focus, focus_words=focus,
        )  # fmt: skip


def words(block: Block) -> str:
    return "\n".join(plain(line) for line in block)


@pytest.mark.parametrize("glyphs", [RICH, PLAIN], ids=lambda g: g.name)
@pytest.mark.parametrize(("wide", "high"), SIZES)
@pytest.mark.parametrize("kind", sorted(checks()))
def test_a_set_up_shows_you_the_blade_what_moves_and_the_place(kind, wide, high, glyphs) -> None:
    for ask in prompts(kind):
        block = draw_set_up(ask, SLED, wide, high, glyphs, "mm")
        text = words(block)
        assert len(block) == high and {width(line) for line in block} == {wide}
        assert "you" in text, text
        if kind in AT_BLADE:
            assert "blade" in text, text
        if ask.gather == "sweep":
            assert ("push sled" if ask.pushed == "sled" else "push it") in text, text
        if ask.gather == "width" or (kind == "side-play" and ask.at) or kind == "upright":
            assert length_words(ask.at, "mm", 0) in text, text
        if ask.focus_words:
            assert ask.focus_words in text, text


@pytest.mark.parametrize("way", ["left", "right"])
def test_a_lean_is_drawn_whole_over_the_set_up(way) -> None:
    ask = msgspec.structs.replace(next(iter(prompts("fence-square"))), phase="lean", lean=way)
    text = words(draw_set_up(ask, SLED, 36, 11, RICH, "mm"))
    arrow = RICH.left_mark + RICH.across * 4 if way == "left" else RICH.across * 4 + RICH.right_mark
    assert text.count(arrow) == 2 and f"lean the sled to the {way}" in text and "blade" in text
    tapped = words(
        draw_set_up(msgspec.structs.replace(ask, phase="tap", lean=None), SLED, 36, 11, RICH, "mm")
    )
    assert "push" not in text + tapped, "nothing is pushed while it is leaned or tapped"


@pytest.mark.parametrize("kind", ["fence-square", "mitre-square"])
@pytest.mark.parametrize(("wide", "high"), SIZES)
@pytest.mark.parametrize("fence", ["near", "far"])
def test_the_mark_to_push_to_has_its_number(kind, wide, high, fence) -> None:
    jig = replace(SLED, fence=fence)
    for place in prompts(kind):
        ask = replace(place, phase="mark", mark=3, marks=9, at=75.0)
        for units, at in (("mm", "to 75 mm"), ("inch", "to 2.95 in")):
            assert at in (text := words(draw_set_up(ask, jig, wide, high, RICH, units))), text


@pytest.mark.parametrize("way", ["left", "right"])
def test_no_arrow_of_a_lean_lies_over_the_blade(way) -> None:
    for ask, fence in product(prompts("fence-square"), ("near", "far")):
        jig = replace(SLED, fence=fence)
        at_rest = draw_set_up(replace(ask, phase="tap"), jig, 36, 11, RICH, "mm")
        leaned = words(draw_set_up(replace(ask, phase="lean", lean=way), jig, 36, 11, RICH, "mm"))
        assert leaned.count(RICH.down) == words(at_rest).count(RICH.down)
        assert f"lean the sled to the {way}" in leaned


def test_blade_and_slot_of_the_rip_fence_are_two_names() -> None:
    (ask, *_) = prompts("rip-fence")
    text = words(draw_set_up(ask, SLED, 36, 11, RICH, "mm"))
    assert "slot" in text and "blade slot" not in text and "slot blade" not in text


def test_a_place_has_the_digits_of_the_sentence_beside_it() -> None:
    ask = Prompt(phase="place", picture="test-board", placement="far", gather="width", at=385.0)
    assert "15.2 in" in words(draw_set_up(ask, None, 36, 11, RICH, "inch"))
    slot = Prompt(phase="place", picture="slot-widths", placement="slot-left", gather="width", at=300.0)
    assert "at 11.8 in" in words(draw_set_up(slot, None, 36, 11, RICH, "inch"))


def test_the_caliper_lies_at_the_end_that_is_said() -> None:
    """Near you is below; where it lies across both slots, both are drawn."""
    ends = {"near": 15.0, "far": 385.0}
    rows = {}
    for end, at in ends.items():
        ask = Prompt(phase="place", picture="test-board", placement=end, gather="width", at=at)
        text = words(draw_set_up(ask, None, 36, 11, RICH, "mm")).splitlines()
        rows[end] = next(y for y, row in enumerate(text) if RICH.right_mark in row)
        letter = next(y for y, row in enumerate(text) if f"{end[0].upper()}, {end}" in row)
        assert abs(rows[end] - letter) <= 1
    assert rows["far"] < 5 < rows["near"]
    both = Prompt(phase="place", picture="slot-widths", placement="slot-spacing", gather="width", at=0.0)
    text = words(draw_set_up(both, None, 36, 11, RICH, "mm"))
    assert "both slots" in text and text.splitlines()[3].count(RICH.down) == 4


# ---- results ---------------------------------------------------------------------------------------------


def drawn(*quantities: Quantity, wide: int = 36, high: int = 12, **more: object) -> Block:
    found = Finding(check="any", quantities=list(quantities), **more)  # type: ignore[arg-type]
    return draw_result(found, None, None, wide, high, RICH, "mm")


def column(block: Block, word: str) -> float:
    row = next(plain(line) for line in block if word in plain(line))
    return row.index(word) + len(word) / 2


@pytest.mark.parametrize("way", ["closes at the rear", "opens at the rear"])
@pytest.mark.parametrize("value", [8e-4, -8e-4])
def test_a_rip_fence_closes_toward_the_blade_that_is_drawn(way: str, value: float) -> None:
    """The fence is a bar from its front at 0 to its rear, turned counter-clockwise by the value about its front."""
    rear = 1j * cmath.exp(1j * value)
    block = drawn(Quantity("toe", value, "rad", 5e-5, 8.0, 1.6e-4, "outside", way))
    blade_left = column(block, "blade") < 18
    goes_left = rear.real < 0
    assert (blade_left == goes_left) == way.startswith("closes")
    text = words(block)
    assert "0.240 mm" in text and "dashed: good enough" in text and "you" in text


def test_a_sled_fence_says_over_which_length_and_where_it_is_good_enough() -> None:
    q = Quantity("fence", 3e-4, "rad", 2e-5, 10.0, 1e-4, "outside")
    block = draw_result(Finding(check="any", quantities=[q]), SLED, 400.0, 36, 12, RICH, "mm")
    text = words(block)
    assert "across 400 mm" in text and "good enough" in text and "left end 0.120 mm toward you" in text


def test_a_tight_runner_says_how_much_to_take_off_and_its_limit() -> None:
    places = [Position(100.0 * n, None, 0.0 if n == 2 else 0.06, 0.03 * (n == 2)) for n in range(5)]
    q = Quantity("side-play", 0.06, "mm", 0.008, 8.0, 0.10, "outside")
    text = words(drawn(q, positions=places))
    assert "take off 0.030 mm" in text and "good enough within 0.10 mm" in text
    text = words(
        draw_result(Finding(check="any", quantities=[q], positions=places), None, None, 36, 12, RICH, "inch")
    )
    assert "take off 1.2 thou" in text and "in in" not in text


@pytest.mark.parametrize("turn", [0.0, 0.6, 2.1, 3.5, 5.9])
@pytest.mark.parametrize("wide", [36, 51])
def test_a_plate_shows_its_high_and_its_low_spot_half_a_turn_apart(turn: float, wide: int) -> None:
    tilt, phase = Quantity("tilt", 0.13, "mm", 0.01), Quantity("phase", turn, "rad", 0.02)
    block = drawn(Quantity("total", 0.14, "mm", 0.01), tilt, phase, wide=wide)
    text = words(block)
    degrees = math.degrees(turn)
    lines = [plain(line) for line in block]
    marks = [(x, y) for y, line in enumerate(lines) for x, sign in enumerate(line) if sign == RICH.middle]
    (high, top), (low, bottom) = marks
    assert abs(high - low) == pytest.approx((wide - 1) / 2, abs=1)
    rows = [next(y for y, line in enumerate(lines) if word in line) for word in ("high", "low")]
    assert rows[0] - top <= 3 and bottom - rows[1] <= 3 and rows[0] < rows[1], (
        "high is above, each at its mark"
    )
    for angle, at in ((degrees, high), ((degrees + 180) % 360, low)):
        assert abs(column(block, f"{angle:.0f} degrees") - at) < 12, text


@pytest.mark.parametrize("size", [0.08, -0.08])
def test_a_face_shows_its_high_and_its_low_place(size: float) -> None:
    profile = [(20.0 * n - 300.0, size * math.cos((n - 15) / 10)) for n in range(31)]
    block = drawn(Quantity("minimum-zone", 0.08, "mm", 0.01, 8.0, 0.05), profile=profile, wide=51)
    text = [plain(line) for line in block]
    marks = [(x, y) for y, row in enumerate(text) for x, sign in enumerate(row) if sign == RICH.middle]
    assert len(marks) == 2
    top, bottom = marks
    assert (top[0] == pytest.approx(25, abs=2)) == (size > 0), "the middle is high where it is proud"
    assert top[1] < bottom[1] and "high" in words(block) and "low" in words(block)


@pytest.mark.parametrize("value", [0.0013, 0.0002, -0.0013])
@pytest.mark.parametrize("wide", [36, 51])
def test_the_dashed_lines_of_a_face_that_leans_are_named(value: float, wide: int) -> None:
    lean = Quantity("fence-lean", value, "rad", 1e-4, 8.0, 0.001, "outside", "top leans toward you")
    assert "good enough" in (text := words(drawn(lean, wide=wide))), text


def test_a_face_says_its_sides_and_where_a_board_touches() -> None:
    profile = [(20.0 * n - 300.0, 0.08 * math.cos((n - 15) / 10)) for n in range(31)]
    zone = Quantity("minimum-zone", 0.08, "mm", 0.01, 8.0, 0.05)
    text = words(drawn(zone, profile=profile, wide=36, contact=[Contact(-200.0, 100.0, -50.0, 4e-5, 1e-5)]))
    assert all(w in text for w in ("300 mm left", "300 mm right", "a board touches here", "work")), text


@pytest.mark.parametrize("way", ["closes at the rear", "opens at the rear"])
@pytest.mark.parametrize("value", [8e-4, -8e-4, 1e-4])
def test_the_size_of_a_rip_fence_does_not_stand_at_the_blade(way: str, value: float) -> None:
    toe = Quantity("toe", value, "rad", 5e-5, 8.0, 0.08 / 500, "inside", way, over=500.0)
    block = drawn(toe, wide=52, high=20)
    assert abs(column(block, " mm") - column(block, "blade")) > 15


# ---- figures and bars ------------------------------------------------------------------------------------


def test_a_bad_figure_and_a_bad_bar_stand_dark_on_light_without_colour() -> None:
    """Reversed, a solid block is not seen at all."""
    live = LiveMoveNotice(
        True, "go", "", True, "left", "toward", 0.02, moved=0.16, target=0.14, tolerance=0.04, past=True
    )
    v = SimpleNamespace(view=SimpleNamespace(live=live), glyphs=RICH)
    styles = themes.role_styles("pencil")
    figures = [large_figure("0.02", role, [[("mm", "strong")]], 78, 7, RICH) for role in ("bad", "unsure")]
    for block in (live_gauge(v, 60, 2), *figures):
        solid = [role for line in block for text, role in line if RICH.full in text]
        assert solid and not any(styles[role].reverse or styles[role].underline for role in solid)


@pytest.mark.parametrize(("verdict", "role"), [("inside", "unsure"), ("outside", "bad"), (None, "bad")])
def test_too_far_is_bad_only_where_it_is_no_longer_good_enough(verdict, role) -> None:
    live = LiveMoveNotice(True, "go", "Too far.", True, "left", "toward", 0.02, past=True, verdict=verdict)
    assert live_role(live) == role
    live = msgspec.structs.replace(live, wrong=True)
    assert live_role(live) == "bad", "the wrong way is bad in any case"


def test_the_words_of_the_line_stand_apart_where_they_have_room() -> None:
    ends = ("left end too far from you", "left end too near you")
    for cells, whole in ((64, True), (50, False)):
        _row, foot = scale(0.1, 0.01, (-0.05, 0.05), cells, RICH, ends)
        assert ("[ good enough ]" in plain(foot)) == whole and plain(foot).startswith(ends[0])


def test_with_four_rows_a_phone_still_has_large_digits_with_unit_and_way() -> None:
    aside: Block = [
        [("mm to go", "strong")],
        [("left end away from you", "strong")],
        [("travel 112.2 mm", "faint")],
    ]
    block = large_figure("0.03", "number", aside, 40, 4, RICH)
    text = words(block)
    assert len(block) == 4 and text.count(RICH.full) > 20 and all(width(line) <= 40 for line in block)
    assert all(word in text for word in ("mm to go", "left end", "away from", "you"))
    assert "travel" not in text, "a line that has no room is left out whole"
    read: Block = [[("mm indicator", "strong")], [("still", "text")], [("travel 112.2 mm", "faint")]]
    text = words(large_figure("2.513", "number", read, 40, 4, RICH))
    assert "mm indicator" in text and "112.2" not in text, "no number is parted from its unit"


def viewer(found: Finding, live: LiveMoveNotice | None = None) -> SimpleNamespace:
    view = SimpleNamespace(
        finding=found, online=True, units="mm", live=live, past_findings=[found],
        board=lambda finding: None, widest_board=lambda: None, find_jig=lambda name: SLED,
    )  # fmt: skip
    return SimpleNamespace(requests=SimpleNamespace(moved=False), view=view, glyphs=RICH)


@pytest.mark.parametrize("verdict", ["inside", "outside"])
def test_beside_a_good_figure_stands_no_fault(verdict) -> None:
    q = Quantity("fence", 4e-5, "rad", 2e-5, 10.0, 1e-4, verdict, "left end too near you")
    found = Finding(check="any", quantities=[q], verdict=verdict)
    text = " ".join(words(result_figure(viewer(found), 100, 14)).split())
    assert ("too near" in text) == (verdict == "outside")


@pytest.mark.parametrize(
    ("q", "good"),
    [
        (Quantity("fence", 4e-5, "rad", 2e-5, 10.0, 0.05 / 300, "inside", "left end too near you"), "0.05"),
        (Quantity("blade", 6e-4, "rad", 8e-5, 9.0, 2.5e-4, "outside", "rear leans left", over=160.0), "0.04"),
        (Quantity("minimum-zone", 0.02, "mm", 0.006, 9.0, 0.05, "inside", "crown"), "0.05"),
        (Quantity("side-play", 0.12, "mm", 0.008, 9.0, 0.10, "outside"), "0.10"),
        (Quantity("side-play", 0.084, "mm", 0.006, 10.0, 0.15, band=(0.03, 0.15)), "0.03 to 0.15"),
    ],
)
def test_on_a_phone_what_is_good_enough_stands_beside_the_figure(q, good) -> None:
    """Over the length that the figure is told over; in the row below it, or in the columns beside it."""
    found = Finding(check="any", quantities=[q], verdict=q.verdict)
    text = " ".join(words(result_figure(viewer(found), 40, 5)).split())
    within = "" if q.band else "within "
    assert text.endswith((f"good {within}{good}", f"good {within}{good}, {q.way or 'side play'}")), text
    if within:
        beside = [row[28:].strip() for row in words(result_figure(viewer(found), 40, 4)).splitlines()]
        assert f"good within {good}" in " ".join(beside), beside


def test_an_earlier_result_is_whole_where_its_row_is_narrow() -> None:
    q = Quantity("toe", -1e-4, "rad", 5e-5, 8.0, 1.6e-4, "inside", "opens at the rear")
    found = Finding(check="rip-fence", quantities=[q], verdict="inside", at="2026-06-03T10:00:00")
    shown = viewer(found)
    shown.view.finding = replace(found, at="2026-07-01T10:00:00")
    text = " ".join(words(past_rows(shown, 51, 10)).split())
    assert "opens at the rear 0.030 mm" in text and "good enough" in text and ">" not in text
    shown.view.finding = found
    assert not past_rows(shown, 51, 10), "the result that is shown is none before it"


@pytest.mark.parametrize("way", ["away", "toward"])
def test_the_live_move_is_drawn_with_the_distance_left(way) -> None:
    live = LiveMoveNotice(True, "go", "", True, "left", way, 0.05, target=0.14, uncertainty=0.01)  # type: ignore[arg-type]
    move = Move("left", "away", 0.144, 0.011, [], 0.0)
    found = Finding(check="any", quantities=[Quantity("fence", 3e-4, "rad", 2e-5)], move=move)
    text = words(move_picture(viewer(found, live), 78, 12))
    whole = "away from you" if way == "away" else "toward you"
    assert f"{RICH.up_mark if way == 'away' else RICH.down_mark} 0.05 mm {whole}" in text and "you" in text
    there = msgspec.structs.replace(live, there=True)
    assert "0.05 mm" not in words(move_picture(viewer(found, there), 78, 12)), "nothing goes on from there"


@pytest.mark.parametrize("glyphs", [RICH, PLAIN], ids=lambda g: g.name)
def test_a_dashed_line_has_gaps_and_a_whole_one_has_none(glyphs) -> None:
    for dashed in (True, False):
        canvas = Canvas(36, 12, glyphs)
        canvas.line((0.0, 0.1), (1.0, 0.9), "rule", dashed=dashed)
        canvas.line((0.5, 0.0), (0.5, 0.0), "rule")
        columns = ["".join(column) for column in zip(*(plain(line) for line in canvas.block()), strict=True)]
        empty = sum(not column.strip() for column in columns)
        assert (empty > 8) if dashed else not empty


@pytest.mark.parametrize(
    ("verdict", "phase", "told", "role"),
    [
        ("outside", "go", "! Not good enough yet.", "number"),
        ("cannot-tell", "go", "? Too close to call yet.", "number"),
        ("inside", "go", "\u221a Good enough once it is tight.", "good"),
        ("inside", "tighten", "\u221a Good enough.", "good"),
        ("outside", "tighten", "! Not good enough yet.", "number"),
    ],
)
def test_a_live_move_says_plainly_whether_it_is_good_enough(verdict, phase, told, role) -> None:
    live = LiveMoveNotice(
        True,
        phase,
        "",
        False,
        "left",
        "away",
        0.05,
        moved=0.09,
        target=0.144,
        tolerance=0.04,
        verdict=verdict,
    )
    shown = viewer(Finding(check="any", quantities=[]), live)
    shown.app = SimpleNamespace(size=SimpleNamespace(height=24))
    text = [words for words, _ in live_facts(shown)]
    assert text[:2] == [told, "Good enough within 0.04 mm."]
    assert live_gauge(shown, 60, 2)[0][1][1] == role


def test_what_limits_a_result_is_told_over_its_own_length() -> None:
    blade = Quantity("blade", 6e-4, "rad", 8e-5, 9.0, 2.5e-4, "outside", "rear leans left", over=160.0)
    row = BudgetRow("between sweeps", "A", 5e-5, 6.0, 1.0)
    text = words(budget_bars(viewer(Finding(check="any", quantities=[blade], budget=[row])), 52, 12))
    assert "0.02 mm" in text and "over 160 mm." in text and "300" not in text
    row = replace(row, standard_uncertainty=1.5e-6)
    text = words(budget_bars(viewer(Finding(check="any", quantities=[blade], budget=[row])), 52, 12))
    assert "under 0.001 mm" in text and "0.000" not in text


def test_the_picture_of_before_a_move_stands_back() -> None:
    fence = Quantity("fence", 3e-4, "rad", 2e-5, 9.0, 0.05 / 300, "outside", "left end too near you")
    shown = viewer(Finding(check="any", quantities=[fence]))
    assert {role for line in result_picture(shown, 52, 20) for _, role in line} > {"wood", "strong"}
    shown.requests.moved = True
    assert {role for line in result_picture(shown, 52, 20) for _, role in line} == {"faint"}


def test_only_what_is_still_to_do_is_said_while_the_sled_moves() -> None:
    ask = Prompt(phase="sweep", words="Press it home again. Push.", gather="sweep", ready=True, moving=True)
    shown = viewer(Finding(check="any", quantities=[]))
    shown.view.prompt, shown.view.trouble = ask, ""
    shown.app = SimpleNamespace(size=SimpleNamespace(height=24))
    assert [text for text, _ in prompt_words(shown)] == ["Push right through. Stop, then draw it back."]
    shown.view.prompt = replace(ask, moving=False)
    assert [text for text, _ in prompt_words(shown)] == [ask.words]


def test_the_sled_says_where_the_leaf_goes_in_inches_too() -> None:
    text = words(draw_sled(SLED, None, 60, 12, RICH, "inch"))
    assert "leaf 18.90 in" in text and "from pivot" in text, text


@pytest.mark.parametrize("severity", ["note", "warning"])
def test_what_the_daemon_warns_of_has_its_sign(severity) -> None:
    view = ViewModel(lambda: 0.0)
    fold(view, Notice("doubt", "The number creeps.", severity=severity))
    (told,) = view.notices
    assert told.bad == (severity == "warning")
