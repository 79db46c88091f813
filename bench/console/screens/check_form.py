"""How a check is taken: only the options that say something."""

from __future__ import annotations

from bench.console.screens.rows import Row, RowsScreen
from bench.protocol import Begin, CheckKind, Option, OptionError
from bench.render.result import name, upper_first
from bench.units import length_words

USUAL_PUSHES, MOST_PUSHES = 3, 9
QUICK = "quick"  # the option of a check that has a quick way


class CheckForm(RowsScreen):
    page = "options"
    watches = frozenset({"gear"})

    def __init__(self, kind: CheckKind, *, quick: bool = False) -> None:
        """quick: as the quick check, where the check has one."""
        super().__init__()
        self.kind = kind
        has_quick = any(o.name == QUICK for o in kind.options)
        # as typed or chosen
        self._given: dict[str, str] = {QUICK: "yes"} if quick and has_quick else {}
        self._pushes: int | None = None  # as many as the check asks for
        self._lean, self._tap = True, False

    def heading(self) -> str:
        return upper_first(name(self.kind.kind))

    @property
    def _swept(self) -> bool:
        """Passes are taken, by the check itself or by an option that was chosen."""
        return self.kind.swept or any(
            o.sweeps and o.name in self._given for o in self.kind.options
        )

    def rows(self) -> list[Row]:
        out = [Row("Begin", self._begin, self.kind.question, leads=True)]
        if self._swept:
            more = "Three tell how much passes differ."
            many = str(self._pushes or "as the check asks")
            out.append(Row("Passes a set-up", self._more, more, many))
        if self._swept and self.kind.sided:
            more = "It proves on which side the indicator stands."
            out.append(Row("Lean test", self._turn_lean, more, _yes(self._lean)))
        if self._swept:
            more = "It proves that the stand holds: the number comes back."
            out.append(Row("Tap test", self._turn_tap, more, _yes(self._tap)))
        return out + [self._option(option) for option in self._applying()]

    def _applying(self) -> list[Option]:
        """The options that say something beside what was chosen already."""
        return [
            o
            for o in self.kind.options
            if (not o.needs or o.needs in self._given)
            and o.unless not in self._given
            and not (o.of_sled and getattr(self.view.jig_gear(), o.name, None))
        ]

    def _option(self, option: Option) -> Row:
        given, default, units = (
            self._given.get(option.name),
            option.default,
            self.view.units,
        )
        if given is not None:
            value = given
        elif option.kind == "length" and isinstance(default, int | float):
            value = length_words(float(default), units)
        else:
            value = "not given" if default is None else str(default)
        if option.choices:
            return Row(option.words, lambda: self._turn(option), value=name(value))
        return Row(option.words, lambda: self._type(option, value), value=value)

    # ---- what the rows do ------------------------------------------------------------

    def _more(self) -> None:
        self._pushes = (self._pushes or USUAL_PUSHES) % MOST_PUSHES + 1
        self.fill()

    def _turn_lean(self) -> None:
        self._lean = not self._lean
        self.fill()

    def _turn_tap(self) -> None:
        self._tap = not self._tap
        self.fill()

    def _turn(self, option: Option) -> None:
        """The next choice; one without a default can be not given again."""
        default = "" if option.default is None else str(option.default)
        choices = [*([""] if not default else []), *option.choices]
        now = choices.index(self._given.get(option.name, default))
        chosen = choices[(now + 1) % len(choices)]
        self._given[option.name] = chosen
        if not chosen:
            del self._given[option.name]
        self.fill()

    def _type(self, option: Option, value: str) -> None:
        def accept(text: str) -> None:
            text = with_unit(text, self.view.units) if option.kind == "length" else text
            option.read(text)
            self._given[option.name] = text

        self.ask(option.words, value, accept)

    def _begin(self) -> None:
        try:
            options = {
                o.name: o.read(self._given[o.name])
                for o in self._applying()
                if o.name in self._given
            }
        except OptionError as error:
            self.view.say("options", str(error), bad=True)
            return
        swept, kind = self._swept, self.kind
        begin = Begin(
            kind.kind,
            jig=self.view.the_jig if "jig" in kind.needs else None,
            sweeps=self._pushes,
            lean=self._lean and swept and kind.sided,
            tap=self._tap and swept,
            options=options,
        )
        if self.requests.begin(begin):
            self.host.go_home()


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def with_unit(text: str, units: str) -> str:
    """A bare number from the number pad is in the user's own unit."""
    if not text.strip()[-1:].isdigit():
        return text
    return f"{text} {'mm' if units == 'mm' else 'in'}"
