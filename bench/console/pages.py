"""The lists: checks and their questions, past results, the move, how the indicator
stands for live, all keys.

A page is a title and rows; a row is taken by its digit, or by Enter.
"""

from __future__ import annotations

from bench.console import first_start, result_view, sleds
from bench.console.actions import shown
from bench.console.at_desk import AtDesk
from bench.console.pictures import on_the_sled
from bench.console.readout import verdict_sign
from bench.console.rows import listing
from bench.console.text import Block, marked, tall, wrap
from bench.console.view import Row
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


def rows(desk: AtDesk) -> list[Row]:
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
    }.get(desk.view.page)
    return make(desk) if make is not None else []


def page(desk: AtDesk, wide: int, high: int) -> tuple[Block, dict[int, int]]:
    """The page as rows of the screen, and which screen row belongs to which row of the
    list."""
    view, state = desk.view, desk.state
    title = _TITLES.get(view.page, view.page)
    if view.page == "past":
        title = f"{title} {state.the_jig or 'all sleds'}"
        board = state.widest_board()
        if board is not None and wide >= 60:
            title += f", sled fence across {length_words(board, state.units)}"
    if view.page == "options" and view.kind is not None:
        title = upper_first(name(view.kind))
    head: Block = [[(f" {title}", "strong")]]
    if view.page == "limits" and state.finding is not None:
        return tall([*head, *_limits(desk, wide, high - 1)], high), {}
    if view.page == "past" and view.shown is not None:
        found = next((f for f in desk.state.past_findings if f.id == view.shown), None)
        if found is not None:
            return (
                tall(
                    [*head, *result_view.result(state, found, view, wide, high - 1)],
                    high,
                ),
                {},
            )
    if view.page == "move" and state.finding is not None:
        head += _move_words(desk, state.finding, wide)
    listed = rows(desk)
    # short of room the rows that can be taken go first
    head = head[: max(1, high - min(4, len(listed)))]
    if not listed:
        return tall([*head, [(" Nothing here yet.", "faint")]], high), {}
    drawn = _drawn(desk, wide, high, len(head) + len(listed))
    body, where = listing(view, listed, wide, max(3, high - len(head) - len(drawn)))
    view.rows_seen = min(where.values()), max(where.values())
    return tall([*head, *body, *drawn], high), {
        row + len(head): index for row, index in where.items()
    }


def _drawn(desk: AtDesk, wide: int, high: int, used: int) -> Block:
    """What stands below the rows: the sled as described, how the indicator stands,
    where the leaves go."""
    view, state = desk.view, desk.state
    if view.page in ("sled", "mine"):
        return sleds.drawn(desk, wide, high)
    if wide < 40 or high - used < 8 or view.page not in ("live", "move"):
        return []
    jig = state.jig_gear(state.finding.jig if state.finding is not None else None)
    if view.page == "live":
        how = ("beyond", "behind", "right", "left")[max(0, min(view.cursor, 3))]
        return on_the_sled(how, jig, wide - 2, view.glyphs)
    words = (
        "Seen from above, you stand at the bottom; leaves go at the"
        f" {view.glyphs.up_mark}."
    )
    return (
        sleds.seen_from_above(jig, view.glyphs, min(wide - 2, 64), words)
        if jig is not None
        else []
    )


# ---- the pages -----------------------------------------------------------------------


def _checks(desk: AtDesk) -> list[Row]:
    kinds = desk.state.checks or []

    def choose(kind: CheckKind) -> None:
        desk.view.kind = kind.kind
        desk.view.options = {}
        desk.view.go("options")

    def row(kind: CheckKind) -> Row:
        if kind.can:
            return Row(kind.question, lambda: choose(kind), more=name(kind.kind))
        why = upper_first(kind.why_not or "not now") + "."
        return Row(
            kind.question,
            lambda: desk.state.say("check", why, bad=True),
            "faint",
            f"Not now: {kind.why_not}",
        )

    return [row(kind) for kind in kinds]


def _the_kind(desk: AtDesk) -> CheckKind | None:
    return next((k for k in desk.state.checks or [] if k.kind == desk.view.kind), None)


