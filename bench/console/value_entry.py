"""A value that is typed into a row, by number pad or keyboard."""

from __future__ import annotations

from bench.console import first_start, sleds
from bench.console.action import Controller
from bench.console.check_pages import chosen_kind
from bench.protocol import OptionError
from bench.render.result import upper_first
from bench.units import UnitsError, parse_length


def enter_key(controller: Controller, key: str, char: str | None) -> bool:
    """A value is being typed: digits of the number pad, or anything; Enter keeps it,
    Esc does not."""
    navigation = controller.navigation
    if key == "escape":
        navigation.typing, navigation.typed = None, ""
    elif key == "enter":
        field, text = navigation.typing, navigation.typed.strip()
        navigation.typing, navigation.typed = None, ""
        if text and field is not None:
            _accept(controller, field, text)
    elif key in ("backspace", "minus") and (key == "backspace" or navigation.typed):
        navigation.typed = navigation.typed[:-1]
    elif char is not None and char.isprintable() and len(navigation.typed) < 40:
        navigation.typed += char
    else:
        return False
    return True


def _accept(controller: Controller, field: str, text: str) -> None:
    units = controller.state.units
    try:
        if field.startswith("option:"):
            name = field.removeprefix("option:")
            kind = chosen_kind(controller)
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


def _with_unit(text: str, units: str) -> str:
    """A bare number from the number pad is in the user's own unit."""
    return (
        f"{text} {'mm' if units == 'mm' else 'in'}"
        if text.strip()[-1:].isdigit()
        else text
    )
