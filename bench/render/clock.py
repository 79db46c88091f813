"""A jump of the machine's clock in words, and turns as a clock's hand shows them."""

from __future__ import annotations

LEAST_MINUTES = 0.5  # on a clock face; a hand cannot turn a screw by less
# from so many s on, a jump is told in such units, with so many decimals
JUMPS = (
    (2 * 86400, 86400, "days", 1),
    (86400, 3600, "h", 0),
    (3600, 3600, "h", 1),
    (60, 60, "min", 0),
    (0, 1, "s", 0),
)


def jump_words(jump: float) -> str:
    """`The clock of this machine jumped 1 h back`: a sentence without its end."""
    size = round(abs(jump))
    _, one, unit, decimals = next(jump for jump in JUMPS if size >= jump[0])
    way = "forward" if jump > 0 else "back"
    return f"The clock of this machine jumped {size / one:.{decimals}f} {unit} {way}"


def clock_words(turns: float) -> str:
    """Turns of a screw as a clock's hand would show them: `0.12 turn, 7 minutes on a
    clock face`."""
    minutes = turns * 60
    if minutes < LEAST_MINUTES:
        return f"less than {LEAST_MINUTES:g} minutes on a clock face"
    whole = f"{turns:.2f} turn{'' if turns <= 1 else 's'}"
    if minutes >= 60:
        full, rest = divmod(round(minutes), 60)
        return f"{whole}, {full} full and {rest} minutes on a clock face"
    return f"{whole}, {minutes:.{int(minutes < 5)}f} minutes on a clock face"