def _options(desk: AtDesk) -> list[Row]:
    kind, view = _the_kind(desk), desk.view
    if kind is None:
        return []
    out = [Row("Begin", lambda: _begin(desk, kind), "act", kind.question)]

    swept = _swept(desk, kind)

    def pushes() -> None:
        view.pushes = view.pushes % 9 + 1

    def lean() -> None:
        view.lean = not view.lean

    def tap() -> None:
        view.tap = not view.tap

    if swept:
        out.append(
            Row(
                f"Pushes a set-up: {view.pushes}",
                pushes,
                more="Three tell how much pushes differ.",
            )
        )
    if swept and kind.sided:
        out.append(
            Row(
                f"Lean test: {'yes' if view.lean else 'no'}",
                lean,
                more="Proves the side on which the indicator stands.",
            )
        )
    if swept:
        out.append(
            Row(
                f"Tap test: {'yes' if view.tap else 'no'}",
                tap,
                more="Proves that the stand holds: tapped, the number comes back.",
            )
        )
    out += [_option(desk, option) for option in _applying(desk, kind)]
    return out


def _swept(desk: AtDesk, kind: CheckKind) -> bool:
    return kind.swept or any(
        o.sweeps and o.name in desk.view.options for o in kind.options
    )


def _applying(desk: AtDesk, kind: CheckKind) -> list[Option]:
    """The options that say something beside what was chosen already."""
    given = desk.view.options
    return [
        o
        for o in kind.options
        if (not o.needs or o.needs in given) and o.unless not in given
    ]


def _option(desk: AtDesk, option: Option) -> Row:
    view = desk.view
    given = view.options.get(option.name)
    default = option.default
    if given is not None:
        value = given
    elif option.kind == "length" and isinstance(default, int | float):
        value = length_words(float(default), desk.state.units)
    else:
        value = "-" if default is None else str(default)
    value = (name(value) or "-") if option.choices else value
    if option.choices:
        choices = [*option.choices] if default is not None else ["", *option.choices]

        def turn() -> None:
            now = view.options.get(
                option.name, str(default) if default is not None else ""
            )
            chosen = (
                choices[(choices.index(now) + 1) % len(choices)]
                if now in choices
                else choices[0]
            )
            if chosen:
                view.options[option.name] = chosen
            else:
                view.options.pop(option.name, None)

        return Row(option.words, turn, value=value)
    return Row(option.words, field=f"option:{option.name}", value=value)


