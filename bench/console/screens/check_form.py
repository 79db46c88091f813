"""The form by which a check is begun; it has only the options that matter."""

from __future__ import annotations

from functools import partial

from bench.console.contents.details import check_detail
from bench.console.screens.list_page import ListPage, Row
from bench.console.screens.value import THIN_MM, Kind
from bench.console.widgets.detail_pane import Detail
from bench.protocol import Begin, CheckKind, Option, OptionError
from bench.render.names import spaced, upper_first
from bench.units import nominal_words, slope_words

USUAL_PASSES, MOST_PASSES = 3, 9
QUICK_OPTION = "quick"  # the option of a check that has a quick way
YES_CHOICES = ("yes",)  # the choices of an option that is on or off


class CheckForm(ListPage):
    page = "options"

    def __init__(self, kind: CheckKind, quick: bool = False) -> None:
        """quick: as the quick check, where the check has one."""
        super().__init__()
        self.kind = kind
        has_quick = any(o.name == QUICK_OPTION for o in kind.options)
        # as typed or chosen
        self._given = {QUICK_OPTION: "yes"} if quick and has_quick else {}
        self._pushes: int | None = None  # as many as the check asks for
        self._tests = {"lean": True, "tap": False}
        self._whole = False  # options that are seldom told have a row too

    def heading(self) -> str:
        return upper_first(spaced(self.kind.kind))

    def detail(self) -> Detail:
        return check_detail(self.view, self.kind.kind)

    @property
    def _swept(self) -> bool:
        """Passes are taken, by the check itself or by an option that was chosen."""
        return self.kind.swept or any(
            o.sweeps and o.name in self._given for o in self.kind.options
        )

    def rows(self) -> list[Row]:
        out = [Row("Begin", self._begin, self.kind.question, leads=True)]
        if self._swept:
            more = "Fewer than three do not show how passes differ."
            many = str(self._pushes or "as usual")
            out.append(Row("Passes in each set-up", self._more, more, many))
        if self._swept and self.kind.sided:
            more = "It proves on which side the indicator stands."
            out.append(self._test("lean", more))
        if self._swept:
            more = "It proves that the stand holds: the number comes back."
            out.append(self._test("tap", more))
        options = self._applying()
        shown = [o for o in options if self._whole or self._usual(o)]
        out += [self._option(option) for option in shown]
        if len(shown) < len(options):
            words = "Show more questions"
            out.append(
                Row(words, self._tell_more, value=str(len(options) - len(shown)))
            )
        return out

    def _usual(self, option: Option) -> bool:
        known = option.default is not None or option.name in self._given
        return known or option.of_sled or option.choices == YES_CHOICES

    def _applying(self) -> list[Option]:
        """The options that say something beside what was chosen already."""
        return [
            o
            for o in self.kind.options
            if (not o.needs or o.needs in self._given)
            and o.unless not in self._given
            and not (o.of_sled and getattr(self.view.find_jig(), o.name, None))
        ]

    def _test(self, which: str, more: str) -> Row:
        value = "yes" if self._tests[which] else "no"
        return Row(
            f"{upper_first(which)} test", partial(self._turn_test, which), more, value
        )

    def _option(self, option: Option) -> Row:
        value = self._given.get(option.name) or self._default(option)
        if option.choices:
            return Row(option.words, partial(self._turn, option), value=spaced(value))
        return Row(option.words, partial(self._type, option, value), value=value)

    def _default(self, option: Option) -> str:
        default, units = option.default, self.view.units
        if default is None:
            return "no" if option.choices == YES_CHOICES else "not said"
        if option.kind in ("length", "slope"):
            in_words = nominal_words if option.kind == "length" else slope_words
            return in_words(float(default), units)
        return str(default)

    # ---- what the rows do ------------------------------------------------------------

    def _more(self) -> None:
        self._pushes = (self._pushes or USUAL_PASSES) % MOST_PASSES + 1
        self.fill()

    def _tell_more(self) -> None:
        self._whole = True
        self.fill()

    def _turn_test(self, which: str) -> None:
        self._tests[which] = not self._tests[which]
        self.fill()

    def _turn(self, option: Option) -> None:
        """The next choice; one without a default can be not given again."""
        default = "" if option.default is None else str(option.default)
        choices = [*([] if default else [""]), *option.choices]
        now = choices.index(self._given.pop(option.name, default))
        chosen = choices[(now + 1) % len(choices)]
        if chosen:
            self._given[option.name] = chosen
        self.fill()

    def _type(self, option: Option, value: str) -> None:
        def accept(text: str) -> None:
            option.read(text)
            self._given[option.name] = text

        self.ask_value(option.words, value, accept, _kind(option))

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
            jig=self.view.current_jig if "jig" in kind.needs else None,
            sweeps=self._pushes,
            lean=self._tests["lean"] and swept and kind.sided,
            tap=self._tests["tap"] and swept,
            options=options,
        )
        if self.requests.begin(begin):
            self.host.go_home()


def _kind(option: Option) -> Kind:
    if option.kind == "length" and option.high is not None and option.high <= THIN_MM:
        return "thin"
    return option.kind if option.kind in ("length", "slope") else "text"
