"""What is drawn, without a terminal: lines, figures, plots, drawings, looks. Pure code, checked for every size."""

from __future__ import annotations

import cmath
from itertools import product

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.color import Color
from rich.style import Style

from bench.console import themes
from bench.console.drawings.canvas import Canvas
from bench.console.drawings.glyphs import PLAIN, RICH
from bench.console.drawings.large_digits import ROWS, columns, large_text
from bench.console.drawings.plot import plot, scale, window
from bench.console.drawings.result import draw_result
from bench.console.drawings.set_up import draw_set_up
from bench.console.drawings.sled import draw_sled, indicator_on_sled
from bench.console.drawings.styled_text import Block, cut, fit, plain, width, wrap
from bench.console.instrument_view import PassView
from bench.console.message_folding import fold
from bench.console.readout import number
from bench.console.screens.sled_form import typed_jig
from bench.console.view_model import ViewModel
from bench.protocol import Finding, Jig, MarkNotice, Move, Prompt, PromptChanged, Quantity
from bench.render.result import opposite

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Mn", "Me", "Cf")), max_size=80)


@pytest.mark.ci
@given(TEXT, st.integers(1, 60))
def test_a_fitted_line_is_as_wide_as_asked(text: str, room: int) -> None:
    assert cell_len(cut(text, room)) <= room
    fitted = fit([(text, "text")], room)
    # a wide sign that does not fit leaves a column, which is filled
    assert width(fitted) == room


@given(TEXT, st.integers(4, 60))
def test_wrapped_words_stay_inside_and_none_is_lost(text: str, room: int) -> None:
    block = wrap(text, room)
    assert all(width(line) <= room for line in block)
    kept = "".join(plain(line) for line in block).replace(" ", "").replace("-", "")
    assert kept == "".join(text.split()).replace("-", "")


@pytest.mark.parametrize("size", ["small", "large", "huge"])
@pytest.mark.parametrize("glyphs", [RICH, PLAIN])
def test_figures_are_as_large_as_said_and_all_differ(size: str, glyphs) -> None:
    drawn = {}
    for char in "0123456789-+.":
        rows = large_text(char, size, glyphs)
        assert len(rows) == ROWS[size]
        assert {len(row) for row in rows} == {columns(char, size)}
        drawn[char] = tuple(rows)
    assert len(set(drawn.values())) == len(drawn)
    assert len(large_text("-12.345", size, glyphs)[0]) == columns("-12.345", size)
    with pytest.raises(ValueError, match="no figure"):
        large_text("x", size, glyphs)


def line(slope: float = 0.0003, count: int = 100, aside: tuple[int, ...] = ()) -> PassView:
    travel = [2.2 * n for n in range(count)]
    reading = [2.4 + slope * s + (0.05 if n in aside else 0.0) for n, s in enumerate(travel)]
    return PassView("s", "p", True, travel, reading, frozenset(aside))


@pytest.mark.parametrize("glyphs", [RICH, PLAIN])
@pytest.mark.parametrize(("wide", "high"), [(12, 3), (38, 4), (44, 9), (110, 30)])
def test_a_plot_fits_and_shows_readings_set_aside_by_their_shape(glyphs, wide: int, high: int) -> None:
    block = plot(None, [line(aside=(40, 41))], wide, high, glyphs, "mm")
    assert len(block) == high
    assert all(width(row) == wide for row in block)
    assert any(
        role == "aside" and text.strip() == glyphs.aside * len(text) for row in block for text, role in row
    )
    without = plot(None, [line()], wide, high, glyphs, "mm")
    assert glyphs.aside not in "".join(plain(row) for row in without)


def test_a_rising_line_rises_and_a_falling_one_falls() -> None:
    def ends(slope: float) -> tuple[int, int]:
        block = plot(line(slope), [], 60, 12, PLAIN, "mm")[:-1]
        rows = {}
        for y, row in enumerate(block):
            text = plain(row)
            for x, char in enumerate(text):
                if char in "▀▄█":
                    rows.setdefault(x, y)
        spots = sorted(x for x in rows if x > 12)
        return rows[spots[0]], rows[spots[-1]]

    first, last = ends(0.0005)
    assert first > last  # rows are counted from the top
    first, last = ends(-0.0005)
    assert first < last


