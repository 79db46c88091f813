"""Simulated shops whose boards are cut as bodies: fence, slot, runners, blade and board are turned and cut in the
plane, and what comes out is compared with the forecast.

Nothing of `bench.cut` or `bench.geometry` is used to make the truth: the board lies on the convex hull of the sled
fence's face, the sled's runner on two points of a bent slot, the teeth are swept through the board's polygon, and the
edge is gauged at two places. mm, rad; +X right, +Y away from the operator, counter-clockwise positive.

    python tests/benchmarks/cut_shops.py [SHOPS] [--known SHARE] [--passes N] [--no-advice]
"""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import shapely
from scipy.special import stdtrit
from shapely import affinity

from bench.cut.conditions import CutConditions
from bench.cut.document import cut_document
from bench.cut.terms import CHORD, FREE_SCATTER, PASS_ENDS, PASS_ENDS_WITHIN, LoggedFinding
from bench.finding import Contact, Finding, Quantity, SweepRow
from bench.gear import Jig
from bench.geometry.contact import contact_line

UM = 1e-6
KERF = 3.0  # mm
RUNNER = 500.0  # mm
RUNNER_AT = (110.0, 60.0)  # its middle on the sled, mm from the blade and from the sled fence
GAUGED_AT = 15.0  # mm in from either end of the edge
FACE = np.arange(-700.0, 701.0, 20.0)  # mm, places of the face
PLACES = np.arange(-700.0, 701.0, 50.0)  # mm, places of a measured profile
SLED = Jig("sled")
TEXTURE = 0.0005  # mm, of the face, from one of FACE to the next
HOLD, SEAT = 20 * UM, 30 * UM  # scatter of a held sled, and of a board or square pressed home


