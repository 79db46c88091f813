"""Symptoms at the sled or on the part, each with the checks that tell its cause, in
order.

Common practice, no source. The sentences stand in `bench.render.symptoms`.
"""

from __future__ import annotations

import msgspec


class Symptom(msgspec.Struct, frozen=True):
    """checks: kind, and the code of what it would show, in order. act: the code of a
    plain act that comes before any check. danger: stop at once, then measure."""

    name: str
    checks: tuple[tuple[str, str], ...]
    act: str | None = None
    danger: bool = False


SYMPTOMS = (
    Symptom(
        "rip-pinched",
        (("rip-fence", "closes-at-rear"),),
        act="stop-ripping",
        danger=True,
    ),
    Symptom(
        "always-out",
        (
            ("fence-square", "fence-out"),
            ("fence-straight", "bow"),
            ("test-board", "board-agrees"),
        ),
    ),
    Symptom(
        "varies",
        (("side-play", "play"), ("runner-fit", "binding"), ("fence-square", "scatter")),
        act="look-for-grit",
    ),
    Symptom("long-boards-out", (("fence-straight", "contact"),)),
    Symptom("binds-at-one-place", (("runner-fit", "tight-there"),), act="wax"),
    Symptom("binds-in-summer", (("runner-fit", "wood-grown"),), act="wax"),
    Symptom("rattles", (("side-play", "play"), ("runner-fit", "loose"))),
    Symptom(
        "burnt-edge",
        (("slot-blade", "heel"), ("rip-fence", "closes")),
        act="dull-blade",
    ),
    Symptom("rough-edge", (("plate-wobble", "runout"), ("slot-blade", "heel"))),
    Symptom("gap-in-joint", (("upright", "lean"), ("test-board", "across-width"))),
    Symptom("was-square", (("fence-square", "moved"),), act="see-drift"),
)