def _begin(desk: AtDesk, kind: CheckKind) -> None:
    try:
        given = desk.view.options
        options = {
            o.name: o.read(given[o.name])
            for o in _applying(desk, kind)
            if o.name in given
        }
    except OptionError as error:
        desk.state.say("options", str(error), bad=True)
        return
    swept = _swept(desk, kind)
    needs_jig = "jig" in kind.needs
    desk.begin(
        Begin(
            kind.kind,
            jig=desk.state.the_jig if needs_jig else None,
            sweeps=desk.view.pushes,
            lean=desk.view.lean and swept and kind.sided,
            tap=desk.view.tap and swept,
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


def _past(desk: AtDesk) -> list[Row]:
    state, view = desk.state, desk.view
    out = []
    for finding in desk.state.past_findings:
        sign = verdict_sign(finding.verdict, view.glyphs)
        words = (
            short_row(finding, sign)
            if view.wide < 60
            else row(finding, state.units, state.board(finding), sign)
        )
        done = state.moves.get(finding.id)
        more = {
            "made": "The move was made.",
            "verified": "The move was made, and proved.",
        }.get(done or "", next_act(finding, state.units))
        out.append(Row(words, lambda f=finding: _show(desk, f), more=more))  # type: ignore[misc]
    if state.notes:
        out.append(
            Row(
                f"What the daemon noted: {len(state.notes)}",
                lambda: view.go("notes"),
                "faint",
            )
        )
    return out


def _notes(desk: AtDesk) -> list[Row]:
    """What the daemon had to say when it came up, and what was said here since."""
    notes = [
        *desk.state.notes,
        *(s.words for s in desk.state.notices if s.words not in desk.state.notes),
    ]
    return [Row(words) for words in notes]


def _show(desk: AtDesk, finding: Finding) -> None:
    desk.view.shown = None if desk.view.shown == finding.id else finding.id


def _limits(desk: AtDesk, wide: int, high: int) -> Block:
    finding = desk.state.finding
    assert finding is not None
    over = told_over_words(desk.state.board(finding), desk.state.units)
    out = result_view.limits(desk.state, finding, desk.view, wide - 2, high - 3)
    foot: Block = [[]]
    if finding.quantities and finding.quantities[0].unit == "rad":
        text = f"Sizes are one standard uncertainty {over}."
        foot += wrap(text, wide - 2, "faint")
    return [[(" ", "text"), *line] for line in (*out, *foot)]


def _move_words(desk: AtDesk, finding: Finding, wide: int) -> Block:
    move = finding.proposed
    if move is None:
        return [[(" Nothing to move.", "text")]]
    state = desk.state
    out = marked(short_move(move, state.units), wide - 2, " ", "act")
    for text in leaves(move, state.jig_gear(finding.jig), state.units):
        out += [[(" ", "text"), *line] for line in wrap(text, wide - 2)]
    out += [[(" ", "text"), *line] for line in wrap(move.text, wide - 2, "faint")]
    return [*out, []]


def _move(desk: AtDesk) -> list[Row]:
    finding, units = desk.state.finding, desk.state.units
    if finding is None or finding.proposed is None:
        return []
    move = finding.proposed
    out = [
        Row(
            "Make it live: the distance still to go, large",
            lambda: desk.view.go("live"),
            "act",
        )
    ]
    if move.leaves:
        stack = sum(move.leaves)
        out.append(
            Row(
                f"Made with the leaves: {length_words(stack, units)}",
                lambda: desk.made(finding, stack, "leaves"),
            )
        )
    out.append(
        Row(
            f"Made, just as said: {move_distance(move, units)}",
            lambda: desk.made(finding, move.distance, "as said"),
        )
    )
    out.append(Row("Made, by another amount", field="moved", value="-"))
    return out


def _live(desk: AtDesk) -> list[Row]:
    jig = desk.state.jig_gear(
        desk.state.finding.jig if desk.state.finding is not None else None
    )
    reach = None if jig is None else jig.pivot_to_stop or jig.pivot_to_screw
    at = (
        f", {length_words(reach, desk.state.units)} from the pivot"
        if reach is not None
        else ""
    )
    return [
        Row(
            "Beyond the sled fence, looking back at you",
            lambda: desk.begin_live("fence", "beyond"),
            more=f"On the sled, tip on the far face{at}.",
        ),
        Row(
            "On your side of the sled fence, looking away",
            lambda: desk.begin_live("fence", "behind"),
            more=f"On the sled, tip on the near face{at}.",
        ),
        Row("Right of the arm, along it from the pivot", field="live:right", value="-"),
        Row("Left of the arm, along it from the pivot", field="live:left", value="-"),
    ]


def _keys(desk: AtDesk) -> list[Row]:
    """Every action there is; those that would do nothing now are faint."""
    out = []
    for action in desk.actions:
        keys = " or ".join(shown(key) for key in action.keys[:2])
        can = action.can(desk)

        def run(action=action, can=can) -> None:  # type: ignore[no-untyped-def]
            desk.view.home()
            if can:
                desk.do(action)

        out.append(Row(f"{keys}: {action.help}", run, "text" if can else "faint"))
    return out


# ---- typing --------------------------------------------------------------------------


def type_key(desk: AtDesk, key: str, char: str | None) -> bool:
    """A value is being typed: digits of the number pad, or anything; Enter keeps it,
    Esc does not."""
    view = desk.view
    if key == "escape":
        view.typing, view.typed = None, ""
    elif key == "enter":
        field, text = view.typing, view.typed.strip()
        view.typing, view.typed = None, ""
        if text and field is not None:
            _typed(desk, field, text)
    elif key in ("backspace", "minus") and (key == "backspace" or view.typed):
        view.typed = view.typed[:-1]
    elif char is not None and char.isprintable() and len(view.typed) < 40:
        view.typed += char
    else:
        return False
    return True


def _typed(desk: AtDesk, field: str, text: str) -> None:
    units = desk.state.units
    try:
        if field.startswith("option:"):
            name = field.removeprefix("option:")
            kind = _the_kind(desk)
            option = (
                next((o for o in kind.options if o.name == name), None)
                if kind is not None
                else None
            )
            if option is not None:
                text = _with_unit(text, units) if option.kind == "length" else text
                option.read(text)
                desk.view.options[name] = text
        elif field in ("live:right", "live:left"):
            beyond = parse_length(_with_unit(text, units))
            desk.begin_live("arm", "right" if field == "live:right" else "left", beyond)
        elif field == "moved":
            finding = desk.state.finding
            if finding is not None:
                desk.made(
                    finding, parse_length(_with_unit(text, units)), "by another amount"
                )
        elif field == "proof":
            first_start.typed(desk, text)
        else:
            sleds.typed(desk, field, text)
    except OptionError as error:
        desk.view.typing, desk.view.typed = field, text  # it stays at the field
        desk.state.say("typed", f"It {error.problem}.", bad=True)
    except (UnitsError, ValueError) as error:
        desk.state.say("typed", upper_first(str(error)) + ".", bad=True)