@given(
    st.lists(
        st.tuples(st.floats(-300, 300, allow_nan=False), st.floats(-50, 50, allow_nan=False)),
        min_size=1,
        max_size=40,
    )
)
def test_every_point_is_inside_the_window(points: list[tuple[float, float]]) -> None:
    one = PassView("s", travel=[s for s, _ in points], reading=[r for _, r in points])
    navigation = window([one])
    assert all(navigation.left <= s <= navigation.right for s, _ in points)
    assert all(navigation.low - 1e-9 <= r <= navigation.high + 1e-9 for _, r in points)
    block = plot(one, [], 40, 8, RICH, "mm")
    assert all(width(row) == 40 for row in block)


@pytest.mark.parametrize(("value", "inside"), [(0.05, True), (0.3, False), (-0.3, False)])
def test_the_scale_puts_the_value_inside_or_outside_of_good_enough(value: float, inside: bool) -> None:
    row, foot = scale(value, 0.01, (-0.1, 0.1), 61, RICH, ("left", "right"))
    text = plain(row)
    assert len(text) == 61 and width(foot) == 61
    mark = text.index(RICH.middle)
    assert (text.index("[") < mark < text.index("]")) == inside
    assert (mark > 30) == (value > 0)


PICTURES = [
    "square-handle-left", "square-handle-right", "rip-fence", "slot-blade-turn", "straightedge-as-is",
    "straightedge-rolled-over", "test-board", "plate-wobble", "runner-left-widths", "slot-left-widths", "no-such-thing",
]  # fmt: skip


@pytest.mark.parametrize("name", PICTURES)
def test_every_drawing_fits_and_puts_the_indicator_on_its_side(name: str) -> None:
    sizes = [(27, 7), (34, 10), (56, 17)]
    for case in product(["left", "right"], ["near", "far"], sizes, [RICH, PLAIN]):
        side, fence, (wide, high), glyphs = case
        ask = Prompt(phase="place", words="", picture=name, side=side, mount="standing", placement="x")
        block = draw_set_up(ask, Jig("j", fence=fence), wide, high, glyphs, "mm")
        assert len(block) == high and all(width(row) == wide for row in block), case
        text = [plain(row) for row in block]
        if "indicator" in "".join(text) and "straight" not in name:
            row = next(t for t in text if "indicator" in t)
            point = glyphs.right_mark if side == "left" else glyphs.left_mark
            at, label = row.index(point), row.index("indicator")
            assert (at > label) == (side == "left"), (case, row)
        if glyphs is PLAIN:
            "".join(text).encode("cp437")


@pytest.mark.parametrize("fence", ["near", "far"])
@pytest.mark.parametrize("handle", ["left", "right"])
def test_the_square_lies_as_said(fence: str, handle: str) -> None:
    """Seen from above: the sled fence at the bottom where it is near, the handle on its side of the arm."""
    ask = Prompt(
        phase="place",
        words="",
        picture=f"square-handle-{handle}",
        side="right" if handle == "left" else "left",
    )
    text = [plain(row) for row in draw_set_up(ask, Jig("j", fence=fence), 40, 12, RICH, "mm")]
    wood = next(y for y, row in enumerate(text) if row.count(RICH.wood) > 20)
    assert (wood > 6) == (fence == "near")
    tip = text[1] if fence == "near" else text[-2]
    arm = tip.index(RICH.full)
    label = next(row.index("handle") for row in text if "handle" in row)
    assert (label < arm) == (handle == "left")


