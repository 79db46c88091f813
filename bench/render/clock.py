"""A jump of the machine's clock as a sentence."""

from __future__ import annotations


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
