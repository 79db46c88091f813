"""The user's requests to the daemon, and which of them are possible now."""

from __future__ import annotations

import math
from collections.abc import Callable
from time import monotonic
from typing import Literal

import msgspec

from bench.console import first_start
from bench.console.first_start import STAGES, Guide
from bench.console.view_model import DOCUMENTS, DocumentName, ViewModel
from bench.protocol import (
    Begin,
    CutForecast,
    Drift,
    Due,
    Extend,
    Finding,
    Learn,
    LiveMoveRequest,
    LogList,
    NoteMove,
    Press,
    ShopForecast,
)
from bench.protocol.question import QuestionClock, press_answers
from bench.render.screen import screen_text

# s: an Enter that follows another in less was held down or bounced, and would answer
# the next question unread; terminals repeat a held key every 0.03 s; common practice,
# no source
HELD_S = 0.3
PAST_RESULTS = 50  # earlier results that are asked for
GATHERED = ("working-out", "done")  # phases in which all was gathered
MADE = ("made", "verified")  # what became of a move that was made

Touches = Literal["fence", "arm"]
Stands = Literal["beyond", "behind", "left", "right"]
EnterAct = Literal["begin", "the move", "more", "again", "limits"]


class Requests:
    """`send` carries a request to the daemon and tells whether it went."""

    def __init__(
        self, view: ViewModel, guide: Guide, send: Callable[[msgspec.Struct], bool]
    ) -> None:
        self.view, self.guide = view, guide
        self._send = send
        self.last_begin: Begin | None = None
        self._pressed = -math.inf  # when Enter was pressed last, s
        self._noted: str | None = None  # the finding whose move was noted just now
        self._question = QuestionClock()

    def send(self, message: msgspec.Struct) -> bool:
        if self._send(message):
            return True
        self.view.say("daemon", "No daemon hears this; it was not done.", bad=True)
        return False

    # ---- what can be asked -----------------------------------------------------------

    @property
    def moved(self) -> bool:
        """The move of the result on screen was noted."""
        finding = self.view.finding
        if finding is None:
            return False
        return self._noted == finding.id or self.view.moves.get(finding.id) in MADE

    @property
    def press_answers(self) -> bool:
        view = self.view
        return view.online and press_answers(view.prompt, view.live, view.setup)

    @property
    def can_undo(self) -> bool:
        """There is a pass, or a mark of one, that can be taken back."""
        prompt = self.view.current_prompt
        if not self.view.online or prompt.phase in GATHERED:
            return False
        some = prompt.taken > 0 or (prompt.mark or 1) > 1
        return some or any(p.push for p in self.view.passes)

    @property
    def more_pushes(self) -> int | None:
        """Pushes that may settle what is too close to call."""
        finding = self.view.finding
        return None if finding is None else finding.more_pushes

    @property
    def enter_act(self) -> EnterAct:
        """The one act that follows from the result on screen."""
        finding = self.view.finding
        if finding is None:
            return "begin"
        if self.moved:
            return "again"
        if finding.verdict == "cannot-tell":
            if self.more_pushes is not None:
                return "more"
            settle = finding.settle
            anew = settle is None or bool(settle.length or settle.checks)
            return "again" if anew else "limits"
        return "again" if finding.proposed is None else "the move"

    # ---- the check -------------------------------------------------------------------

    def press(self) -> None:
        before, self._pressed = self._pressed, monotonic()
        held = self._pressed - before < HELD_S
        if self.press_answers and not held and not self._too_soon():
            self.send(Press(waits=False))

    def note_question(self) -> None:
        """Called when anything was heard: from when on the question stands."""
        view, now = self.view, monotonic()
        found = view.finding.id if view.finding is not None else None
        asked = view.run, view.prompt, view.live, view.setup
        if self._question.note(now, *asked, found):
            view.notices.over("press")

    def _too_soon(self) -> bool:
        """Nobody can have done yet what is asked; it is said then."""
        soon = self._question.too_soon(monotonic())
        if soon:
            self.view.say("press", screen_text("too-soon"), bad=True)
        return soon

    def begin(self, begin: Begin) -> bool:
        self.last_begin = begin
        sent = self.send(begin)
        if sent:
            self.view.result = None
        return sent

    def again(self) -> None:
        """The check of the result on screen, as it was begun last, else as the daemon
        would."""
        finding = self.view.finding
        if finding is None or self._too_soon():
            return
        before = self.last_begin
        if before is None or (before.check, before.jig) != (finding.check, finding.jig):
            saw = finding.saw if finding.jig is None else None
            kind = self.view.kind(finding.check)
            leans = kind is not None and kind.swept and kind.sided
            before = Begin(finding.check, jig=finding.jig, saw=saw, lean=leans)
        verifies = finding.id if self.moved else None
        self.begin(msgspec.structs.replace(before, verifies=verifies))

    def more(self) -> None:
        finding, lacking = self.view.finding, self.more_pushes
        if finding is None or lacking is None or self._too_soon():
            return
        if self.send(Extend(lacking, finding.id)):
            self.view.result = None

    # ---- the move --------------------------------------------------------------------

    def begin_live(
        self, touches: Touches, stands: Stands, from_pivot: float | None = None
    ) -> bool:
        """The indicator is on the sled: from_pivot in mm, None at the stop."""
        finding = self.view.finding
        which = finding.id if finding is not None else None
        return self.send(LiveMoveRequest(True, which, touches, stands, from_pivot))

    def note_move(self, finding: Finding, distance: float, how: str) -> bool:
        sent = self.send(NoteMove(finding.id, distance=distance, how=how))
        if sent:
            self._noted = finding.id
        return sent

    # ---- the first start -------------------------------------------------------------

    def learn_next(self) -> bool:
        """Ask for the next thing that lacks; False where that is the sled's form."""
        stage = first_start.next_stage(self.view, self.guide)
        learn = first_start.request_for(stage, self.view, self.guide)
        if learn is not None:
            self.send(learn)
        return stage != "sled"

    def learn_again(self) -> None:
        """Ask anew, since the wrong instrument was seen."""
        learn = self.view.setup
        if learn is not None:
            self.send(Learn(learn.what, leaf=learn.leaf))

    def skip(self) -> bool:
        """Not now: the next thing is asked for instead; False where that is the sled's
        form."""
        stage = first_start.stage_now(self.view, self.guide)
        if stage is None:
            return True
        self.guide.skipped |= {stage}
        if self.view.setup is not None:
            self.send(Learn(self.view.setup.what, on=False))
            self.view.setup = None
        return stage == "sled" or self.learn_next()

    def leave_guide(self) -> None:
        """Out of the whole guide; the settings have it all again."""
        self.guide.active, self.guide.skipped = False, frozenset(STAGES)
        if self.view.setup is not None:
            self.send(Learn(self.view.setup.what, on=False))

    # ---- what the log says of the sled -----------------------------------------------

    def look_up(self, document: DocumentName) -> None:
        """Ask for one of the documents; the answer becomes part of the view model."""
        jig, ref = self.view.current_jig, DOCUMENTS.index(document) + 1
        requests: dict[DocumentName, msgspec.Struct] = {
            "due": Due(ref=ref),
            "drift": Drift(jig=jig, ref=ref),
            "cut": CutForecast(jig, ref=ref),
            "shop": ShopForecast(ref=ref),
        }
        if self._send(requests[document]) and document == "due":
            self.view.due_stale = False

    def past(self) -> None:
        self._send(LogList(jig=self.view.current_jig, most=PAST_RESULTS))