@pytest.mark.parametrize("pivot", ["left", "right"])
def test_the_described_sled_is_drawn_with_its_pivot_on_its_side(pivot: str) -> None:
    jig = typed_jig(
        {"pivot": pivot, "pivot_to_blade": "250 mm", "pivot_to_screw": "500 mm", "pivot_to_stop": "480 mm"}
    )
    text = [plain(row) for row in draw_sled(jig, None, 64, 9, RICH, "mm")]
    fence = next(row for row in text if row.count(RICH.wood) > 20)
    assert (fence.index("O") < fence.index("+")) == (pivot == "left")
    blade = next(row.index(RICH.down) for row in text if RICH.down in row)
    middle = (fence.index("O") + fence.index("+")) / 2  # 250 is half of 500
    assert abs(blade - middle) <= 2
    assert "you" in text[-1] and any("leaf 480 mm from pivot" in row for row in text)


@pytest.mark.parametrize("pivot", ["left", "right"])
@pytest.mark.parametrize("way", ["away", "toward"])
def test_the_move_points_the_way_it_goes(pivot: str, way: str) -> None:
    """Up is away from you; the figure stands whole beside the mark."""
    jig = Jig("j", pivot=pivot, pivot_to_blade=250.0, pivot_to_screw=500.0, pivot_to_stop=480.0)
    end = "left" if pivot == "right" else "right"
    move = Move(end, way, 0.144, 0.011, [], 0.0, "")  # type: ignore[arg-type]
    text = [plain(row) for row in draw_sled(jig, move, 64, 9, RICH, "mm")]
    fence = next(y for y, row in enumerate(text) if row.count(RICH.wood) > 20)
    mark = RICH.up_mark if way == "away" else RICH.down_mark
    beside = next(y for y, row in enumerate(text) if mark in row)
    assert abs(beside - fence) == 1
    assert f"0.14 mm {'away from' if way == 'away' else 'toward'} you" in text[beside]


def drawn_result(q: Quantity, jig: Jig | None = None) -> Block:
    return draw_result(Finding(check="any", quantities=[q]), jig, 400.0, 40, 12, RICH, "mm")


@pytest.mark.parametrize("value", [3e-4, -3e-4])
@pytest.mark.parametrize("pivot", ["left", "right"])
def test_a_turned_fence_is_drawn_to_its_side(pivot: str, value: float) -> None:
    """Turned counter-clockwise (positive) the left end comes toward you, the right end goes away."""
    q = Quantity("fence", value, "rad", 2e-5, 10.0, 1e-4)
    block = drawn_result(q, Jig("j", pivot=pivot))
    text = [plain(row) for row in block]
    free = "left" if pivot == "right" else "right"
    toward = (value > 0) == (free == "left")
    assert any(f"{free} end 0.120 mm {'toward' if toward else 'away from'} you" in row for row in text), text
    column = 0 if free == "left" else 39
    drawn = [
        y for y, row in enumerate(block[:-2]) for x, role in _roles(row) if x == column and role == "wood"
    ]
    assert drawn and (min(drawn) > 5) == toward


# a bar from its foot to its top, turned about the foot as the quantity's name says: the top goes to the
# watcher's left where the turn is counter-clockwise. From the sled fence's right end you stand at the left.
LEANS = [
    ("fence-lean", "top leans toward you", "toward you", "away from you"),
    ("blade-lean", "top leans to the left", "left", "right"),
]


@pytest.mark.parametrize(("name", "way", "left", "right"), LEANS)
@pytest.mark.parametrize("value", [2e-3, -2e-3])
def test_a_lean_is_drawn_to_its_side(name, way, left, right, value) -> None:
    foot, top = 0j, 1j * cmath.exp(1j * value)  # up is the imaginary axis, right the real one
    way = way if value > 0 else opposite(way)
    block = drawn_result(Quantity(name, value, "rad", 2e-4, 10.0, 1e-3, "outside", way))
    text = [plain(row) for row in block]
    (ends,) = [row for row in text if left in row and right in row]
    assert ends.index(left) < ends.index(right)
    role = "wood" if name == "fence-lean" else "steel"

    def place(row) -> float:
        columns = [x for x, one in _roles(row) if one == role]
        return sum(columns) / len(columns)

    assert (place(block[0]) > place(block[8])) == (top.real > foot.real)
    assert "0.60 mm" in text[0]


