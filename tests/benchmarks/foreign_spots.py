"""Recorded files of single readings made by other hands: plate-wobble, side-play, runner-fit, test-board.

May import: numpy, scipy, foreign_hands. Lengths in mm, angles in rad.
"""

from __future__ import annotations

import numpy as np
from foreign_hands import Array, Case, File, Gauge, Rng, swept_file
from scipy.optimize import linprog


def plate_wobble(rng: Rng) -> Case:
    g = Gauge.drawn(rng)
    marks, times = int(rng.choice([4, 6, 8, 8, 12])), int(rng.choice([1, 1, 2, 3]))
    tilt, warp, lift = rng.uniform(0, 0.15), rng.choice([0.0, 0.02, 0.05]), rng.choice([0.0, 0.002])
    where = rng.uniform(0, 2 * np.pi, 2)
    turn = np.arange(marks) * 2 * np.pi / marks
    first = tilt / 2 * np.cos(turn - where[0])
    rest = warp / 2 * np.cos(2 * turn - where[1])
    plate = first + rest
    out = swept_file(rng, g)
    for k in range(times):
        for m in range(marks):
            d = plate[m : m + 1] + 1.5 + rng.normal(0, lift, 1)
            out.add(f"{k + 1},turn-{360 * m // marks}", np.zeros(1), g.read(rng, d))
    fine = np.linspace(0, 2 * np.pi, 7200)  # the plate's own, not that of the marks
    whole = tilt / 2 * np.cos(fine - where[0]) + warp / 2 * np.cos(2 * fine - where[1])
    truths = {"total": float(np.ptp(whole)), "tilt": tilt, "warp": float(warp), "phase": where[0]}
    one = np.hypot(g.single, lift) / np.sqrt(times)
    scale = g.wave
    ideals = {
        "total": 1.96 * float(np.hypot(np.sqrt(2) * one, scale)),
        "tilt": 1.96 * float(np.hypot(2 * np.sqrt(2 / marks) * one, scale)),
        "warp": 1.96 * float(np.hypot(np.sqrt(2) * one, scale)),
    }
    if tilt > 0.02:
        ideals["phase"] = 1.96 * float(np.sqrt(2 / marks) * np.hypot(one, g.wave / np.sqrt(2)) / (tilt / 2))
    else:
        del truths["phase"]
    return Case(
        "plate-wobble",
        out.text,
        truths,
        ideals,
        {f"{marks} marks", f"{times} times"},
        {},
        g.count if rng.uniform() < 0.5 else None,
        0.05,
        None,
    )


def side_play(rng: Rng) -> Case:
    g = Gauge.drawn(rng)
    play, yaw = rng.uniform(0.0, 0.25), rng.uniform(0, 1e-3)
    at, times = float(rng.choice([200, 250, -220])), int(rng.choice([2, 3, 5, 5]))
    hand = rng.choice([0.001, 0.003, 0.006])
    out = swept_file(rng, g)
    turn = (
        yaw / 2 * at
    )  # to the left where the sled yaws counter-clockwise and it is looked at beyond the middle
    number = 0
    for name, x, place in (
        ("leaned-left", -play / 2, 0.0),
        ("leaned-right", play / 2, 0.0),
        ("twisted-left", -abs(turn), at),
        ("twisted-right", abs(turn), at),
    ):
        for _ in range(times):
            number += 1
            at_x = np.array([2.0 + x]) + rng.normal(0, hand, 1)
            out.add(f"{number},{name}", np.array([place]), g.read(rng, at_x))
    one = np.sqrt(2 * np.hypot(hand, g.single) ** 2 / times + g.wave**2)
    return Case(
        "side-play", out.text, {"side-play": play, "yaw-play": yaw},
        {"side-play": 1.96 * one, "yaw-play": 1.96 * one / abs(at)},
        {f"{times} times"}, {}, g.count if rng.uniform() < 0.5 else None, None, None,
    )  # fmt: skip


