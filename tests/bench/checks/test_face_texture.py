"""A board rests on the texture that the average of a face no longer has: the contact lines' give or take knows it."""

from __future__ import annotations

import numpy as np
import pytest

from bench.checks.fence_straight import CHECK
from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.shared.board_contacts import texture
from bench.gear import Indicator

X = np.arange(-300.0, 300.01, 0.5)


def a_face(chance: np.random.Generator, rough: float) -> np.ndarray:
    """mm: a bow, a wave, and a texture of some 5 mm with standard deviation `rough`."""
    fine = np.convolve(chance.normal(size=X.size + 40), np.ones(10) / 10, "same")[20:-20]
    wave = np.sin(2 * np.pi * X / chance.uniform(150, 400))
    return (
        chance.normal(0, 0.02) * (1 - (X / 300) ** 2)
        + 0.01 * chance.normal() * wave
        + fine / fine.std() * rough
    )


def swept(chance: np.random.Generator, face: np.ndarray, edge: np.ndarray) -> list[Trace]:
    """Three passes as it lies and rolled over, each on a line of its own, noise of 0.5 um, counts of 1 um."""
    out = []
    for placement, sense in (("as-is", 1.0), ("rolled-over", -1.0)):
        for number in range(3):
            x = np.arange(-299.0, 299.0, 1.2) + chance.uniform(0, 1)
            r = np.interp(x, X, face) + sense * np.interp(x, X, edge) + chance.normal(0, 0.0005, x.size)
            r += chance.normal(0, 1e-5) * x
            out.append(Trace(placement, list(x), list(np.round(r, 3)), True, f"{placement}-{number}"))
    return out


def resting(face: np.ndarray, start: float, stop: float, pushed: float) -> float:
    """The slope of the edge of the convex hull (SciPy's, by Qhull) above the place that is pushed."""
    from scipy.spatial import ConvexHull

    here = (start <= X) & (stop >= X)
    level = face - np.polyval(np.polyfit(X, face, 1), X)
    points = np.column_stack([X[here], level[here]])
    for a, b in ConvexHull(points).simplices:
        (x0, y0), (x1, y1) = sorted((tuple(points[a]), tuple(points[b])))
        slope = (y1 - y0) / (x1 - x0) if x1 > x0 else 0.0
        above = np.all(points[:, 1] <= y0 + slope * (points[:, 0] - x0) + 1e-9)
        if x0 <= pushed <= x1 and above:
            return float(slope)
    raise AssertionError("no edge above the push")


STIFF = {"straightedge_thick": 100.0, "straightedge_high": 100.0}  # it does not bend


def held(seed: int, rough: float, faces: int) -> tuple[int, int, list[float]]:
    chance = np.random.default_rng(seed)
    good = many = 0
    wide = []
    for _ in range(faces):
        face = a_face(chance, rough)
        traces = swept(chance, face, 0.005 * np.sin(2 * np.pi * X / 600 + chance.uniform(0, 6)))
        found = CHECK.evaluate(
            Evidence("fence-straight", traces, STIFF, EvidenceGear(indicator=Indicator(resolution=0.001)))
        )
        for one in found.contact or []:
            true = resting(face, max(one.from_, -299.0), min(one.to, 299.0), one.pushed_at)
            good += abs(one.rotation - true) <= one.uncertainty
            many += 1
            wide.append(one.uncertainty)
    return good, many, wide


@pytest.mark.ci
def test_contact_lines_hold_on_a_textured_face() -> None:
    """Of 2 um of texture a line through the averaged face knew nothing: a third of its intervals held."""
    good, many, _ = held(1, 0.002, 8)
    assert many == 24
    assert good >= 21


@pytest.mark.slow
def test_contact_lines_hold_on_many_faces() -> None:
    for seed, rough in ((2, 0.001), (3, 0.002), (4, 0.005)):
        good, many, _ = held(seed, rough, 40)
        assert good / many > 0.9, (rough, good, many)


def test_a_smooth_face_pays_nothing_for_it() -> None:
    _, _, rough = held(5, 0.004, 1)
    _, _, smooth = held(5, 1e-6, 1)
    assert np.median(smooth) < 0.5 * np.median(rough)


def test_stations_show_no_texture() -> None:
    from types import SimpleNamespace

    x = np.arange(-300.0, 301.0, 50.0)
    face = SimpleNamespace(x=x, apart=50.0, length=600.0)
    assert texture(face, [Trace("as-is", list(x), [0.0] * x.size, True, "1")], ("as-is",)) is None  # type: ignore[arg-type]