@pytest.mark.parametrize("play", [0.01, 0.04, 0.08, 0.14, 0.16, 0.3])
def test_a_size_with_two_limits_is_drawn_to_scale_between_them(play: float) -> None:
    block = drawn_result(Quantity("any-size", play, "mm", 0.004, band=(0.03, 0.15)))
    row = block[2]
    marks = [x for x, role in _roles(row) if role == "good"]
    wood = min(x for x, role in _roles(row) if role == "wood")
    wall = max(x for x, role in _roles(row) if role == "steel") + 1
    assert len(marks) == 2
    per_mm = (marks[1] - wall) / 0.15
    assert (marks[0] - wall) / per_mm == pytest.approx(0.03, abs=1 / per_mm)
    assert (wood - wall) / per_mm == pytest.approx(play, abs=1.5 / per_mm)
    text = " ".join(plain(line) for line in block)
    assert f"{play:.3f} mm, good from 0.03 to 0.15 mm" in text and "binds" in text and "loose" in text


def test_a_size_with_two_limits_has_them_on_its_line() -> None:
    row, _foot = scale(0.02, 0.004, (0.03, 0.15), 61, RICH, ("none", "much"), least=0.0)
    text = plain(row)
    assert 0 < text.index(RICH.middle) < text.index("[") < text.index("]") < 60


def _roles(line) -> list[tuple[int, str]]:
    out = []
    for text, role in line:
        out += [(len(out) + n, role) for n in range(len(text))]
    return out


def test_labels_are_whole_or_left_out() -> None:
    """No label is cut to a misleading figure, and none is written over another."""
    canvas = Canvas(20, 2, RICH)
    canvas.label(18, 0, "at 150 mm", "text")
    canvas.label(0, 0, "a label that is far too long for it", "text")
    canvas.label(12, 0, "over it", "text")
    assert plain(canvas.block()[0]) == "           at 150 mm"


@pytest.mark.parametrize("glyphs", [RICH, PLAIN], ids=lambda g: g.name)
@pytest.mark.parametrize("pivot", ["left", "right"])
@pytest.mark.parametrize("wide", [40, 78])
def test_the_indicator_of_the_live_move_stands_where_it_is_said(glyphs, pivot, wide) -> None:
    """At the free end, away from the pivot; beyond is above the sled fence, behind below; beside the arm its side."""
    jig = Jig("sled", pivot=pivot)

    def drawn(how: str) -> list[str]:
        text, leaned = (
            [plain(line) for line in indicator_on_sled(how, jig, wide, 9, glyphs, leans=leans)]
            for leans in (False, True)
        )
        assert len(text) == 5 and all("indicator" in "".join(text) for _ in text)
        assert "lean" in "".join(leaned) and "lean" not in "".join(text)
        return text

    for how, mark, step in (("beyond", glyphs.down_mark, -1), ("behind", glyphs.up_mark, 1)):
        rows = drawn(how)
        fence = next(y for y, row in enumerate(rows) if glyphs.wood * 9 in row)
        tip = rows[fence + step].index(mark)
        assert (tip < rows[fence].index("O")) == (pivot == "right") and "you" in rows[-1]
    for how, mark in (("right", glyphs.left_mark), ("left", glyphs.right_mark)):
        row = next(row for row in drawn(how) if mark in row)
        assert (row.index("indicator") > row.index(glyphs.full)) == (how == "right")


# ---- looks ---------------------------------------------------------------------------------------------