def runner_fit(rng: Rng) -> Case:
    stations_slot, stations_runner = int(rng.choice([3, 5, 7])), int(rng.choice([3, 5]))
    slot_at, runner_at = np.linspace(0, 600, stations_slot), np.linspace(0, 450, stations_runner)
    clear = rng.uniform(-0.05, 0.3)
    slot = 19.1 + rng.normal(0, 0.02, stations_slot)
    runner = 19.1 - clear + rng.normal(0, 0.02, stations_runner)
    times, hand = int(rng.choice([1, 2, 3])), 0.006
    inside, outside = rng.uniform(-0.02, 0.02, 2)  # the limit of the caliper
    out = File("what", "station{},width{}", False, False)
    side = str(rng.choice(["left", "right"]))
    for name, at, w, off in (("slot", slot_at, slot, inside), ("runner", runner_at, runner, outside)):
        for _ in range(times):
            read = np.round((w + off + rng.normal(0, hand, w.size)) / 0.01) * 0.01
            out.add(f"{name}-{side}", at, read)
    yaw, play, relief = 0.0, 0.0, 0.0
    for p in np.unique(np.concatenate([slot_at - u for u in runner_at] + [np.linspace(0, 150, 16)])):
        t, x, need = play_at(p, slot_at, slot, runner_at, runner)
        relief = max(relief, need)
        if 0 <= p <= 150:
            yaw, play = max(yaw, t), max(play, x)
    one = np.hypot(hand, 0.01 / np.sqrt(12)) / np.sqrt(times)
    sd = np.sqrt(2 * one**2 + 2 * 0.02**2 / 3)
    return Case(
        "runner-fit", out.text, {"yaw-play": yaw, "side-play": play, "relief": relief},
        {"yaw-play": 1.96 * sd * 2 / 450 * 1.2, "side-play": 1.96 * sd, "relief": 1.96 * sd},
        {f"{times} times", "binds" if relief > 0 else "fits"}, {}, None, None, None,
    )  # fmt: skip


def play_at(
    p: float, slot_at: Array, slot: Array, runner_at: Array, runner: Array
) -> tuple[float, float, float]:
    """Yaw play, side play at the runner's middle and relief at one place, by linear programming."""
    u = np.unique(np.concatenate([runner_at, slot_at - p]))
    u = u[(u >= max(runner_at[0], slot_at[0] - p) - 1e-9) & (u <= min(runner_at[-1], slot_at[-1] - p) + 1e-9)]
    if u.size < 2:
        return 0.0, 0.0, 0.0
    room = (np.interp(u + p, slot_at, slot) - np.interp(u, runner_at, runner)) / 2
    v = u - (runner_at[0] + runner_at[-1]) / 2
    # |x - t v| <= room + z: z is half of what must come off the whole width
    rows = np.vstack([np.column_stack([np.ones(v.size), -v]), np.column_stack([-np.ones(v.size), v])])
    free = [(None, None)] * 2
    tight = linprog(
        [0, 0, 1],
        A_ub=np.column_stack([rows, -np.ones(2 * v.size)]),
        b_ub=np.tile(room, 2),
        bounds=[*free, (None, None)],
    )
    if tight.fun > 0:
        return 0.0, 0.0, 2 * float(tight.fun)
    ends = []
    for c in ([0, 1], [0, -1], [1, 0], [-1, 0]):
        ends.append(linprog(c, A_ub=rows, b_ub=np.tile(room, 2), bounds=free).fun)
    return float(-ends[1] - ends[0]), float(-ends[3] - ends[2]), 0.0


