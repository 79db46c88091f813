"""The straightedge along which a sled fence is swept: names of its set-ups, and options
for its bending."""

from bench.checks.options import choice, length

AS_IS, ROLLED, PRESSED = "as-is", "rolled-over", "pressed"
# N/mm^2, modulus of elasticity of steel and of aluminium alloys: EN 1993-1-1:2005,
# 3.2.6, and EN 1999-1-1:2007, 3.2.5
MODULUS = {"steel": 210e3, "aluminium": 70e3}

BENDING_OPTIONS = (
    length(
        "straightedge_thick",
        "How thick the straightedge is, across the sled fence",
        (0.5, 200.0),
        needs="straightedge_high",
    ),
    length(
        "straightedge_high",
        "How high it stands above the sled's base",
        (0.5, 500.0),
        needs="straightedge_thick",
    ),
    length(
        "straightedge_span",
        "How far apart the blocks stand; else a pass's length",
        (50.0, 5000.0),
        needs="straightedge_thick",
    ),
    choice(
        "straightedge_of",
        "What the straightedge is made of",
        tuple(MODULUS),
        needs="straightedge_thick",
    ),
)
