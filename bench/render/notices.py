"""The sentences of what the daemon tells, made from codes and values."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

import msgspec

from bench.finding import Doubt
from bench.procedure.prompt import Prompt
from bench.procedure.status_message import StatusMessage
from bench.protocol import (
    Cables,
    Done,
    LiveMoveNotice,
    NoFinding,
    Notice,
    PassNotice,
    PromptChanged,
    SetupNotice,
    StatusReply,
)
from bench.render.clock import jump_words
from bench.render.names import placement_name, spaced
from bench.render.notice_templates import BROKEN, TEMPLATES
from bench.render.prompts import focus_words, prompt_words
from bench.render.remarks import remark_words
from bench.render.template import sentence
from bench.render.wording import without_port
from bench.units import System

T = TypeVar("T", bound=msgspec.Struct)


def _several_moved(values: Mapping[str, Any], units: System) -> str:
    each = "{name} by {far:distance}"
    moved = [
        sentence(each, {"name": name, "far": far}, units)
        for name, far in values["moved"]
    ]
    return f"More than one moved: {', '.join(moved)}. Move one alone."


# codes whose sentence is more than a template
SENTENCES: dict[str, Callable[[Mapping[str, Any], System], str]] = {
    "doubt": lambda values, units: remark_words(msgspec.convert(values, Doubt), units),
    "setup-several-moved": _several_moved,
    "clock-jumped": lambda values, units: (
        f"{jump_words(values['seconds'])}. Only dates may be wrong, no pass is."
    ),
    "pass-broken": lambda values, units: (
        f"This pass cannot be used: {sentence(BROKEN[values['why']], values, units)}"
    ),
    # what the port says of itself, with the instrument's name for the device's path
    "instrument-port": lambda values, units: without_port(
        values["name"], values["port"], values["why"]
    ),
}


def text(remarks: Sequence[StatusMessage], units: System = "mm") -> str:
    """The sentences of the remarks in their order. Raises KeyError for a code or a
    value that is missing."""
    return " ".join(_sentence(one.code, one.values, units) for one in remarks)


def stored_text(data: Mapping[str, Any], units: System = "mm") -> str:
    """The sentence of an event of the log: from its code, or the words that stand
    beside it where the code is none of this version."""
    try:
        return _sentence(str(data["code"]), data, units)
    except KeyError:
        return str(data.get("words", ""))


def stored_reason(reason: str, units: System = "mm") -> str:
    """The reason for which a pass of the log was not used: a code with its values, or
    the words of an earlier version."""
    try:
        return text([msgspec.json.decode(reason, type=StatusMessage)], units)
    except (msgspec.DecodeError, KeyError):
        return reason


def _sentence(code: str, values: Mapping[str, Any], units: System) -> str:
    if code in SENTENCES:
        return SENTENCES[code](values, units)
    if isinstance(placement := values.get("placement"), str):
        values = {**values, "placement": placement_name(placement)}
    if isinstance(check := values.get("check"), str):
        values = {**values, "check": spaced(check)}
    return sentence(TEMPLATES[code], values, units)


def with_words(message: T, units: System) -> T:
    """The message as clients get it: its sentences made from its codes."""
    replace = msgspec.structs.replace
    if isinstance(message, PromptChanged) and message.ask is not None:
        return replace(message, ask=with_prompt_words(message.ask, units))
    if isinstance(message, StatusReply):
        run = message.run
        if run is not None:
            run = replace(run, ask=with_prompt_words(run.ask, units))
        instruments = [with_words(one, units) for one in message.instruments]
        return replace(message, run=run, instruments=instruments)
    if isinstance(message, Cables):
        cables = [with_words(one, units) for one in message.cables]
        return replace(message, cables=cables)
    if isinstance(message, Notice):
        words = _sentence(message.code, message.values, units) if message.code else ""
    else:
        words = text(getattr(message, "remarks", ()), units)
    if not words:
        return message
    field = "text" if isinstance(message, Done) else "words"
    return replace(message, **{field: _marked(message, words)})


def with_prompt_words(ask: Prompt, units: System) -> Prompt:
    """The prompt with its sentences, also that of why the last pass was not kept."""
    remark = None if ask.because is None else text([ask.because], units)
    words, focus = prompt_words(ask, units), focus_words(ask.focus, units)
    return msgspec.structs.replace(ask, words=words, remark=remark, focus_words=focus)


def _marked(message: msgspec.Struct, words: str) -> str:
    """With NOT RECORDED before it, where it claims what is not on the disk."""
    match message:
        case (
            PassNotice(state="measured")
            | Notice(code="not-recorded")  # these say so themselves
            | NoFinding()
        ):
            return words
        case LiveMoveNotice() | SetupNotice() if message.phase not in ("end", "kept"):
            return words  # it asks, and claims nothing
    recorded = getattr(message, "recorded", True)
    return words if recorded else f"NOT RECORDED: {words}"
