"""What all foreign files share: an instrument with errors, hands that push, rows of a recorded file, a case with its truth.

Nothing here knows the program: bodies are placed as points and lines and met along the plunger's axis. May import:
numpy. Lengths in mm, angles in rad.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

Rng = np.random.Generator
Array = np.ndarray
COUNTS = (
    0.001,
    0.001,
    0.001,
    0.002,
    0.005,
    0.01,
    0.0127,
    0.00127,
)  # mm; the last two are 0.0005 and 0.00005 in

STYLES = ("even", "uneven", "slowing", "dwell", "marks", "few")


@dataclass
class Case:
    """One recorded file. truths: by quantity. ideals: half-width of 95 % that one who knew every size would state.

    tags: what is in it. settings: count and limits to declare, {} for none. limit: tolerance of the first
    quantity. way: the word that must be in the first quantity's way, None where the truth is within the ideal.
    """

    kind: str
    text: str
    truths: dict[str, float]
    ideals: dict[str, float]
    tags: set[str] = field(default_factory=set)
    options: dict[str, object] = field(default_factory=dict)
    count: float | None = None
    limit: float | None = None
    way: str | None = None
    # what is declared of the sled and the square
    sled: dict[str, object] = field(default_factory=dict)
    square: dict[str, object] = field(default_factory=dict)
    # `yaw_play`; `passes`, `pool`: a variance of 34 degrees of freedom
    log: dict[str, float] = field(default_factory=dict)
    # half-width of one who knew no more than can be known here; {}: as `ideals`
    knowable: dict[str, float] = field(default_factory=dict)


@dataclass
class Gauge:
    """Counts, noise, and an error of its own: a wave along its range and a slope of it, 1 % at most.

    A wave of at most 0.4 of a count: over a tenth of a millimetre it errs by no more than one count.
    """

    count: float
    noise: float
    wave: float
    length: float
    phase: float
    gain: float

    @classmethod
    def drawn(cls, rng: Rng) -> Gauge:
        count = float(rng.choice(COUNTS))
        noise = float(rng.uniform(0.0005, 0.002) if count < 0.004 else count * rng.uniform(0.1, 0.5))
        return cls(
            count,
            noise,
            count * rng.uniform(0, 0.4),
            rng.uniform(0.2, 2.0),
            rng.uniform(0, 2 * np.pi),
            rng.uniform(-0.006, 0.006),
        )

    @property
    def end_error(self) -> float:
        """Standard deviation of the difference of two places' errors, mm, wave alone."""
        return self.wave

    def read(self, rng: Rng, depth: Array) -> Array:
        middle = float(np.mean(depth))
        true = np.asarray(depth, float)
        off = self.wave * np.sin(2 * np.pi * true / self.length + self.phase) + self.gain * (true - middle)
        return np.round((true + off + rng.normal(0, self.noise, true.shape)) / self.count) * self.count

    @property
    def single(self) -> float:
        """Standard deviation of one reading."""
        return float(np.hypot(self.noise, self.count / np.sqrt(12)))


def pushed(rng: Rng, length: float, tags: set[str]) -> tuple[Array, Array]:
    """Times and places of one push; the travel's own scale is 0.01 mm fine."""
    taken = [s for s in STYLES if s in tags]  # one pair of hands a file
    style = taken[0] if taken else rng.choice(STYLES, p=[0.2, 0.3, 0.15, 0.1, 0.15, 0.1])
    if style == "marks":
        s = np.arange(0.0, length + 0.1, 25.0 if length >= 200 else 15.0)  # pencilled once, for every push
        n = s.size
        tags.add("marks")
        return np.arange(n) * 1.5, np.round(s, 1)
    n = int(rng.integers(8, 16)) if style == "few" else int(rng.integers(60, 500))
    tags.add(str(style))
    u = np.linspace(0, 1, n)
    if style == "slowing":
        u = (u - 0.4 * u**2) / 0.6
    elif style in ("uneven", "dwell"):
        speed = 1 + 0.5 * np.sin(2 * np.pi * (rng.uniform(0.5, 3) * u + rng.uniform()))
        u = np.concatenate([[0], np.cumsum((speed[1:] + speed[:-1]) / 2)])
        u /= u[-1]
        if style == "dwell":
            at = int(rng.integers(n // 8, n - n // 8))
            u = np.concatenate([u[:at], np.full(n // 2, u[at]), u[at:]])
    return np.arange(u.size) * 0.02, np.round(u * length, 2)


def texture(rng: Rng, places: Array, size: float, reach: float) -> Array:
    """A rough edge: noise along the edge, smoothed over `reach`, the same for every push over it."""
    grid = np.arange(places.min() - 5 * reach, places.max() + 5 * reach, reach / 4)
    kernel = np.exp(-0.5 * (np.arange(-12, 13) / 4) ** 2)
    rough = np.convolve(rng.standard_normal(grid.size), kernel, mode="same") / np.sqrt(np.sum(kernel**2))
    return np.interp(places, grid, size * rough)


def dirt(rng: Rng, places: Array, tags: set[str]) -> Array:
    """Dust (short, proud) or a gullet (the plunger drops), mm of depth; few places stay clean."""
    out = np.zeros(places.size)
    if places.size < 40 or rng.uniform() < 0.6:
        return out
    if rng.uniform() < 0.6:
        tags.add("dust")
        for _ in range(int(rng.integers(1, 5))):
            a = rng.uniform(places.min(), places.max())
            out += np.where(np.abs(places - a) < rng.uniform(0.5, 3), rng.uniform(0.01, 0.08), 0.0)
    else:
        tags.add("gullet")
        a = rng.uniform(places.min(), places.max())
        out -= np.where(np.abs(places - a) < rng.uniform(4, 12), rng.uniform(0.1, 1.5), 0.0)
    return out


def slope_sd(places: Array, single: float) -> float:
    """Standard deviation of the least-squares slope, independent readings."""
    return single / float(np.sqrt(np.sum((places - places.mean()) ** 2)))


class File:
    """Rows of a recorded file, in mm or inches, as decimals that lose nothing."""

    def __init__(
        self, first: str, second: str, inch_travel: bool, inch_reading: bool, *, times: bool = False
    ) -> None:
        self.travel_in, self.reading_in = inch_travel, inch_reading
        self.times = times
        units = ["_in" if inch else "_mm" for inch in (inch_travel, inch_reading)]
        self.lines = [f"{first},{second.format(*units)}" + (",t_s" if times else "")]

    def add(self, name: str, travel: Array, reading: Array, at: Array | None = None) -> None:
        for k, (s, r) in enumerate(zip(travel, reading, strict=True)):
            s_text = f"{s / 25.4:.5f}" if self.travel_in else f"{s:.3f}"
            r_text = f"{r / 25.4:.6f}" if self.reading_in else f"{r:.5f}"
            row = f"{name},{s_text},{r_text}"
            self.lines.append(row + (f",{at[k]:.3f}" if at is not None else ",") if self.times else row)

    @property
    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


def swept_file(rng: Rng, gauge: Gauge) -> File:
    inch = bool(rng.uniform() < 0.5) if gauge.count in (0.0127, 0.00127) else False
    return File(
        "sweep,placement",
        "travel{},reading{}",
        inch and bool(rng.uniform() < 0.5),
        inch,
        times=bool(rng.uniform() < 0.3),
    )
