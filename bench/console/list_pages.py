"""The lists: checks and their questions, past results, the move, how the indicator
stands for live, all keys.

A page is a title and rows; a row is taken by its digit, or by Enter.
"""

from __future__ import annotations

from bench.console import first_start, result_view, sleds
from bench.console.action import Controller
from bench.console.actions import shown
from bench.console.list_layout import lay_out_rows
from bench.console.navigation import ListRow
from bench.console.readout import verdict_sign
from bench.console.set_up_drawing import indicator_on_sled
from bench.console.text import Block, fit_height, wrap, wrap_marked
from bench.protocol import Begin, CheckKind, Finding, Option, OptionError
from bench.render.result import (
    leaves,
    move_distance,
    name,
    next_act,
    row,
    short_move,
    short_row,
    told_over_words,
    upper_first,
)
from bench.units import UnitsError, length_words, parse_length

_TITLES = {
    "checks": "Which check?",
    "options": "How",
    "past": "Results of",
    "limits": "What limits the result",
    "notes": "What the daemon noted",
    "move": "The move",
    "live": "How does the indicator stand on the sled?",
    "sleds": "Sleds",
    "sled": "The sled",
    "mine": "Is this yours?",
    "cables": "Cables",
    "keys": "All keys",
}


def rows(controller: Controller) -> list[ListRow]:
    make = {
        "checks": _checks,
        "options": _options,
        "past": _past,
        "notes": _notes,
        "move": _move,
        "live": _live,
        "sleds": sleds.sleds,
        "sled": sleds.sled,
        "mine": sleds.mine,
        "cables": first_start.cables,
        "keys": _keys,
    }.get(controller.navigation.page)
    return make(controller) if make is not None else []


def page(controller: Controller, wide: int, high: int) -> tuple[Block, dict[int, int]]:
    """The page as rows of the screen, and which screen row belongs to which row of the
    list."""
    navigation, state = controller.navigation, controller.state
    title = _TITLES.get(navigation.page, navigation.page)
    if navigation.page == "past":
        title = f"{title} {state.the_jig or 'all sleds'}"
        board = state.widest_board()
        if board is not None and wide >= 60:
            title += f", sled fence across {length_words(board, state.units)}"
    if navigation.page == "options" and navigation.kind is not None:
        title = upper_first(name(navigation.kind))
    head: Block = [[(f" {title}", "strong")]]
    if navigation.page == "limits" and state.finding is not None:
        return fit_height([*head, *_limits(controller, wide, high - 1)], high), {}
    if navigation.page == "past" and navigation.shown is not None:
        found = next(
            (f for f in controller.state.past_findings if f.id == navigation.shown),
            None,
        )
        if found is not None:
            return (
                fit_height(
                    [
                        *head,
                        *result_view.result(state, found, navigation, wide, high - 1),
                    ],
                    high,
                ),
                {},
            )
    if navigation.page == "move" and state.finding is not None:
        head += _move_words(controller, state.finding, wide)
    listed = rows(controller)
    # short of room the rows that can be taken go first
    head = head[: max(1, high - min(4, len(listed)))]
    if not listed:
        return fit_height([*head, [(" Nothing here yet.", "faint")]], high), {}
    drawn = _drawn(controller, wide, high, len(head) + len(listed))
    body, where = lay_out_rows(
        navigation, listed, wide, max(3, high - len(head) - len(drawn))
    )
    navigation.rows_seen = min(where.values()), max(where.values())
    return fit_height([*head, *body, *drawn], high), {
        row + len(head): index for row, index in where.items()
    }


def _drawn(controller: Controller, wide: int, high: int, used: int) -> Block:
    """What stands below the rows: the sled as described, how the indicator stands,
    where the leaves go."""
    navigation, state = controller.navigation, controller.state
    if navigation.page in ("sled", "mine"):
        return sleds.drawn(controller, wide, high)
    if wide < 40 or high - used < 8 or navigation.page not in ("live", "move"):
        return []
    jig = state.jig_gear(state.finding.jig if state.finding is not None else None)
    if navigation.page == "live":
        how = ("beyond", "behind", "right", "left")[max(0, min(navigation.cursor, 3))]
        return indicator_on_sled(how, jig, wide - 2, navigation.glyphs)
    words = (
        "Seen from above, you stand at the bottom; leaves go at the"
        f" {navigation.glyphs.up_mark}."
    )
    return (
        sleds.seen_from_above(jig, navigation.glyphs, min(wide - 2, 64), words)
        if jig is not None
        else []
    )


