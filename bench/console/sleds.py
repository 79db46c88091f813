"""The list of sleds, and a new sled described by number pad.

The sled is drawn from what was typed, to be looked at before it is kept.
"""

from __future__ import annotations

from bench.console.action import Controller
from bench.console.canvas import Canvas
from bench.console.first_start import new_sled
from bench.console.glyphs import GlyphSet
from bench.console.navigation import ListRow
from bench.console.text import Block
from bench.protocol import Jig, PutJig, PutLeaves
from bench.units import PER_MM, length_words, parse_length, parse_slope

_FIELDS = (
    ("name", "Name"),
    ("fence", "Fence"),
    ("pivot", "Pivot"),
    ("pivot_to_blade", "Pivot to blade"),
    ("pivot_to_screw", "Pivot to adjusting screw"),
    ("pivot_to_stop", "Pivot to where the leaf goes"),
    ("widest_board", "Widest board"),
    ("tolerance", "Good enough"),
)
_CHOICES = {"fence": ("near", "far"), "pivot": ("right", "left")}


def sleds(controller: Controller) -> list[ListRow]:
    """The sleds there are, a new one, the cables."""
    state, navigation = controller.state, controller.navigation
    out = []
    for jig in state.gear.jigs if state.gear is not None else []:
        here = navigation.glyphs.reads if jig.name == state.the_jig else " "

        def choose(name: str = jig.name) -> None:
            state.chosen_jig, state.result, state.past = name, None, None
            navigation.home()

        more = f"{jig.fence} fence, pivot {jig.pivot}" + (
            f", for {jig.saw}" if jig.saw else ""
        )
        out.append(ListRow(f"{here} {jig.name}", choose, more=more))

    out.append(ListRow("Describe a new sled", lambda: new_sled(controller), "act"))
    out.append(
        ListRow(
            "Cables: find the indicator and the travel, prove them",
            lambda: navigation.go("cables"),
        )
    )
    owned = (
        ", ".join(length_words(leaf, state.units) for leaf in state.gear.leaves)
        if state.gear is not None
        else ""
    )
    out.append(ListRow("Leaves I own", field="leaves", value=owned or "-"))
    return out


def sled(controller: Controller) -> list[ListRow]:
    navigation = controller.navigation
    over = "over 300 mm" if controller.state.units == "mm" else "over a foot"
    out = []
    for field, label in _FIELDS:
        value = navigation.sled.get(field)
        words = f"{label} {over}" if field == "tolerance" else label
        if field in _CHOICES:

            def turn(field: str = field) -> None:
                choices = _CHOICES[field]
                navigation.sled[field] = choices[
                    (choices.index(navigation.sled.get(field, choices[0])) + 1) % 2
                ]

            side = {"near": "near, on your side", "far": "far, beyond the work"}.get(
                value or "", value or ""
            )
            out.append(ListRow(words, turn, value=side))
        else:
            out.append(ListRow(words, field=f"sled:{field}", value=value or "-"))
    out.append(
        ListRow(
            "This is mine: keep it",
            lambda: _keep(controller) if navigation.looked else _look(controller),
            "act",
        )
    )
    return out


def typed(controller: Controller, field: str, text: str) -> None:
    """Raises UnitsError, whose words are for the person."""
    unit = "mm" if controller.state.units == "mm" else "in"
    if field == "leaves":
        parts = [p for p in text.replace("+", " ").replace(",", ".").split(" ") if p]
        leaves = sorted(
            parse_length(p if not p[-1:].isdigit() else f"{p} {unit}") for p in parts
        )
        controller.send(PutLeaves(leaves))
        return
    name = field.removeprefix("sled:")
    if name == "name":
        controller.navigation.sled["name"] = text
        return
    bare = text[-1:].isdigit()
    if name == "tolerance":
        over = "300 mm" if unit == "mm" else "ft"
        with_unit = (
            f"{text} {unit} per {over}"
            if bare
            else text
            if "per" in text
            else f"{text} per {over}"
        )
        parse_slope(with_unit)
    else:
        with_unit = f"{text} {unit}" if bare else text
        parse_length(with_unit)
    controller.navigation.sled[name] = with_unit


