"""Every sentence that the tool can say, as a table made from the codes, the renderers and the source itself.

Read it line by line as a stranger would. `--long` shows those of more than twelve words only. An error is one line:
its parts, of colon and semicolon, count as sentences.

    .venv/bin/python tests/benchmarks/sentences.py [--long]
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator, Mapping
from itertools import product
from typing import Any, NamedTuple

import msgspec
import words_in_source
from words_in_source import SAMPLE

from bench.checks import checks
from bench.checks.fence_square import fence_way
from bench.checks.model import EvidenceGear
from bench.checks.slot_blade import rear_way
from bench.demo.screen import LESSONS
from bench.doctor.templates import FAULTS, GOOD, NOTES
from bench.finding import Finding, Quantity, Settle
from bench.gear import Indicator, Jig, Saw
from bench.moves.alignment import CLOSES, OPENS
from bench.moves.lever import fence_move
from bench.moves.mitre import mitre_way
from bench.render import cut, names, notice_templates, prompts, remark_templates, screen, symptoms, upkeep
from bench.render.finding import quantity_words, settle_words
from bench.render.names import BUDGET_PARTS, upper_first
from bench.render.remarks import move_words
from bench.render.report import sentences as report
from bench.render.result import headline, next_act

MOST_WORDS = 12
VERDICTS = ("inside", "outside", "cannot-tell", None)
# a value counts as one word, with its give or take and the length that it is told over
VALUE = re.compile(
    r"[0-9]+(\.[0-9]+)? (mm|turns?)(,? give or take [0-9.]+( mm)?)?"
    r"( (over|per|across( your)?) [0-9.]+ mm( board)?)?"
)
END = re.compile(r"(?<=[.?!])[\"']?\s+(?=[A-Z0-9\"'(`])")
PART = re.compile(END.pattern + r"|; |: ")  # of one line that says what is wrong and what to do
ONE_LINE = {"command", "error", "doctor"}


class Sentence(NamedTuple):
    source: str
    code: str
    text: str

    @property
    def words(self) -> int:
        return len([word for word in self.text.split() if re.search(r"\w", word)])


def table() -> list[Sentence]:
    """Each sentence once, at the first source and code that say it."""
    found: dict[str, Sentence] = {}
    for source, code, template in [*templates(), *words_in_source.texts(), *words_in_source.page_texts()]:
        end = PART if source in ONE_LINE else END
        for whole in variants(template):
            for text in end.split(VALUE.sub(SAMPLE, whole)):
                found.setdefault(text.strip(), Sentence(source, code, text.strip()))
    return list(found.values())


def templates() -> Iterator[tuple[str, str, str]]:
    """Source, code and template of all that is said from a code."""
    rooms: Mapping[str, Mapping[str, str]] = {
        "notice": notice_templates.TEMPLATES,
        "remark": remark_templates.TEMPLATES,
        "prompt": prompts.TEMPLATES,
        "demo": LESSONS,
        "screen": screen.TEMPLATES,
        "report": report.TEMPLATES,
    }
    for source, texts in rooms.items():
        for code, template in texts.items():
            yield source, code, template
    for check in checks().values():
        yield "check", check.kind, check.question
        for caution in check.cautions:
            yield "caution", caution.name, caution.words
        for option in check.options:
            yield "option", f"{check.kind} {option.name}", f"{option.words}."
        for step in _steps(check):
            yield "set-up", f"{check.kind} {step.placement}", step.words
            if step.reseat:
                yield "set-up", f"{check.kind} {step.placement} again", step.reseat

    for text in _moves():
        yield "move", "leaves", text
    for code, template in upkeep.TEMPLATES.items():
        whole = template
        for name, choices in upkeep._CHOICES.items():
            whole = whole.replace(f":{name}}}", f":{choices}}}")
        yield "upkeep", code, whole
    for code, seen in symptoms.SYMPTOM_WORDS.items():
        yield "symptom", code, f"{upper_first(seen)}."
    for code, shows in symptoms.SHOWN_WORDS.items():
        yield "symptom", code, f"Shows {shows}."
    for code, act in symptoms.ACT_WORDS.items():
        yield "symptom", code, act
    for texts in (cut.PUT_RIGHT, cut.NEVER_MEASURED):
        for code, act in texts.items():
            yield "cut", code, f"{act}: worth {SAMPLE}."
    for code, text in _settling():
        yield "settle", code, text
    for code, template in {**FAULTS, **GOOD, **NOTES}.items():
        for part in template.split(" | "):
            yield "doctor", code, part
    for code, text in _results():
        yield "result", code, text
    for choices in (names.QUANTITIES, names.BUDGET_PARTS, names.PLACEMENTS, cut.SLED_STATES, cut.CAUSE_NAMES):
        for code, name in choices.items():
            yield "name", code, name


def _results() -> Iterator[tuple[str, str]]:
    """What a result says first, and its lines, for every quantity, way and verdict."""
    for name, way, verdict in product(names.QUANTITIES, (None, *_all_ways()), VERDICTS):
        if way is not None and way not in _ways(name):
            continue
        for unit, over in (("mm", None), ("rad", None), ("rad", 300.0)):
            value, give = (0.12, 0.02) if unit == "mm" else (4e-4, 5e-5)
            q = Quantity(name, value, unit, give, None, value, verdict, way, over)
            finding = Finding(check="fence-square", quantities=[q], verdict=verdict)
            said = headline(finding, "mm", 400.0)
            for line in [said.danger or "", *said.lead, *said.small, next_act(finding, "mm")]:
                yield name, line
            yield name, quantity_words(q, "mm", 400.0)


def _ways(name: str) -> set[str]:
    """Which way a quantity may be out, of every sort of sled and saw."""
    jigs = [Jig("sled", fence=f, pivot=p) for f, p in product(("near", "far"), ("left", "right"))]
    mitres = [
        Jig("sled", pivot=p, mitre=m) for p, m in product(("left", "right"), ("point-away", "point-toward"))
    ]
    saws = [None, Saw("saw", rip_fence="left"), Saw("saw", rip_fence="right")]
    out = (1e-3, -1e-3)
    return {
        "fence": {fence_way(a, jig) for a, jig in product(out, (None, *jigs))},
        "board": {fence_way(a, jig) for a, jig in product(out, (None, *jigs))},
        "blade": {rear_way(b, saw) for b, saw in product(out, saws)},
        "rip-fence": {OPENS, CLOSES},
        "toe": {OPENS, CLOSES},
        "square": {"wider than square", "tighter than square"},
        "left": {mitre_way("left", a, jig) for a, jig in product(out, mitres)},
        "right": {mitre_way("right", a, jig) for a, jig in product(out, mitres)},
        "between": {"wider than square", "tighter than square"},
        "fence-lean": {"top leans toward you", "top leans away from you"},
        "blade-lean": {"top leans to the left", "top leans to the right"},
        "slot-curvature": {"the sled turns left as it is pushed"},
    }.get(name, set())


def _all_ways() -> list[str]:
    return sorted(set().union(*(_ways(name) for name in names.QUANTITIES)))


def _settling() -> Iterator[tuple[str, str]]:
    """What would settle a result that is too close to call, or what stands in the way."""
    given = {"sweeps": 6, "checks": 3, "length": 400.0, "resolution": 0.001}
    finding = Finding(check="fence-square", quantities=[])
    parts = [Settle(part=part) for part in BUDGET_PARTS]
    for settle in (*(Settle(part="seat", **{name: value}) for name, value in given.items()), *parts):
        text = settle_words(msgspec.structs.replace(finding, settle=settle), "mm")
        yield settle.part, text


def _moves() -> Iterator[str]:
    """Of both sorts of sled, each way, with leaves that fit and without."""
    for fence, way, leaves in product(("near", "far"), (1, -1), ((), (0.05, 0.1, 0.15), (1.0,))):
        jig = Jig("sled", fence=fence, pivot_to_screw=500.0, screw_pitch=1.25, pivot_to_stop=480.0)
        for rotation in (3e-4, 6.3e-4, 2e-6):
            move = fence_move(way * rotation, 2e-5, jig, leaves)
            if move is not None:
                yield move_words(move, "mm")


def _steps(check: Any) -> Iterator[Any]:
    """Of every choice of an option, and of both sorts of sled."""
    choices = (
        [{}]
        + [{option.name: choice} for option in check.options for choice in option.choices]
        + [{option.name: 4} for option in check.options if option.kind == "count"]
    )
    gears = (EvidenceGear(), EvidenceGear(indicator=Indicator(resolution=0.01), jig=Jig("sled", fence="far")))
    for options, gear in product(choices, gears):
        yield from check.plan(options, gear)


def variants(template: str) -> list[str]:
    """The template with a sample for every value and each text that a value may choose."""
    start = template.find("{")
    if start < 0:
        return [template]
    end, depth = start, 0
    for end in range(start, len(template)):
        depth += {"{": 1, "}": -1}.get(template[end], 0)
        if not depth:
            break
    spec = template[start + 1 : end].partition(":")[2]
    texts = [SAMPLE]
    if "|" in spec:
        texts = [re.sub(r"^[\w -]*=", "", one) for one in _parted(spec)]
    rest = variants(template[end + 1 :])
    return [template[:start] + one + tail for text in texts for one in variants(text) for tail in rest]


def _parted(spec: str) -> list[str]:
    """At each `|` that stands in no further braces."""
    parts, depth = [""], 0
    for letter in spec:
        depth += {"{": 1, "}": -1}.get(letter, 0)
        if letter == "|" and not depth:
            parts.append("")
        else:
            parts[-1] += letter
    return parts


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--long", action="store_true")
    only_long = parser.parse_args().long
    for one in table():
        if not only_long or one.words > MOST_WORDS:
            print(f"{one.source:8} {one.code:32.32} {one.words:3}  {one.text}")


if __name__ == "__main__":
    main()