# ---- the pages -----------------------------------------------------------------------


def _checks(controller: Controller) -> list[ListRow]:
    kinds = controller.state.checks or []

    def choose(kind: CheckKind) -> None:
        controller.navigation.kind = kind.kind
        controller.navigation.options = {}
        controller.navigation.go("options")

    def row(kind: CheckKind) -> ListRow:
        if kind.can:
            return ListRow(kind.question, lambda: choose(kind), more=name(kind.kind))
        why = upper_first(kind.why_not or "not now") + "."
        return ListRow(
            kind.question,
            lambda: controller.state.say("check", why, bad=True),
            "faint",
            f"Not now: {kind.why_not}",
        )

    return [row(kind) for kind in kinds]


def _the_kind(controller: Controller) -> CheckKind | None:
    return next(
        (
            k
            for k in controller.state.checks or []
            if k.kind == controller.navigation.kind
        ),
        None,
    )


def _options(controller: Controller) -> list[ListRow]:
    kind, navigation = _the_kind(controller), controller.navigation
    if kind is None:
        return []
    out = [ListRow("Begin", lambda: _begin(controller, kind), "act", kind.question)]

    swept = _swept(controller, kind)

    def pushes() -> None:
        navigation.pushes = navigation.pushes % 9 + 1

    def lean() -> None:
        navigation.lean = not navigation.lean

    def tap() -> None:
        navigation.tap = not navigation.tap

    if swept:
        out.append(
            ListRow(
                f"Pushes a set-up: {navigation.pushes}",
                pushes,
                more="Three tell how much pushes differ.",
            )
        )
    if swept and kind.sided:
        out.append(
            ListRow(
                f"Lean test: {'yes' if navigation.lean else 'no'}",
                lean,
                more="Proves the side on which the indicator stands.",
            )
        )
    if swept:
        out.append(
            ListRow(
                f"Tap test: {'yes' if navigation.tap else 'no'}",
                tap,
                more="Proves that the stand holds: tapped, the number comes back.",
            )
        )
    out += [_option(controller, option) for option in _applying(controller, kind)]
    return out


def _swept(controller: Controller, kind: CheckKind) -> bool:
    return kind.swept or any(
        o.sweeps and o.name in controller.navigation.options for o in kind.options
    )


def _applying(controller: Controller, kind: CheckKind) -> list[Option]:
    """The options that say something beside what was chosen already."""
    given = controller.navigation.options
    return [
        o
        for o in kind.options
        if (not o.needs or o.needs in given) and o.unless not in given
    ]


def _option(controller: Controller, option: Option) -> ListRow:
    navigation = controller.navigation
    given = navigation.options.get(option.name)
    default = option.default
    if given is not None:
        value = given
    elif option.kind == "length" and isinstance(default, int | float):
        value = length_words(float(default), controller.state.units)
    else:
        value = "-" if default is None else str(default)
    value = (name(value) or "-") if option.choices else value
    if option.choices:
        choices = [*option.choices] if default is not None else ["", *option.choices]

        def turn() -> None:
            now = navigation.options.get(
                option.name, str(default) if default is not None else ""
            )
            chosen = (
                choices[(choices.index(now) + 1) % len(choices)]
                if now in choices
                else choices[0]
            )
            if chosen:
                navigation.options[option.name] = chosen
            else:
                navigation.options.pop(option.name, None)

        return ListRow(option.words, turn, value=value)
    return ListRow(option.words, field=f"option:{option.name}", value=value)


def _begin(controller: Controller, kind: CheckKind) -> None:
    try:
        given = controller.navigation.options
        options = {
            o.name: o.read(given[o.name])
            for o in _applying(controller, kind)
            if o.name in given
        }
    except OptionError as error:
        controller.state.say("options", str(error), bad=True)
        return
    swept = _swept(controller, kind)
    needs_jig = "jig" in kind.needs
    controller.begin(
        Begin(
            kind.kind,
            jig=controller.state.the_jig if needs_jig else None,
            sweeps=controller.navigation.pushes,
            lean=controller.navigation.lean and swept and kind.sided,
            tap=controller.navigation.tap and swept,
            options=options,
        )
    )


