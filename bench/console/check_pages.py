"""The lists of checks and of one check's options."""

from __future__ import annotations

from bench.console.action import Controller
from bench.console.navigation import ListRow
from bench.protocol import Begin, CheckKind, Option, OptionError
from bench.render.result import name, upper_first
from bench.units import length_words


def check_rows(controller: Controller) -> list[ListRow]:
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


def chosen_kind(controller: Controller) -> CheckKind | None:
    return next(
        (
            k
            for k in controller.state.checks or []
            if k.kind == controller.navigation.kind
        ),
        None,
    )


def option_rows(controller: Controller) -> list[ListRow]:
    kind, navigation = chosen_kind(controller), controller.navigation
    if kind is None:
        return []
    out = [ListRow("Begin", lambda: _begin(controller, kind), "act", kind.question)]

    swept = _swept(controller, kind)

    def pushes() -> None:
        before = 3 if navigation.pushes is None else navigation.pushes
        navigation.pushes = before % 9 + 1

    def lean() -> None:
        navigation.lean = not navigation.lean

    def tap() -> None:
        navigation.tap = not navigation.tap

    if swept:
        out.append(
            ListRow(
                f"Pushes a set-up: {navigation.pushes or 'as the check asks'}",
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