def test_board(rng: Rng) -> Case:
    a, kept = rng.uniform(-8e-4, 8e-4), str(rng.choice(["left", "right"]))
    n, apart = 4, float(rng.choice([250, 370]))
    scatter = rng.choice([0.0, 20e-6, 50e-6])
    taper = sum(a + rng.normal(0, scatter) for _ in range(n)) if scatter else n * a
    width = rng.uniform(22, 32)
    near, far = strip(a if not scatter else taper / n, width, apart, kept)
    times, hand, scale = int(rng.choice([2, 3, 3, 5])), 0.006, rng.uniform(-0.0005, 0.0005)
    out = File("end", "width{1}", False, bool(rng.uniform() < 0.2))
    rows = [out.lines[0]]
    count = 0.0127 if out.reading_in else 0.01
    for name, w in (("near", near), ("far", far)):
        for _ in range(times):
            read = round((w * (1 + scale) + rng.normal(0, hand)) / count) * count
            rows.append(f"{name},{read / 25.4:.5f}" if out.reading_in else f"{name},{read:.3f}")
    one = np.sqrt(2 * (hand**2 + count**2 / 12) / times) / (n * apart)
    ideal = 1.96 * float(np.hypot(one, scatter / np.sqrt(n)))
    way = ("left end too near" if a > 0 else "left end too far") if abs(a) > 1.5e-4 else None
    return Case(
        "test-board",
        "\n".join(rows) + "\n",
        {"board": a},
        {"board": ideal},
        {f"scatter {scatter * 1e6:.0f}", kept},
        {"apart": apart, "kept": kept, "turns": n},
        None,
        0.05 / 300,
        way,
    )


def strip(a: float, width: float, apart: float, kept: str) -> tuple[float, float]:
    """A square board really cut five times: corners by half planes, then turned; widths of the last strip.

    The fence lies along X turned by a; the blade cuts along Y. Kept left, what lies right of the blade falls off
    and the board is turned clockwise; kept right the mirror image of that, with the fence mirrored too.
    """
    if kept == "right":
        return strip(-a, width, apart, "left")
    board = np.array([[-400.0, 0.0], [0.0, 0.0], [0.0, 400.0], [-400.0, 400.0]])
    first: Array | None = None  # the first edge, two points: where it touched the fence and beyond
    offcut = board
    for cut in range(5):
        low = board @ np.array([np.sin(-a), np.cos(-a)])  # distance from the fence's line
        board = board + (low * 0.0)[:, None]
        right = -5.0 if cut < 4 else -width
        x = board[:, 0].max() + right
        offcut, board = keep(board, x, over=True), keep(board, x, over=False)
        edge = board[np.argsort(board[:, 0])[-2:]]
        if cut == 4:
            break
        if cut == 0:
            first = edge
        # clockwise by a right angle and what is needed for the edge just cut to lie on the fence
        e = edge[np.argsort(edge[:, 1])]
        now = np.arctan2(*(e[1] - e[0])[::-1])
        turn = a - now
        c, s = np.cos(turn), np.sin(turn)
        m = np.array([[c, -s], [s, c]])
        board = board @ m.T
        first = first @ m.T if first is not None else None
        # what lies on the fence: its line through the origin, turned by a
        away = board @ np.array([-np.sin(a), np.cos(a)])
        shift = -away.min() * np.array([-np.sin(a), np.cos(a)])
        board = board + shift
        first = first + shift if first is not None else None
    assert first is not None
    # widths of the strip square to its last cut, at two places along it
    x_cut = float(offcut[:, 0].min())
    f = first[np.argsort(first[:, 1])]
    grow = (f[1, 0] - f[0, 0]) / (f[1, 1] - f[0, 1])
    at = [f[0, 1] + 15.0, f[0, 1] + 15.0 + apart]
    return tuple(float(f[0, 0] + grow * (y - f[0, 1]) - x_cut) for y in at)  # type: ignore[return-value]


def keep(board: Array, x: float, *, over: bool) -> Array:
    """The part of a convex board on one side of the line X = x."""
    out = []
    for p, q in zip(board, np.roll(board, -1, axis=0), strict=True):
        if (p[0] >= x) == over:
            out.append(p)
        if (p[0] - x) * (q[0] - x) < 0:
            out.append(p + (q - p) * (x - p[0]) / (q[0] - p[0]))
    return np.array(out)