def luminance(color: Color) -> float:
    """Relative luminance of sRGB, WCAG 2.2 (https://www.w3.org/TR/WCAG22/#dfn-relative-luminance)."""
    parts = []
    for part in color.get_truecolor():
        share = part / 255
        parts.append(share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4)
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(style: Style) -> float:
    """Contrast ratio, WCAG 2.2 (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio)."""
    assert style.color is not None and style.bgcolor is not None
    light, dark = sorted((luminance(style.color), luminance(style.bgcolor)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


# 3:1 is asked of graphics and large figures
GRAPHICS = {"rule", "wood", "steel", "trace", "old-trace", "stale"}


@pytest.mark.parametrize("look", themes.THEME_NAMES)
def test_contrast_of_words_and_of_graphics(look: str) -> None:
    for role, style in themes.role_styles(look).items():
        least = 3.0 if role in GRAPHICS else 4.5
        assert contrast(style) >= least, f"{look} {role}: {contrast(style):.2f}"


@pytest.mark.parametrize("look", themes.THEME_NAMES)
@pytest.mark.parametrize(
    "pair", [("act-text", "act"), ("bar-text", "bar"), ("bar-key", "bar"), ("chosen-text", "chosen")]
)
def test_contrast_of_keys_and_of_the_chosen_row(look: str, pair: tuple[str, str]) -> None:
    variables = themes.find_theme(look).variables
    assert contrast(Style.parse(f"{variables[pair[0]]} on {variables[pair[1]]}")) >= 4.5


def test_the_look_without_colour_has_none() -> None:
    for role, style in themes.role_styles("pencil").items():
        for color in (style.color, style.bgcolor):
            assert color is not None
            triplet = color.get_truecolor()
            assert triplet.red == triplet.green == triplet.blue, role


def test_the_look_for_the_pis_own_screen_keeps_to_sixteen_colours_and_its_code_page() -> None:
    """Each colour is one of the sixteen of a text screen, on which no other can be told."""
    for style in themes.role_styles("tube").values():
        for color in (style.color, style.bgcolor):
            assert color is not None
            parts = color.get_truecolor()
            assert set(parts) <= {0, 255} or set(parts) <= {0, 128} or set(parts) == {192}, parts
    for sign in msgspec.structs.asdict(PLAIN).values():
        if isinstance(sign, str):
            sign.encode("cp437")


def test_no_state_is_told_by_colour_alone() -> None:
    for glyphs in (RICH, PLAIN):
        signs = [glyphs.good, glyphs.bad, glyphs.unsure, glyphs.none]
        assert len(set(signs)) == len(signs)


@pytest.mark.parametrize(
    ("term", "no_colour", "name"),
    [("linux", False, "tube"), ("xterm-256color", False, "shop"), ("xterm", True, "pencil")],
)
def test_the_look_that_suits_the_terminal(term: str, no_colour: bool, name: str) -> None:
    assert themes.theme_for_terminal(term, no_colour).name == name
    with pytest.raises(ValueError, match="shop, pencil, tube"):
        themes.find_theme("glow")


# ---- ages -----------------------------------------------------------------------------------------------


def test_the_number_has_no_minus_zero() -> None:
    from bench.console.instrument_view import InstrumentView

    assert number(InstrumentView("i", "indicator", value=-0.0004), "mm") == ("0.000", "mm")
    assert number(InstrumentView("i", "indicator", value=25.4), "inch") == ("1.0000", "in")


def test_a_mark_that_was_taken_back_is_drawn_no_longer() -> None:
    state = ViewModel(lambda: 100.0)

    def wanted(mark: int) -> None:
        ask = Prompt("mark", "", placement="handle-left", mark=mark, marks=4)
        fold(state, PromptChanged("run", "fence-square", ask=ask))

    wanted(1)
    for mark, at in enumerate((25.0, 75.0), 1):
        fold(state, MarkNotice("handle-left", at, mark, 4, 2.5))
        wanted(mark + 1)
    assert state.running_pass is not None and state.running_pass.travel == [25.0, 75.0]
    wanted(2)
    assert state.running_pass.travel == [25.0] and state.running_pass.reading == [2.5]
    fold(state, MarkNotice("handle-left", 75.0, 2, 4, 2.6))
    assert state.running_pass.reading == [2.5, 2.6]