def _with_unit(text: str, units: str) -> str:
    """A bare number from the number pad is in the user's own unit."""
    return (
        f"{text} {'mm' if units == 'mm' else 'in'}"
        if text.strip()[-1:].isdigit()
        else text
    )


def _past(controller: Controller) -> list[ListRow]:
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


def _notes(controller: Controller) -> list[ListRow]:
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


def _limits(controller: Controller, wide: int, high: int) -> Block:
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


def _move_words(controller: Controller, finding: Finding, wide: int) -> Block:
    move = finding.proposed
    if move is None:
        return [[(" Nothing to move.", "text")]]
    state = controller.state
    out = wrap_marked(short_move(move, state.units), wide - 2, " ", "act")
    for text in leaves(move, state.jig_gear(finding.jig), state.units):
        out += [[(" ", "text"), *line] for line in wrap(text, wide - 2)]
    out += [[(" ", "text"), *line] for line in wrap(move.text, wide - 2, "faint")]
    return [*out, []]


def _move(controller: Controller) -> list[ListRow]:
    finding, units = controller.state.finding, controller.state.units
    if finding is None or finding.proposed is None:
        return []
    move = finding.proposed
    out = [
        ListRow(
            "Make it live: the distance still to go, large",
            lambda: controller.navigation.go("live"),
            "act",
        )
    ]
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


def _live(controller: Controller) -> list[ListRow]:
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


def _keys(controller: Controller) -> list[ListRow]:
    """Every action there is; those that would do nothing now are faint."""
    out = []
    for action in controller.actions:
        keys = " or ".join(shown(key) for key in action.keys[:2])
        can = action.can(controller)

        def run(action=action, can=can) -> None:  # type: ignore[no-untyped-def]
            controller.navigation.home()
            if can:
                controller.do(action)

        out.append(ListRow(f"{keys}: {action.help}", run, "text" if can else "faint"))
    return out


# ---- typing --------------------------------------------------------------------------


def type_key(controller: Controller, key: str, char: str | None) -> bool:
    """A value is being typed: digits of the number pad, or anything; Enter keeps it,
    Esc does not."""
    navigation = controller.navigation
    if key == "escape":
        navigation.typing, navigation.typed = None, ""
    elif key == "enter":
        field, text = navigation.typing, navigation.typed.strip()
        navigation.typing, navigation.typed = None, ""
        if text and field is not None:
            _typed(controller, field, text)
    elif key in ("backspace", "minus") and (key == "backspace" or navigation.typed):
        navigation.typed = navigation.typed[:-1]
    elif char is not None and char.isprintable() and len(navigation.typed) < 40:
        navigation.typed += char
    else:
        return False
    return True


def _typed(controller: Controller, field: str, text: str) -> None:
    units = controller.state.units
    try:
        if field.startswith("option:"):
            name = field.removeprefix("option:")
            kind = _the_kind(controller)
            option = (
                next((o for o in kind.options if o.name == name), None)
                if kind is not None
                else None
            )
            if option is not None:
                text = _with_unit(text, units) if option.kind == "length" else text
                option.read(text)
                controller.navigation.options[name] = text
        elif field in ("live:right", "live:left"):
            beyond = parse_length(_with_unit(text, units))
            controller.begin_live(
                "arm", "right" if field == "live:right" else "left", beyond
            )
        elif field == "moved":
            finding = controller.state.finding
            if finding is not None:
                controller.note_move(
                    finding, parse_length(_with_unit(text, units)), "by another amount"
                )
        elif field == "proof":
            first_start.typed(controller, text)
        else:
            sleds.typed(controller, field, text)
    except OptionError as error:
        controller.navigation.typing, controller.navigation.typed = (
            field,
            text,
        )  # it stays at the field
        controller.state.say("typed", f"It {error.problem}.", bad=True)
    except (UnitsError, ValueError) as error:
        controller.state.say("typed", upper_first(str(error)) + ".", bad=True)
