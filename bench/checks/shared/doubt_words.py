"""A doubt as sentences for a person; codes and values are what is kept and acted on.
Pure. mm, rad."""

from __future__ import annotations

from collections.abc import Callable

from bench.finding import Doubt

PAPER = "Slip a sheet of paper under the tip and draw it out: the number must move."
INCHES = "are they in the unit that their column says, inches or mm?"


def _frozen(d: Doubt) -> str:
    span = d.values.get("span", 0.0)
    by = "by a single count" if span == 0 else f"by more than {span:.2g} mm"
    return (
        f"At {d.placement} the reading did not change {by}: does the tip touch, is the "
        f"plunger free and the display not on hold? {PAPER}"
    )


def _frozen_spots_words(d: Doubt) -> str:
    where = "" if d.placement is None else f"At {d.placement}: "
    return (
        f"{where}{d.values['read']:.0f} readings came out one and the same number, and"
        " it was not seen to move between them: is the display on hold, the tip or a"
        " jaw off? Lift the plunger, or open the jaws, before every reading."
    )


def _backward_words(d: Doubt) -> str:
    grows = "away" if d.values["grows"] > 0 else "toward"
    return (
        f"At {d.placement} a pass toward you comes first, by the travel's count. If"
        " you "
        f"pushed, travel runs backward (grows) and the answer is out the other way: set"
        f" grows = "
        f'"{grows}" under [travel] in the settings, begin anew. If you drew it back,'
        " take "
        f"that back (undo), then push."
    )


def _unlike_words(d: Doubt) -> str:
    steps = " and ".join(f"{count:g} mm at {name}" for name, count in d.values.items())
    return f"The set-ups were read in steps of {steps}: were some read in inches?"


def _grid_words(d: Doubt) -> str:
    where = "The readings" if d.placement is None else f"At {d.placement} the readings"
    unit = "is the display in the unit that the settings say, inches or mm?"
    if d.placement is not None:
        unit = INCHES
    if d.code == "of-inches":
        return (
            f"{where} lie on a grid of {d.values['count']:g} mm, finer than any"
            f" indicator at a bench shows: {unit}"
        )
    return (
        f"{where} lie on a grid {d.code} than the {d.values['declared']:g} mm that the "
        f"settings give the indicator, {d.values['count']:g} mm: {unit} If so, its "
        "resolution is another one: correct the settings."
    )


WORDS: dict[str, Callable[[Doubt], str]] = {
    "frozen": _frozen,
    "frozen-spots": _frozen_spots_words,
    "stood": lambda d: (
        f"In a pass at {d.placement} the reading stood still from"
        f" {d.values['from']:.0f} to {d.values['to']:.0f} mm of travel, elsewhere it"
        " moved: did the tip leave what it touches, the plunger stick, the display"
        " hold? See to it and take that pass again."
    ),
    "backward": _backward_words,
    "short": lambda d: (
        f"The pushes at {d.placement} cover no more than {d.values['length']:.0f} mm:"
        " 150 mm at least would tell more. Is the travel in the unit that its column"
        " says?"
    ),
    "steep": lambda d: (
        f"At {d.placement} the reading changes by {d.values['slope']:.2f} mm for every"
        " mm of travel, as nothing on a saw does: are the cables of travel and"
        " indicator swapped?"
    ),
    "of-inches": _grid_words,
    "finer": _grid_words,
    "coarser": _grid_words,
    "unlike": _unlike_words,
    "lean": lambda d: (
        f"Leaning the sled at {d.placement} says that the indicator stood on the "
        f"{'right' if d.values['right'] else 'left'}, not on the "
        f"{'left' if d.values['right'] else 'right'} as was said: do not trust the way."
    ),
    "spread": lambda d: (
        f"The readings at {d.placement} lie up to {d.values['apart']:.3f} mm apart: was"
        " one misread, or read in the other unit, inches or mm? Then nothing here"
        " holds; take them again."
    ),
    "set-ups-apart": lambda d: (
        f"The set-ups read {d.values['apart']:.3f} mm apart, more than a blade or a"
        " sled at work: was zero pressed between them, the stand moved, or one read in"
        " inches? Take them again."
    ),
    "thin": lambda d: (
        f"The widths are {d.values['least']:.3f} to {d.values['most']:.3f} mm: were"
        " they read in inches? Then nothing here holds; give them as inches (width_in"
        " in a file)."
    ),
    "mixed": lambda d: (
        f"Widths of {d.values['least']:.2f} and {d.values['most']:.2f} mm: was"
        f" {d.placement} read in inches? Then nothing here holds; measure it again."
    ),
}


def words(doubt: Doubt) -> str:
    return WORDS[doubt.code](doubt)
