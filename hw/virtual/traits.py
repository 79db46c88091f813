"""Errors and scatter of the virtual saw, sled, square and hands."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Traits:
    """How good or bad saw, sled, square and hands are. Angles in rad, lengths in mm;
    sd: standard deviation.

    The figures are invented for the pretend saw; none is measured.
    """

    rotation: float = 0.8e-3  # the fence is out by up to this, to either side
    square: float = 0.08e-3  # sd of the square's error
    slot: float = 0.5e-3  # the slots run off +Y by up to this, which must not matter
    blade: float = 0.1e-3  # sd, blade against slot
    rip_fence: float = 0.15e-3  # sd, rip fence against slot
    # full swing: the side play at both ends of a runner of 450
    yaw_play: float = 0.356e-3
    side_play: float = 0.08
    hold_yaw: float = 18e-6  # sd from push to push
    hold_side: float = 0.0015  # sd from push to push
    sway: float = 0.0004  # sd of the sideways wander within one push
    seat: float = 20e-6  # sd from seat to seat
    texture: float = 0.002  # sd of the arm's surface
    bow: float = 0.004  # sd of the arm's crown over the ridden stretch
    dust: float = 0.6  # grains expected on the arm after a wipe
    hand: float = 0.005  # sd of a move of the fence
    uneven: float = 0.15  # share by which the push's speed wanders
    plate_tilt: float = 0.2e-3  # sd, of the plate on its arbor
    plate_warp: float = 0.006  # sd, at the rim
    to_mark: float = 0.015  # sd with which a plate is turned to a mark by hand
    end_float: float = 0.0005  # sd of the arbor along its axis, from turn to turn
    fence_bow: float = 0.03  # sd of the sled fence's crown over 900
    straightedge_bow: float = 0.015  # sd, over 900
    blocks: float = 40e-6  # sd of the straightedge against the fence
    fence_lean: float = 1.0e-3  # sd, of the sled fence out of plumb
    blade_lean: float = 0.6e-3  # sd
    slot_bow: float = 0.006  # sd of each wall's crown, of slots and of runners
    pinch: float = 0.0  # by which the left slot narrows at one place
    jaws: float = 0.006  # sd of the caliper's error, outside and inside jaws each
    felt: float = 0.004  # sd of how one width is felt
    noise: float = 0.0005  # sd of the indicator
    hysteresis: float = 0.001  # full width
    # What few saws have; 0 is off, and draws nothing.
    stance: float = 0.0  # sd by which the square lies otherwise all through one set-up
    return_yaw: float = 0.0  # by which a sled drawn back lies on its other wall
    stand_shift: float = 0.0  # sd, mm along the arm, of the stand set down once more
    slot_curve: float = 0.0  # 1/mm, positive: the sled turns left as it is pushed away
    dent: float = 0.0  # depth, mm, over 24 of the arm where a push ends
    off_plane: float = 0.0  # mm by which the plunger touches above the arm's plane
    roll: float = 0.0  # rad that the sled rolls to the right over a push
    gain: float = 0.0  # relative, of the indicator
    # disturbances that are there only where they are asked for
    carriage_float: float = 0.0  # sd of a carried indicator each time it is slid anew
    edge_gives: float = 0.0  # by which the straightedge's middle gives way to the hand
    spot_off: float = 0.0  # sd of the place at which a twist is read
    sawn_edge: float = 0.0  # sd of the strip's edge at the place of a width

    @classmethod
    def quiet(cls, **given: float) -> Traits:
        """Nothing but the angles: no scatter of hands, no texture, dust or noise."""
        chance = (
            "hold_yaw hold_side sway seat texture bow dust hand uneven plate_warp"
            " to_mark end_float fence_bow straightedge_bow blocks slot_bow jaws felt"
            " noise hysteresis"
        )
        still = cls(**dict.fromkeys(chance.split(), 0.0))
        return replace(still, **given)
