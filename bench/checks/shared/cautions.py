"""The cautions a check gives before hands come near the blade; shown, acknowledged by
one key and logged.

Common practice, no source; the saw's own manual, local rules and licensed practice come
first.
"""

from bench.checks.model import Caution

UNPLUG = Caution(
    "unplug",
    "Unplug the saw before hands, square or stand come near the blade.",
    "power",
)
BLADE_DOWN = Caution(
    "blade-down",
    "Blade right down, unless the indicator or its magnet touches it.",
    "blade",
)
STILL_TEETH = Caution(
    "still-teeth",
    "Teeth cut even when they stand still, and they chip. Turn the blade by hand, clear"
    " of the teeth. See that the insert lies flush.",
    "blade",
)
COUNT_OFF = Caution(
    "count-off",
    "Before power comes back, count off what was put on the saw. Magnet, stand,"
    " square, clamps, leaves, cable. Guard and riving knife back on.",
    "power",
)
MANUAL = Caution(
    "manual",
    "Follow the saw's manual, local rules and licensed practice. This measures; it"
    " does not make a saw safe.",
    "day",
)
# of every check that sweeps or touches with the saw unplugged
AT_REST = (UNPLUG, BLADE_DOWN, STILL_TEETH, COUNT_OFF, MANUAL)
AT_BLADE = (UNPLUG, STILL_TEETH, COUNT_OFF, MANUAL)  # the blade stands up
RIP_CLOSES = Caution(
    "rip-closes",
    "A rip fence that closes at the rear is a danger. It can throw the work back at"
    " you.",
    "day",
)

# Before wood is cut for a test board; "cut" so that they are asked again before every
# board.
BOARD_HELD = Caution(
    "board-held",
    "The test board must be large enough to hold with both hands. Keep them well clear"
    " of the blade, eye and ear protection on.",
    "cut",
)
EXIT_BLOCK = Caution(
    "exit-block",
    "Fit an exit block where the blade leaves the sled fence. Fit a stop on the sled's"
    " travel.",
    "cut",
)
CUT_CLEAR = Caution(
    "cut-clear",
    "Push every cut clear past the rear teeth. The strip stays until the blade stands"
    " still. Stop the saw before the sled is drawn back.",
    "cut",
)
