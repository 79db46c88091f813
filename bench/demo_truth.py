"""What the virtual saw knows of each thing that a finding tells, by the finding's own names; mm and rad.

The only place that knows both. May import: bench.checks.model and bench.finding (types), hw.virtual.
"""

from __future__ import annotations

from collections.abc import Mapping

from bench.checks.model import OptionValue
from bench.finding import Finding
from hw.virtual.saw import VirtualSaw

WHOLE = 500.0  # mm of a sled fence: swept, and not read at marks


def truth_of(
    saw: VirtualSaw, kind: str, options: Mapping[str, OptionValue], finding: Finding | None = None
) -> dict[str, float]:
    """Quantity -> value, as things stand now. Empty for a kind that the saw knows nothing of.

    finding: where given, along a sled fence, that of the stretch it tells of; at a few marks nobody sees how straight it
    is between them, only its bow.
    """
    plain = saw.truth()
    if kind == "fence-square":
        return {"fence": plain["rotation"], "square": plain["reference_error"]}
    if kind == "slot-blade":
        return {"blade": plain["blade"]}
    if kind == "rip-fence":
        return {"rip-fence": plain["rip_fence"]}
    if kind == "plate-wobble":
        return saw.bodies.plate_truth()
    if kind == "fence-straight":
        profile = finding.profile if finding is not None else []
        form = saw.bodies.form_truth(profile[0][0], profile[-1][0]) if profile else saw.bodies.form_truth()
        whole = not profile or profile[-1][0] - profile[0][0] > WHOLE
        straight = {"minimum-zone": form["straightness"]} if whole else {}
        return {**straight, "bow": form["crown"]}
    if kind == "side-play":
        return {"side-play": plain["side_play"], "yaw-play": plain["yaw_play"]}
    if kind == "runner-fit":
        sides = {"both": (0, 1), "right": (1,)}.get(str(options.get("runner")), (0,))
        return {name.replace("_", "-"): value for name, value in saw.bodies.runner_truth(sides).items()}
    if kind == "test-board":
        kept = "right" if options.get("kept") == "right" else "left"
        return {"board": saw.bodies.board_truth(saw.face(), saw.slot_angle, kept)}
    return {}
