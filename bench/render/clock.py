"""A jump of the machine's clock in words, and turns as a clock's hand shows them."""

from __future__ import annotations

LEAST_MINUTES = 0.5  # on a clock face; a hand cannot turn a screw by less


def jump_words(jump: float) -> str:
    """`The clock of this machine jumped 1 h back`: a sentence without its end."""
    size = round(abs(jump))
    if size >= 86400:
        much = (
            f"{size / 86400:.1f} days" if size >= 2 * 86400 else f"{size / 3600:.0f} h"
        )
    else:
        much = (
            f"{size / 3600:.1f} h"
            if size >= 3600
            else f"{size / 60:.0f} min"
            if size >= 60
            else f"{size} s"
        )
    return (
        f"The clock of this machine jumped {much} {'forward' if jump > 0 else 'back'}"
    )


def clock_words(turns: float) -> str:
    """Turns of a screw as a clock's hand would show them: `0.12 turn, 7 minutes on a
    clock face`."""
    minutes = turns * 60
    if minutes < LEAST_MINUTES:
        return f"less than {LEAST_MINUTES:g} minutes on a clock face"
    size = f"{minutes:.0f}" if minutes >= 5 else f"{minutes:.1f}"
    whole = f"{turns:.2f} turn{'' if turns <= 1 else 's'}"
    if minutes >= 60:
        full, rest = divmod(round(minutes), 60)
        return f"{whole}, {full} full and {rest} minutes on a clock face"
    return f"{whole}, {size} minutes on a clock face"