def described(given: dict[str, str]) -> Jig:
    """The sled as it was typed. Raises UnitsError; a field that was left out stays
    unknown."""
    lengths = {
        field: parse_length(given[field]) if field in given else None
        for field in (
            "pivot_to_blade",
            "pivot_to_screw",
            "pivot_to_stop",
            "widest_board",
        )
    }
    tolerance = (
        parse_slope(given["tolerance"]) if "tolerance" in given else 0.05 / PER_MM
    )
    return Jig(
        name=given.get("name", "sled"),
        fence="far" if given.get("fence") == "far" else "near",
        pivot="left" if given.get("pivot") == "left" else "right",
        pivot_to_blade=lengths["pivot_to_blade"],
        pivot_to_screw=lengths["pivot_to_screw"],
        pivot_to_stop=lengths["pivot_to_stop"],
        widest_board=lengths["widest_board"],
        tolerance=tolerance,
    )


def _can_move(controller: Controller) -> bool:
    if (
        "pivot_to_screw" not in controller.navigation.sled
        and "pivot_to_stop" not in controller.navigation.sled
    ):
        controller.state.say(
            "sled",
            "Without the distance from the pivot to the screw no move can be told.",
            bad=True,
        )
        return False
    return True


def _keep(controller: Controller) -> None:
    if not _can_move(controller):
        return
    jig = described(controller.navigation.sled)
    if controller.send(PutJig(jig)):
        controller.state.chosen_jig, controller.state.result = jig.name, None
        controller.navigation.home()


def mine(controller: Controller) -> list[ListRow]:
    """The drawing on a page of its own, where there is no room beside the rows."""
    return [
        ListRow("Yes, this is mine: keep it", lambda: _keep(controller), "act"),
        ListRow("No: back to what was typed", controller.navigation.back),
    ]


def _look(controller: Controller) -> None:
    if _can_move(controller):
        controller.navigation.go("mine")


def drawn(controller: Controller, wide: int, high: int) -> Block:
    """The sled as it was described: "is this yours?"; nothing where there is no room
    beside the rows."""
    rows = 9 if controller.navigation.page == "sled" else 2
    controller.navigation.looked = high >= rows + 8 and wide >= 40
    if not controller.navigation.looked:
        return []
    words = "Is this yours? Seen from above, you stand at the bottom."
    if rows == 2:
        words = "Seen from above; you stand below."
    return seen_from_above(
        described(controller.navigation.sled),
        controller.navigation.glyphs,
        min(wide - 2, 64),
        words,
    )


def seen_from_above(jig: Jig, glyphs: GlyphSet, wide: int, words: str) -> Block:
    """Seven rows, the fence's distances true to scale among themselves."""
    c = Canvas(wide, 7, glyphs)
    c.words(1, 0, words, "strong")
    fence = 1 if jig.fence == "far" else 5
    reach = max(filter(None, (jig.pivot_to_screw, jig.pivot_to_stop)), default=500.0)
    blade_at = jig.pivot_to_blade if jig.pivot_to_blade is not None else reach / 2
    span = c.wide - 10
    sign = -1 if jig.pivot == "right" else 1
    pivot = c.wide - 5 if jig.pivot == "right" else 4

    def place(mm: float) -> int:
        return pivot + sign * round(mm / max(reach, blade_at) * (span - 1))

    c.bar(1, fence, c.wide - 2, "wood")
    for y in range(1, 6):
        if y != fence:
            c.words(place(blade_at), y, c.glyphs.down, "steel")
    c.words(place(blade_at) - 2, 3, "blade", "steel")
    c.words(pivot, fence, "o", "strong")
    side_by_side = fence + (1 if jig.fence == "far" else -1)
    c.words(max(0, min(c.wide - 5, pivot - 2)), side_by_side, "pivot", "faint")
    if jig.pivot_to_screw is not None:
        c.words(place(jig.pivot_to_screw), fence, "+", "strong")
        c.words(
            max(0, min(c.wide - 5, place(jig.pivot_to_screw) - 2)),
            side_by_side,
            "screw",
            "faint",
        )
    if jig.pivot_to_stop is not None:
        c.words(place(jig.pivot_to_stop), fence, c.glyphs.up_mark, "strong")
        c.words(
            max(0, min(c.wide - 4, place(jig.pivot_to_stop) - 1)),
            side_by_side + (1 if jig.fence == "far" else -1),
            "leaf",
            "faint",
        )
    return c.block()
