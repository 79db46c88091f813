"""Every sentence that the tool can say to the person at the saw, as a table made from the codes.

Read it line by line as a stranger would. `--long` shows those of more than twelve words only.

    .venv/bin/python tests/benchmarks/sentences.py [--long]
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator, Mapping
from itertools import product
from typing import Any, NamedTuple

import msgspec

from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.demo.screen import LESSONS
from bench.finding import Finding, Settle
from bench.gear import Indicator, Jig
from bench.moves.lever import fence_move
from bench.render import cut, notice_templates, prompts, remark_templates, symptoms, upkeep
from bench.render.finding import settle_words
from bench.render.names import PARTS, upper_first
from bench.render.remarks import move_words
from bench.render.report import sentences as report

MOST_WORDS = 12
SAMPLE = "0.12"  # stands for a value, which counts as one word
VALUE = re.compile(r"[0-9]+(\.[0-9]+)? (mm|turns?)( give or take [0-9.]+ mm)?")  # as one word
END = re.compile(r"(?<=[.?!])[\"']?\s+(?=[A-Z0-9\"'(])")


class Sentence(NamedTuple):
    source: str
    code: str
    text: str

    @property
    def words(self) -> int:
        return len([word for word in self.text.split() if re.search(r"\w", word)])


def table() -> list[Sentence]:
    """Each sentence once, in the order of its source and code."""
    found: dict[tuple[str, str], Sentence] = {}
    for source, code, template in templates():
        for whole in variants(template):
            for text in END.split(whole):
                found.setdefault((source, text), Sentence(source, code, text.strip()))
    return list(found.values())


def templates() -> Iterator[tuple[str, str, str]]:
    """Source, code and template of all that is said from a code."""
    rooms: Mapping[str, Mapping[str, str]] = {
        "notice": notice_templates.TEMPLATES,
        "remark": remark_templates.TEMPLATES,
        "prompt": prompts.TEMPLATES,
        "demo": LESSONS,
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
    for code, template in report.TEMPLATES.items():
        yield "report", code, template
    for code, seen in symptoms.SEEN.items():
        yield "symptom", code, f"{upper_first(seen)}."
    for code, shows in symptoms.SHOWS.items():
        yield "symptom", code, f"Shows {shows}."
    for code, act in symptoms.ACTS.items():
        yield "symptom", code, act
    for texts in (cut.PUT_RIGHT, cut.NEVER_MEASURED):
        for code, act in texts.items():
            yield "cut", code, f"{act}: worth {SAMPLE}."
    for code, text in _settling():
        yield "settle", code, text


def _settling() -> Iterator[tuple[str, str]]:
    """What would settle a result that is too close to call, or what stands in the way."""
    given = {"sweeps": 6, "checks": 3, "length": 400.0, "resolution": 0.001}
    finding = Finding(check="fence-square", quantities=[])
    parts = [Settle(part=part) for part in PARTS]
    for settle in (*(Settle(part="seat", **{name: value}) for name, value in given.items()), *parts):
        text = settle_words(msgspec.structs.replace(finding, settle=settle), "mm")
        yield settle.part, VALUE.sub(SAMPLE, text)


def _moves() -> Iterator[str]:
    """Of both sorts of sled, each way, with leaves that fit and without."""
    for fence, way, leaves in product(("near", "far"), (1, -1), ((), (0.05, 0.1, 0.15), (1.0,))):
        jig = Jig("sled", fence=fence, pivot_to_screw=500.0, screw_pitch=1.25, pivot_to_stop=480.0)
        for rotation in (3e-4, 6.3e-4, 2e-6):
            move = fence_move(way * rotation, 2e-5, jig, leaves)
            if move is not None:
                yield VALUE.sub(SAMPLE, move_words(move, "mm"))


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