@dataclass(frozen=True)
class Shop:
    """What is true: rotation and form of the sled fence, bend and heading of the slot, play, blade, habits."""

    turned: float  # rad, the sled fence on the sled
    face: np.ndarray = field(repr=False)  # mm, height of the face at FACE
    curvature: float = 0.0  # 1/mm
    straight_at: float = 0.0  # mm of travel where the slot runs along Y
    play: float = 0.0  # rad, full swing
    held: bool = False  # to a wall, in every cut
    leaned: bool = False  # against a wall in the passes of a check, though it runs free in the cut
    blade: float = 0.0  # rad
    stops_at: float = (
        400.0  # mm by which the sled fence has passed the leading teeth when the sled is stopped
    )
    pass_ends: float = PASS_ENDS
    swept: float = 220.0
    handle: float = 150.0

    def pose(self, travel: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Rotation (n,) and place (n, 2) of the runner's middle; its two ends ride on the bent slot."""
        middle = RUNNER_AT[1] + travel

        def across(y: np.ndarray) -> np.ndarray:
            return -self.curvature * (y - RUNNER_AT[1] - self.straight_at) ** 2 / 2

        near, far = across(middle - RUNNER / 2), across(middle + RUNNER / 2)
        return np.arctan2(near - far, RUNNER), np.column_stack([RUNNER_AT[0] + (near + far) / 2, middle])

    def on_sled(self, point: np.ndarray, travel: np.ndarray, yaw: float) -> np.ndarray:
        """Where a point of the saw lies on the sled, (n, 2), at each travel."""
        rotation, place = self.pose(travel)
        turn = rotation + yaw
        x, y = (point - place).T
        c, s = np.cos(turn), np.sin(turn)
        return np.column_stack([c * x + s * y, -s * x + c * y]) + np.array(RUNNER_AT)

    def rests(self, start: float, stop: float) -> tuple[float, np.ndarray]:
        """Rotation of what lies on the face from start to stop, pushed at its middle, and a point that it touches:
        an edge of the convex hull of the face, as it stands turned on the sled."""
        at = np.unique(
            np.concatenate([FACE[np.abs(FACE - (start + stop) / 2) < (stop - start) / 2], [start, stop]])
        )
        points = np.column_stack([at, np.interp(at, FACE, self.face)])
        c, s = math.cos(self.turned), math.sin(self.turned)
        points = points @ np.array([[c, s], [-s, c]])
        below = shapely.Point((points[0, 0] + points[-1, 0]) / 2, -1000.0)
        hull = shapely.MultiPoint([*points, (below.x, below.y)]).convex_hull
        ring = np.array(hull.exterior.coords)
        push = (start + stop) / 2 * c
        best = max(
            (
                (a, b)
                for a, b in pairwise(ring)
                if min(a[0], b[0]) <= push <= max(a[0], b[0]) and a[0] != b[0]
            ),
            key=lambda edge: edge[0][1] + edge[1][1],
        )
        left, right = sorted(best, key=lambda p: p[0])
        return math.atan2(right[1] - left[1], right[0] - left[0]), left

    def cut(self, conditions: CutConditions, yaw: float, seat: float) -> float:
        """Angle error of one cut: of the edge that lay on the sled fence against the edge that was cut."""
        start, stop = conditions.stretch
        turned, touch = self.rests(start, stop)
        turned += seat
        board = shapely.box(start - touch[0], 0.0, stop - touch[0], conditions.cut)
        board = affinity.rotate(board, turned, origin=(0, 0), use_radians=True)
        board = affinity.translate(board, touch[0], touch[1])
        travel = np.linspace(-conditions.cut - 20.0, 20.0, 12)
        kept = board.difference(self._swept(np.zeros(2), travel, yaw))
        rear = np.array([-CHORD * math.sin(self.blade), CHORD * math.cos(self.blade)])
        # the rear teeth come through the board as far as the sled is pushed
        reach = np.linspace(CHORD - conditions.cut - 20.0, self.stops_at, 12)
        kept = kept.difference(self._swept(rear, reach, yaw))
        pieces = list(getattr(kept, "geoms", [kept]))
        left = conditions.at != "right"
        piece = (min if left else max)((p for p in pieces if p.area > 50.0), key=lambda p: p.centroid.x)
        # in the board's own frame: its edge on the sled fence is y = 0
        piece = affinity.translate(piece, -touch[0], -touch[1])
        piece = affinity.rotate(piece, -turned, origin=(0, 0), use_radians=True)
        near, far = (self._edge(piece, at, left) for at in (GAUGED_AT, conditions.cut - GAUGED_AT))
        # the cut edge's rotation from +Y is -dx/dy; the edge on the fence is turned against it the other way
        return math.atan2(far - near, conditions.cut - 2 * GAUGED_AT)

    def _swept(self, teeth: np.ndarray, travel: np.ndarray, yaw: float) -> shapely.Polygon:
        path = self.on_sled(teeth, travel, yaw)
        return shapely.LineString(path).buffer(KERF / 2, cap_style="flat", join_style="mitre")

    @staticmethod
    def _edge(piece: shapely.Polygon, at: float, left: bool) -> float:
        line = shapely.LineString([(-3000.0, at), (3000.0, at)])
        low, _, high, _ = piece.intersection(line).bounds
        return high if left else low

    def sweep(self, yaw: float, seat: float) -> float:
        """Rotation that a true square on the sled fence shows, read at the leading teeth while the sled is pushed."""
        turned, touch = self.rests(-self.handle, 0.0)
        turned += seat
        travel = np.linspace(-self.pass_ends - self.swept, -self.pass_ends, 23)
        on_sled = self.on_sled(np.zeros(2), travel, yaw)
        # the arm is a line through `touch`, square to the handle; its distance from the tip along the fence's own X
        along = np.array([math.cos(turned), math.sin(turned)])
        reading = -(on_sled - touch) @ along  # grows as the arm comes toward a tip on its right
        return float(np.polyfit(travel, reading, 1)[0])


def bowed(height: float, s_shape: float, ripple: np.ndarray) -> np.ndarray:
    """A face with a bow over 1,200 mm as high as `height` over 600 mm would have it, an S and a ripple."""
    x = FACE
    return height * (1 - (x / 300.0) ** 2) + s_shape * np.sin(np.pi * x / 300.0) + ripple


def draw(rng: np.random.Generator, measured: dict[str, bool]) -> Shop:
    """A shop; what nobody measures is drawn from a normal distribution with the standard uncertainty of the trade's
    allowance, which is all that is known of it."""

    def allowed(half_width: float) -> float:
        return float(rng.normal(0.0, half_width / math.sqrt(3.0)))

    known = measured["fence-straight"]
    face = bowed(
        rng.uniform(-0.03, 0.03) if known else allowed(0.05),
        rng.normal(0.0, 0.006) if known else 0.0,
        rng.normal(0.0, TEXTURE, FACE.size),
    )
    bend = rng.normal(0.0, 0.012) if measured["slot-curvature"] else allowed(0.02)
    play = rng.uniform(0.0, 400 * UM if measured["side-play"] else 6 * FREE_SCATTER)
    shop = Shop(
        turned=0.0,
        face=face,
        curvature=8 * bend / 500.0**2,
        straight_at=rng.uniform(-200.0, 0.0),
        play=play,
        held=bool(rng.random() < 0.35),
        leaned=bool(rng.random() < 0.5),
        blade=rng.normal(0.0, 150 * UM) if measured["slot-blade"] else allowed(0.05 / 150),
        stops_at=rng.uniform(0.0, 1.5 * CHORD) if rng.random() < 0.3 else 400.0,
        pass_ends=PASS_ENDS + rng.uniform(-1, 1) * PASS_ENDS_WITHIN,
        swept=rng.uniform(180.0, 250.0),
    )
    # a sled fence is set by somebody to what it then shows
    out = rng.normal(0.0, 90 * UM) if measured["fence-square"] else allowed(0.10 / 300)
    return replace(shop, turned=out - shop.sweep(0.0, 0.0))


def yaws(shop: Shop, rng: np.random.Generator, count: int) -> np.ndarray:
    if shop.held:
        return rng.normal(0.0, HOLD, count)
    return rng.uniform(-shop.play / 2, shop.play / 2, count)


CHECKS = ("fence-square", "fence-straight", "side-play", "slot-blade")


def checked(
    shop: Shop, check: str, rng: np.random.Generator, curved: bool = True, passes: int = 3
) -> LoggedFinding:
    """The finding that a check of the shop leaves. curved: with the slot's curvature. passes: in a set-up; the other
    checks are as much sharper as more of them make the sled fence's."""
    fine = math.sqrt(3 / passes)

    def angle(name: str, true: float, u: float) -> Quantity:
        return Quantity(name, true + rng.normal(0.0, fine * u), "rad", 1.96 * fine * u, None)

    more: dict[str, object] = {}
    quantities: list[Quantity] = []
    if check == "fence-square":
        quantities, more["sweeps"] = fence_square(shop, rng, curved, passes)
    elif check == "fence-straight":
        more["profile"], more["contact"] = straightness(shop, rng, 0.001 * fine)
    elif check == "side-play":
        quantities = [angle("yaw-play", shop.play, 10 * UM)]
    else:
        quantities = [angle("blade", shop.blade, 30 * UM)]
    hold = "left" if (shop.held or shop.leaned) and check == "fence-square" else None
    found = Finding(id=check, check=check, jig="sled", quantities=quantities, **more)
    return LoggedFinding(found, 3, hold=hold, swept=shop.swept)


def fence_square(
    shop: Shop, rng: np.random.Generator, curved: bool, passes: int = 3
) -> tuple[list[Quantity], list[SweepRow]]:
    """So many passes a set-up, reseated; the square is true, for turning it over takes its error out."""
    rows, slopes = [], []
    in_check = replace(shop, held=shop.held or shop.leaned)
    base, by_yaw = shop.sweep(0.0, 0.0), shop.sweep(UM, 0.0) - shop.sweep(0.0, 0.0)
    for placement in ("handle-left", "handle-right"):
        some = base + yaws(in_check, rng, passes) * by_yaw / UM + rng.normal(0.0, SEAT, passes)
        slopes.append(some)
        rows += [SweepRow(placement, True, 200, 0, float(value), 3 * UM) for value in some]
    scatter = math.sqrt(np.mean([s.var(ddof=1) for s in slopes]) / (2 * passes))
    own = 5 * UM * math.sqrt(3 / passes)  # type B of the instrument
    u = math.hypot(scatter, own)
    dof = 2 * (passes - 1) * (u / scatter) ** 4
    value = float(np.mean(slopes)) + rng.normal(0.0, own)
    quantities = [Quantity("fence", value, "rad", float(stdtrit(dof, 0.975)) * u, dof)]
    if curved:
        u_k = 6e-8 * math.sqrt(3 / passes)
        seen = shop.curvature + rng.normal(0.0, u_k)
        quantities.append(Quantity("slot-curvature", seen, "1/mm", 1.96 * u_k, None))  # type: ignore[arg-type]
    return quantities, rows


def straightness(
    shop: Shop, rng: np.random.Generator, noise: float = 0.001
) -> tuple[list[tuple[float, float]], list[Contact]]:
    seen = np.interp(PLACES, FACE, shop.face) + rng.normal(0.0, noise, PLACES.size)
    seen -= np.polyval(np.polyfit(PLACES, seen, 1), PLACES)
    profile = [(float(x), float(y)) for x, y in zip(PLACES, seen, strict=True)]
    # as the check states it: noise, and the texture that lies between the heights
    fuzz = np.full(PLACES.size, math.hypot(noise, TEXTURE))
    line = contact_line(PLACES, seen, -400.0, 0.0, -200.0, noise=fuzz)
    u = line.standard_uncertainty or 0.0
    return profile, [Contact(-400.0, 0.0, -200.0, line.rotation, 1.96 * u)]


def conditions_of(shop: Shop, rng: np.random.Generator) -> CutConditions:
    return CutConditions(
        board=float(rng.uniform(120.0, 600.0)),
        cut=float(rng.uniform(80.0, 400.0)),
        at=("left", "across", "right")[rng.integers(3)],
        clear=shop.stops_at >= CHORD,
        held=shop.held,
        handle=shop.handle,
    )


def put_right(shop: Shop, part: str, found: float | None = None) -> Shop:
    """The shop after the part was put right. found: what the check told of the sled fence, by which it is moved; moved
    until nothing is left where None."""
    if part == "fence":
        return replace(shop, turned=shop.turned - (shop.sweep(0.0, 0.0) if found is None else found))
    if part == "play":
        return replace(shop, held=True)
    if part == "bow":
        turned, _ = shop.rests(-shop.handle, 0.0)  # straight through where the handle lay
        return replace(shop, face=np.zeros(FACE.size), turned=turned)
    if part == "slot":
        straight = replace(shop, curvature=0.0)  # so that the sled fence shows what it showed
        return replace(straight, turned=shop.turned + shop.sweep(0.0, 0.0) - straight.sweep(0.0, 0.0))
    if part == "heel":
        return replace(shop, stops_at=400.0)
    return shop


def stays_within(shop: Shop, conditions: CutConditions) -> float:
    """What 95 % of this shop's parts stay within: the bias of a cut body, and the scatter of many."""
    bias, step = shop.cut(conditions, 0.0, 0.0), 50 * UM
    by_yaw = (shop.cut(conditions, step, 0.0) - bias) / step
    same = np.random.default_rng(4)  # for every shop, so that shops differ by themselves only
    angles = bias + by_yaw * yaws(shop, same, 4000) + same.normal(0.0, SEAT, 4000)
    return float(np.quantile(np.abs(angles), 0.95))


@dataclass
class Case:
    """One board of one shop: what was forecast, and what came out."""

    forecast: dict
    edges: np.ndarray
    all_known: bool
    gains: dict[str, float] = field(default_factory=dict)
    measured: int = 0  # checks that were to be taken first
    named: list[str] = field(default_factory=list)  # to be put right then
    gained: float | None = None  # by that, as far as the checks can tell it


def shop_cases(
    seed: int, boards: int = 3, cuts: int = 20, known: float = 0.5, advise: bool = True, passes: int = 3
) -> list[Case]:
    """Several boards of one shop. known: share of the shops in which everything was measured."""
    rng = np.random.default_rng(seed)
    everything = bool(rng.random() < known)
    measured = {check: everything or bool(rng.random() < 0.7) for check in (*CHECKS, "slot-curvature")}
    measured["slot-curvature"] &= measured["fence-square"]
    shop = draw(rng, measured)
    curved = measured["slot-curvature"]
    results = [checked(shop, check, rng, curved, passes) for check in CHECKS if measured[check]]
    cases = []
    for _ in range(boards):
        conditions = conditions_of(shop, rng)
        forecast = cut_document(results, SLED, conditions)
        seats = rng.normal(0.0, SEAT, cuts)
        edges = np.array(
            [shop.cut(conditions, y, s) for y, s in zip(yaws(shop, rng, cuts), seats, strict=True)]
        )
        case = Case(forecast, edges, all(measured.values()))
        if advise:
            advised(case, shop, conditions, results, rng, passes)
        cases.append(case)
    return cases


def advised(
    case: Case,
    shop: Shop,
    conditions: CutConditions,
    results: list[LoggedFinding],
    rng: np.random.Generator,
    passes: int,
) -> None:
    """What each part gains when it is put right, and what is gained by who does as he is told: takes the checks that
    are named first, until something is to be put right, and does that."""
    before = stays_within(shop, conditions)
    for row in case.forecast["rows"]:
        if row["part"] != "seat":
            case.gains[row["part"]] = before - stays_within(put_right(shop, row["part"]), conditions)
    first = case.forecast["first"]
    for _ in CHECKS:
        if first is None or first["act"] == "put-right":
            break
        case.measured += 1
        passes *= 1 if first["assumed"] else 4
        results = [checked(shop, first["check"], rng, passes=passes), *results]
        first = cut_document(results, SLED, conditions)["first"]
    if first is None or first["act"] != "put-right":
        return
    case.named = [part for part in (first["part"], first["together_with"]) if part]
    of_fence = next((one.finding for one in results if one.finding.check == "fence-square"), None)
    after = shop
    for part in case.named:
        found = of_fence.quantities[0].value if of_fence is not None else None
        after = put_right(after, part, found)
    case.gained = before - stays_within(after, conditions)


def figures(cases: list[Case]) -> dict[str, float]:
    """Coverage of the interval; the largest error of good_share over its deciles; how often what is named first helps
    most; how far what is advised ever made parts worse."""
    inside = np.concatenate(
        [
            np.abs(c.edges - c.forecast["square"]["value"]) <= c.forecast["square"]["uncertainty"]
            for c in cases
        ]
    )
    within = np.concatenate([np.abs(c.edges) <= c.forecast["within_95"] for c in cases])
    told = np.array([c.forecast["good_share"] for c in cases])
    true = np.array([np.mean(np.abs(c.edges) <= c.forecast["tolerance"]) for c in cases])
    tenths = np.array_split(np.argsort(told), 10)
    errors = [float(true[i].mean() - told[i].mean()) for i in tenths if i.size]
    found = {
        "boards": len(cases),
        "interval holds": float(inside.mean()),
        "within_95 holds": float(within.mean()),
        "worst decile": max(errors, key=abs),
        "deciles": [round(e, 3) for e in errors],
        "nothing named": sum(c.gained is None for c in cases),
    }
    named = [c for c in cases if c.gained is not None]
    at_once = [c for c in named if not c.measured]
    known = [c for c in at_once if c.all_known]
    for name, some in (("after its checks", named), ("at once", at_once), ("all known", known)):
        if some:
            gained = 300 * np.array([c.gained for c in some])
            most = 300 * np.array([max(c.gains.values()) for c in some])
            helps = 300 * np.array([c.gains[c.named[0]] if len(c.named) == 1 else c.gained for c in some])
            found[f"put right, {name}"] = {
                "boards": len(some),
                "helps most": float(np.mean(helps >= most - 0.0005)),
                "helps within .003 of the most": float(np.mean(helps >= most - 0.003)),
                "worst gain, mm per 300": float(gained.min()),
                "makes worse by more than .001": float(np.mean(gained < -0.001)),
            }
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("shops", type=int, nargs="?", default=500)
    parser.add_argument("--first", type=int, default=0, help="seed of the first shop")
    parser.add_argument("--known", type=float, default=0.5, help="share of shops that measured everything")
    parser.add_argument("--passes", type=int, default=3, help="in a set-up of the sled fence's check")
    parser.add_argument("--no-advice", action="store_true", help="only what comes out")
    asked = parser.parse_args()
    cases = [
        case
        for seed in range(asked.first, asked.first + asked.shops)
        for case in shop_cases(seed, known=asked.known, passes=asked.passes, advise=not asked.no_advice)
    ]
    print(json.dumps(figures(cases), indent=1))


if __name__ == "__main__":
    main()
