"""The settings of the virtual saw, its sled, square and leaves; all invented.

They have the shape of the settings file: nested tables of text as people write it.
"""

from __future__ import annotations

from typing import Protocol

SAW, SLED, SQUARE = "pretend-saw", "pretend-sled", "pretend-square"
LEAVES = (0.04, 0.05, 0.06, 0.08, 0.10, 0.15, 0.20, 0.25, 0.30)


class Owned(Protocol):
    """What is written of a saw and its sled; mm."""

    @property
    def rip_fence_side(self) -> str: ...
    @property
    def fence(self) -> str: ...
    @property
    def pivot(self) -> str: ...
    @property
    def pivot_to_blade(self) -> float: ...
    @property
    def pivot_to_screw(self) -> float: ...
    @property
    def pivot_to_stop(self) -> float: ...
    @property
    def arm(self) -> float: ...


def gear(saw: Owned) -> dict[str, object]:
    """Tables saw, jig, square and leaves, for the settings file; whoever writes it adds
    the ports."""
    return {
        "units": "mm",
        "saw": {SAW: {"rip_fence": saw.rip_fence_side}},
        "jig": {
            SLED: {
                "saw": SAW,
                "fence": saw.fence,
                "pivot": saw.pivot,
                "pivot_to_blade": f"{saw.pivot_to_blade:g} mm",
                "pivot_to_screw": f"{saw.pivot_to_screw:g} mm",
                "pivot_to_stop": f"{saw.pivot_to_stop:g} mm",
                "widest_board": "600 mm",
                "tolerance": "0.05 mm per 300 mm",
            }
        },
        "square": {SQUARE: {"arm": f"{saw.arm:g} mm", "tolerance": "0.05 mm"}},
        "leaves": {"set": [f"{leaf:.2f} mm" for leaf in LEAVES]},
    }
