"""`sweepgauge check`, `moved`, `undo`, `abandon`: a check on the running daemon, led by
words and Enter."""

from __future__ import annotations

import select
import sys
import time
from pathlib import Path
from typing import Any

import click

from bench.cli.common import (
    Complaint,
    connect,
    json_option,
    say,
    say_slow,
    socket_option,
    socket_path,
    worst,
)
from bench.cli.options import declared, read_options, the_check
from bench.render.wording import with_name, without_port

PATIENCE = 60.0  # s that a daemon which went away may take to come back


@click.command(context_settings={"show_default": True})
@click.argument("kind")
@click.option("--jig", metavar="NAME", help="The sled; the only one by default.")
@click.option("--saw", metavar="NAME", help="The saw; the sled's, else the only one.")
@click.option("--square", metavar="NAME", help="The square; the only one by default.")
@click.option("--sweeps", type=int, default=3, metavar="N", help="Pushes per set-up.")
@click.option(
    "--lean",
    is_flag=True,
    help="Prove the indicator's side by leaning the sled left and right.",
)
@click.option(
    "--tap",
    is_flag=True,
    help="Tap the stand before the first push: the number must come back.",
)
@click.option(
    "--beat", type=float, metavar="SECONDS", help="Marks by a beat instead of Enter."
)
@click.option(
    "--extend/--no-extend",
    "extend",
    default=None,
    help=(
        "Offer to go on once where the answer is too close to call; at a terminal by"
        " default."
    ),
)
@click.option(
    "--verifies", metavar="ID", help="The result whose move this check verifies."
)
@socket_option
@json_option
@declared
def check(
    kind: str,
    jig: str | None,
    saw: str | None,
    square: str | None,
    sweeps: int,
    lean: bool,
    tap: bool,
    beat: float | None,
    extend: bool | None,
    verifies: str | None,
    socket_path: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Take a check on the running daemon: it says what it wants, Enter (or the pedal)
    answers.

    Example:  sweepgauge check fence-square --jig big-sled
    """
    from bench.protocol import Begin

    found = the_check(kind)
    options = read_options(found, given)
    begin = Begin(
        check=kind,
        jig=jig,
        saw=saw,
        square=square,
        sweeps=sweeps,
        lean=lean,
        tap=tap,
        beat=beat,
        options=options,
        verifies=verifies,
    )
    leading = _Leading(
        socket_path, begin, sys.stdin.isatty() if extend is None else extend
    )
    finding = leading.run()
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode(finding))
    if not leading.recorded:
        from bench.protocol import UNRECORDED

        say(UNRECORDED)
        return 1
    return worst([finding.verdict])


class _Leading:
    """The conversation of one check: messages from the daemon, Enters from the person."""

    def __init__(self, socket: str | None, begin: Any, extends: bool) -> None:
        self.socket = socket
        self.begin = begin
        self.client: Any = None
        self.stdin_open = True
        self.last: Any = None
        self.run_id: str | None = None
        self.said_last = ""
        self.units: Any = "mm"
        self.extends = extends  # once at most: every later look must be a stricter one
        self.offered: Any = None  # the finding that may be gone on with
        self.recorded = True  # the latest finding is on the disk
        # instruments that do not read just now, and what was said of it
        self.away: dict[str, str] = {}

    def run(self) -> Any:
        from bench.protocol.client import Gone

        self._connect(connect(self.socket))
        while True:
            try:
                return self._listen()
            except Gone:
                if self.offered is not None:
                    return self.offered
                say(
                    "The daemon went away; what was acknowledged is kept. Waiting for"
                    " it to come back."
                )
                self._come_back()
            except KeyboardInterrupt:
                self.client.close()
                raise Complaint(
                    "left; the check goes on. The same command comes back to it,"
                    " `sweepgauge abandon` ends it"
                ) from None

    def _connect(self, client: Any) -> None:
        self.client = client
        self.units = client.version.units
        self.client.send(self.begin)

    def _come_back(self) -> None:
        from bench.protocol.client import NoDaemon, WireClient

        until = time.monotonic() + PATIENCE
        where: Path = socket_path(self.socket)
        while time.monotonic() < until:
            try:
                client = WireClient(where, slow=say_slow)
            except NoDaemon:
                time.sleep(0.2)
                continue
            say("The daemon is back.")
            self.last = None
            self._connect(client)
            return
        raise Complaint(
            f"the daemon at {where} did not come back within {PATIENCE:.0f} s; the log"
            " holds what it saved"
        )

    def _listen(self) -> Any:
        from bench.protocol import Press

        while True:
            for message in self.client.waiting():
                finding = self._hear(message)
                if finding is not None:
                    return finding
            sources = [self.client, sys.stdin] if self.stdin_open else [self.client]
            ready, _, _ = select.select(sources, [], [], 1.0)
            if self.client in ready:
                self.client.fill()
            for line in self._lines() if sys.stdin in ready else ():
                if self.offered is None:
                    self.client.send(Press())
                elif line.strip():  # q, or whatever is no plain Enter
                    return self.offered
                else:
                    self._go_on()
            if self.offered is not None and not self.stdin_open:
                return self.offered

    def _lines(self) -> list[bytes]:
        """The lines that were entered; read from the descriptor so that none hides in a
        buffer."""
        import os

        data = os.read(sys.stdin.fileno(), 4096)
        if not data:
            self.stdin_open = False
        return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")[:-1]

    def _offer(self, finding: Any) -> bool:
        """Whether it was offered to go on: too close to call, and a number of pushes
        that would settle it."""
        more = finding.more_pushes
        if not self.extends or not self.stdin_open or more is None:
            return False
        self.extends, self.offered = False, finding
        many = "one push" if more == 1 else f"{more} pushes"
        say(
            f"Too close to call; {many} more in each set-up may settle it: Enter to go"
            " on, q to leave."
        )
        return True

    def _go_on(self) -> None:
        from bench.protocol import Extend

        more = self.offered.more_pushes
        assert more is not None
        self.client.send(Extend(more, self.offered.id))
        self.offered = None

    def _hear(self, message: Any) -> Any:
        from bench.protocol import (
            Asking,
            Concluded,
            Error,
            InstrumentState,
            MarkTaken,
            NotConcluded,
            Notice,
            Recording,
            Saved,
            SweepSaid,
        )

        if isinstance(message, Error):
            raise Complaint(message.text)
        if isinstance(message, InstrumentState) and message.role != "caliper":
            self._state(message)
        if isinstance(message, Asking):
            if message.run is None:
                if self.run_id is not None:
                    raise Complaint("the check was given up by somebody else")
                return None
            if message.joined:
                say("This check is in progress already; it goes on where it stands.")
            self.run_id = message.run
            self._ask(message.ask)
        elif isinstance(message, SweepSaid):
            if message.state != "running" and message.words:
                say(f"  {message.words}")
                self.said_last = message.words
        elif isinstance(message, MarkTaken):
            say(f"  mark {message.number} of {message.of}: {message.words}")
        elif isinstance(message, Notice):
            say(f"  {message.words}")
            self.said_last = message.words
        elif isinstance(message, Recording) and message.state == "saving":
            say(f"  {message.words}")
        elif (
            isinstance(message, Saved)
            and message.what == "finding"
            and self.offered is not None
        ):
            self.recorded = self.recorded or message.id == self.offered.id
        elif isinstance(message, NotConcluded) and message.run == self.run_id:
            raise Complaint(message.words)
        elif isinstance(message, Concluded) and message.run == self.run_id:
            from bench.render.result import result_lines

            self.recorded = message.recorded
            for line in result_lines(message.finding, self.units):
                say(line)
            return None if self._offer(message.finding) else message.finding
        return None

    def _state(self, message: Any) -> None:
        """An instrument that stops reading, with what to do about it, and that reads
        again."""
        if message.state in ("open", "marks"):
            if self.away.pop(message.name, None) is not None:
                say(f"  The {message.name} is back.")
        elif self.away.get(message.name) != message.words:
            self.away[message.name] = message.words
            words = without_port(message.name, message.port, message.words)
            say(f"  {with_name(message.name, words)}")

    def _ask(self, ask: Any) -> None:
        """Say what is wanted, once; a sled that merely moves is no news."""
        import msgspec

        calm = msgspec.structs.replace(ask, moving=False, waiting=False)
        if calm == self.last:
            return
        before, self.last = self.last, calm
        if before is not None and calm == msgspec.structs.replace(before, remark=None):
            return  # what was not kept is over and done with; the rest was said
        if (
            ask.remark
            and ask.remark != self.said_last
            and (before is None or before.remark != ask.remark)
        ):
            say(f"  {ask.remark}")
        if ask.phase == "cautions":
            for caution in ask.cautions:
                say(f"! {caution}")
            say("Press Enter when this is so.")
        elif ask.phase == "place":
            say(f"[{ask.step} of {ask.steps}] {ask.words}")
            say("Press Enter when it stands.")
        elif ask.phase == "mark":
            ready = (
                f"when the {' and the '.join(self.away)} reads again"
                if self.away
                else "ready"
            )
            say(
                f"{ready}: push {ask.taken + 1} of {ask.wanted}, mark {ask.mark} of"
                f" {ask.marks}. {ask.words}"
            )
        elif ask.ready:
            say(f"ready: {ask.taken + 1} of {ask.wanted}. {ask.words}")
        else:
            say(ask.words)


@click.command()
@click.option(
    "--jig", metavar="NAME", help="The sled; the latest result with a move by default."
)
@click.option(
    "--distance",
    metavar="LENGTH",
    help="How far it was moved; as the result said by default.",
)
@click.option(
    "--how", default="", metavar="WORDS", help="How: leaves, live, jack screw."
)
@socket_option
def moved(
    jig: str | None, distance: str | None, how: str, socket_path: str | None
) -> int:
    """Note that the move of the last result was made, so that the next check can judge
    it. Exit 1: not recorded.

    Example:  sweepgauge moved --distance "0.15 mm" --how leaves
    """
    from bench.protocol import Moved
    from bench.units import UnitsError, parse_length

    try:
        length = None if distance is None else parse_length(distance)
    except UnitsError as error:
        raise Complaint(f"--distance: {error}") from error
    return _simple(socket_path, Moved(jig=jig, distance=length, how=how))


@click.command()
@socket_option
def undo(socket_path: str | None) -> int:
    """Take back the last mark of a pass that is not whole yet, or the last pass of the
    check in progress.

    Example:  sweepgauge undo
    """
    from bench.protocol import Undo

    return _simple(socket_path, Undo())


@click.command()
@socket_option
def abandon(socket_path: str | None) -> int:
    """Give up the check in progress; what was measured stays in the log.

    Example:  sweepgauge abandon
    """
    from bench.protocol import Abandon

    return _simple(socket_path, Abandon())


def _simple(socket: str | None, request: Any) -> int:
    from bench.protocol import Done, Recording
    from bench.protocol.client import Gone, NoDaemon, Refused

    def meanwhile(said: Any) -> None:
        if isinstance(said, Recording) and said.state != "recording":
            say(said.words)

    try:
        with connect(socket) as client:
            answer = client.ask(request, Done, meanwhile=meanwhile)
    except Refused as error:
        raise Complaint(str(error)) from error
    except (Gone, NoDaemon) as error:
        raise Complaint(str(error)) from error
    click.echo(answer.text, err=not answer.recorded)
    return 0 if answer.recorded else 1
