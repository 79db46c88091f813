"""The lists about results: past ones, what limits one, its move, the live move."""

from __future__ import annotations

from bench.console import result_view
from bench.console.action import Controller
from bench.console.navigation import ListRow
from bench.console.readout import verdict_sign
from bench.console.text import Block, wrap, wrap_marked
from bench.protocol import Finding
from bench.render.result import (
    leaves,
    move_distance,
    next_act,
    row,
    short_move,
    short_row,
    told_over_words,
)
from bench.units import length_words


def past_rows(controller: Controller) -> list[ListRow]:
    state, navigation = controller.state, controller.navigation
    out = []
    for finding in controller.state.past_findings:
        sign = verdict_sign(finding.verdict, navigation.glyphs)
        words = (
            short_row(finding, sign)
            if navigation.wide < 60
            else row(finding, state.units, state.board(finding), sign)
        )
        done = state.moves.get(finding.id)
        more = {
            "made": "The move was made.",
            "verified": "The move was made, and proved.",
        }.get(done or "", next_act(finding, state.units))
        out.append(ListRow(words, lambda f=finding: _show(controller, f), more=more))  # type: ignore[misc]
    if state.notes:
        out.append(
            ListRow(
                f"What the daemon noted: {len(state.notes)}",
                lambda: navigation.go("notes"),
                "faint",
            )
        )
    return out


def note_rows(controller: Controller) -> list[ListRow]:
    """What the daemon had to say when it came up, and what was said here since."""
    notes = [
        *controller.state.notes,
        *(
            s.words
            for s in controller.state.notices
            if s.words not in controller.state.notes
        ),
    ]
    return [ListRow(words) for words in notes]


def _show(controller: Controller, finding: Finding) -> None:
    controller.navigation.shown = (
        None if controller.navigation.shown == finding.id else finding.id
    )


def limits(controller: Controller, wide: int, high: int) -> Block:
    finding = controller.state.finding
    assert finding is not None
    over = told_over_words(controller.state.board(finding), controller.state.units)
    out = result_view.limits(
        controller.state, finding, controller.navigation, wide - 2, high - 3
    )
    foot: Block = [[]]
    if finding.quantities and finding.quantities[0].unit == "rad":
        text = f"Sizes are one standard uncertainty {over}."
        foot += wrap(text, wide - 2, "faint")
    return [[(" ", "text"), *line] for line in (*out, *foot)]


def move_words(controller: Controller, finding: Finding, wide: int) -> Block:
    move = finding.proposed
    if move is None:
        return [[(" Nothing to move.", "text")]]
    state = controller.state
    out = wrap_marked(short_move(move, state.units), wide - 2, " ", "act")
    for text in leaves(move, state.jig_gear(finding.jig), state.units):
        out += [[(" ", "text"), *line] for line in wrap(text, wide - 2)]
    out += [[(" ", "text"), *line] for line in wrap(move.text, wide - 2, "faint")]
    return [*out, []]


def move_rows(controller: Controller) -> list[ListRow]:
    finding, units = controller.state.finding, controller.state.units
    if finding is None or finding.proposed is None:
        return []
    move = finding.proposed
    out = []
    if move.fence is None:
        out.append(
            ListRow(
                "Make it live: the distance still to go, large",
                lambda: controller.navigation.go("live"),
                "act",
            )
        )
    if move.leaves:
        stack = sum(move.leaves)
        out.append(
            ListRow(
                f"Made with the leaves: {length_words(stack, units)}",
                lambda: controller.note_move(finding, stack, "leaves"),
            )
        )
    out.append(
        ListRow(
            f"Made, just as said: {move_distance(move, units)}",
            lambda: controller.note_move(finding, move.distance, "as said"),
        )
    )
    out.append(ListRow("Made, by another amount", field="moved", value="-"))
    return out


def live_rows(controller: Controller) -> list[ListRow]:
    jig = controller.state.jig_gear(
        controller.state.finding.jig if controller.state.finding is not None else None
    )
    reach = None if jig is None else jig.pivot_to_stop or jig.pivot_to_screw
    at = (
        f", {length_words(reach, controller.state.units)} from the pivot"
        if reach is not None
        else ""
    )
    return [
        ListRow(
            "Beyond the sled fence, looking back at you",
            lambda: controller.begin_live("fence", "beyond"),
            more=f"On the sled, tip on the far face{at}.",
        ),
        ListRow(
            "On your side of the sled fence, looking away",
            lambda: controller.begin_live("fence", "behind"),
            more=f"On the sled, tip on the near face{at}.",
        ),
        ListRow(
            "Right of the arm, along it from the pivot", field="live:right", value="-"
        ),
        ListRow(
            "Left of the arm, along it from the pivot", field="live:left", value="-"
        ),
    ]
