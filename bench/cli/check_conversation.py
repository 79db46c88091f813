"""The conversation of one check: the daemon's words to the person, Enter back to the
daemon."""

from __future__ import annotations

import time

import msgspec

from bench import protocol
from bench.cli.common import (
    CommandError,
    TypedLines,
    connect,
    say,
    say_slow,
    socket_path,
)
from bench.finding import Finding
from bench.protocol.client import ConnectionClosed, NoDaemon, WireClient
from bench.render.names import upper_first
from bench.render.printed_result import result_lines
from bench.render.wording import with_name, without_port
from bench.units import System
from hw.timeouts import RETURN_RETRY_S, RETURN_S


class CheckConversation:
    """extends: whether to offer to go on where the answer is too close to call."""

    def __init__(
        self, socket: str | None, begin: protocol.Begin, extends: bool
    ) -> None:
        self.recorded = True  # the latest finding is on the disk
        self._socket = socket
        self._begin = begin
        # once at most: every later finding must be a stricter one
        self._extends = extends
        self._client: WireClient
        self._units: System = "mm"
        self._typed = TypedLines()
        self._run: str | None = None
        self._last_ask: protocol.Prompt | None = None
        self._last_said = ""
        self._offered: Finding | None = None  # that may be gone on with
        # instruments that do not read just now, and what was said of it
        self._silent: dict[str, str] = {}

    def run(self) -> Finding:
        """Until there is a finding. Raises Complaint."""
        self._connect(connect(self._socket))
        while True:
            try:
                return self._listen()
            except ConnectionClosed:
                if self._offered is not None:
                    return self._offered
                say(
                    "The daemon went away; what was acknowledged is kept. Waiting for"
                    " it to come back."
                )
                self._reconnect()
            except KeyboardInterrupt:
                self._client.close()
                raise CommandError(
                    "left; the check goes on. The same command comes back to it,"
                    " `sweepgauge abandon` ends it"
                ) from None

    def _connect(self, client: WireClient) -> None:
        self._client = client
        self._units = client.version.units
        client.send(self._begin)

    def _reconnect(self) -> None:
        until = time.monotonic() + RETURN_S
        where = socket_path(self._socket)
        while time.monotonic() < until:
            try:
                client = WireClient(where, slow=say_slow)
            except NoDaemon:
                time.sleep(RETURN_RETRY_S)
                continue
            say("The daemon is back.")
            self._last_ask = None
            self._connect(client)
            return
        raise CommandError(
            f"the daemon at {where} did not come back within"
            f" {RETURN_S:.0f} s; the log holds what it saved"
        )

    def _listen(self) -> Finding:
        while True:
            for message in self._client.waiting():
                finding = self._hear(message)
                if finding is not None:
                    return finding
            for line in self._typed.wait(self._client):
                if not self._enter(line) and self._offered is not None:
                    return self._offered
            if self._offered is not None and not self._typed.open:
                return self._offered

    def _enter(self, line: bytes) -> bool:
        """Answer with a line that was entered. False where it declines the offer."""
        if self._offered is None:
            self._client.send(protocol.Press())
        elif line.strip():  # q, or whatever is no plain Enter
            return False
        else:
            more = self._offered.more_pushes
            assert more is not None
            self._client.send(protocol.Extend(more, self._offered.id))
            self._offered = None
        return True

    # ---- what the daemon says --------------------------------------------------------

    def _hear(self, message: protocol.Message) -> Finding | None:
        """The finding, where the message concludes the check."""
        match message:
            case protocol.Error():
                raise CommandError(message.text)
            case protocol.NoFinding() if message.run == self._run:
                raise CommandError(message.words)
            case protocol.InstrumentState() if message.role != "caliper":
                self._instrument(message)
            case protocol.PromptChanged():
                self._asking(message)
            case protocol.PassNotice() if message.state != "running" and message.words:
                self._say_once(message.words)
            case protocol.Notice():
                self._say_once(message.words)
            case protocol.MarkNotice():
                say(f"  mark {message.number} of {message.of}: {message.words}")
            case protocol.Recording() if message.state == "saving":
                say(f"  {message.words}")
            case protocol.SavedNotice() if (
                message.what == "finding" and self._offered is not None
            ):
                self.recorded = self.recorded or message.id == self._offered.id
            case protocol.FindingNotice() if message.run == self._run:
                return self._concluded(message)
        return None

    def _say_once(self, words: str) -> None:
        """Say it, and remember it: the next request repeats it as its remark."""
        say(f"  {words}")
        self._last_said = words

    def _asking(self, message: protocol.PromptChanged) -> None:
        if message.run is None:
            if self._run is not None:
                raise CommandError("the check was given up by somebody else")
            return
        if message.joined:
            say("This check is in progress already; it goes on where it stands.")
        self._run = message.run
        if message.ask is not None:
            self._ask(message.ask)

    def _concluded(self, message: protocol.FindingNotice) -> Finding | None:
        """The finding, printed; None where it is offered to go on."""
        self.recorded = message.recorded
        for line in result_lines(message.finding, self._units):
            say(line)
        return None if self._offer(message.finding) else message.finding

    def _offer(self, finding: Finding) -> bool:
        """Whether it was offered to go on: too close to call, and a number of pushes
        that would settle it."""
        more = finding.more_pushes
        if not self._extends or not self._typed.open or more is None:
            return False
        self._extends, self._offered = False, finding
        many = "one pass" if more == 1 else f"{more} passes"
        say(
            f"Too close to call. {upper_first(many)} more in each set-up may settle it:"
            " Enter goes on, q leaves."
        )
        return True

    def _instrument(self, message: protocol.InstrumentState) -> None:
        """An instrument that stops reading, with what to do about it, and that reads
        again."""
        if message.state in ("open", "marks"):
            if self._silent.pop(message.name, None) is not None:
                say(f"  The {message.name} is back.")
        elif self._silent.get(message.name) != message.words:
            self._silent[message.name] = message.words
            words = without_port(message.name, message.port, message.words)
            say(f"  {with_name(message.name, words)}")

    def _ask(self, ask: protocol.Prompt) -> None:
        """Say what is wanted, once; a sled that merely moves is no news."""
        calm = msgspec.structs.replace(
            ask, moving=False, waiting=False, by_itself=False, words=""
        )
        before, self._last_ask = self._last_ask, calm
        if calm == before:
            return
        if before is not None and calm == msgspec.structs.replace(before, remark=None):
            return  # what was not kept is over and done with; the rest was said
        new_remark = before is None or before.remark != ask.remark
        if ask.remark and ask.remark != self._last_said and new_remark:
            say(f"  {ask.remark}")
        self._say_request(ask)

    def _say_request(self, ask: protocol.Prompt) -> None:
        if ask.phase == "cautions":
            for caution in ask.cautions:
                say(f"! {caution}")
            say("Press Enter when this is so.")
        elif ask.phase == "place":
            say(f"[{ask.step} of {ask.steps}] {ask.words}")
            say(f"{'Or press' if ask.by_itself else 'Press'} Enter when it stands.")
        elif ask.phase == "mark":
            silent = " and the ".join(self._silent)
            ready = f"when the {silent} reads again" if silent else "ready"
            mark = f"pass {ask.taken + 1} of {ask.wanted}, mark {ask.mark}"
            say(f"{ready}: {mark} of {ask.marks}. {ask.words}")
        elif ask.ready:
            say(f"ready: {ask.taken + 1} of {ask.wanted}. {ask.words}")
        else:
            say(ask.words)
