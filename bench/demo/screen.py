"""The demonstration with the screen: the virtual saw, a real daemon, the real console,
hands and slips by keys.

The hands put and lean what the daemon asks for; the pushes and the screw are the
user's, by the key `h`, or the operator's, by the key `o`; `w`, `b` and `k` let
something go wrong. A line above the keys teaches the job. The console knows nothing of
the virtual saw.
"""

from __future__ import annotations

from bench.console.host import ExtraKey
from bench.console.requests import Requests
from bench.console.view_model import ViewModel
from bench.demo.daemon_process import Say
from bench.demo.hand_actions import FIRST_WIDTH, KNOCK
from bench.demo.hands_client import HandsClient
from bench.demo.operator import connect, virtual_bench
from bench.demo.truth import JOB, truth_of, truth_words
from bench.procedure.prompt import Prompt

BUMPED = ("lean", "tap", "sweep", "mark", "spot")  # where an elbow does harm
WORK = ("home", "check", "live", "first_start")  # screens that are no pages
# each fits into two rows of forty columns
LESSONS = {
    "page checks": "Enter takes the first: the sled fence. Key o takes any of them.",
    "page options": "Nothing needs changing here: Enter begins.",
    "page move": "Enter makes it live: the distance left shows, large.",
    "page live_set_up": "On the pretend saw it stands beyond the sled fence: take 1.",
    "page limits": "What has the longest bar limits it most. Key . goes back.",
    "cautions": "On a real saw this comes first. Read it, then Enter.",
    "place": "It is set up as it says. Enter: it stands. w sets it up wrong.",
    "place width": "The caliper is set to it. Enter measures.",
    "learn": "On a real saw this finds the cables. Key 9 leaves it.",
    "place other": "It is set up as it says. Enter: it stands.",
    "place cut": "The board is cut, and turned each time. Enter measures.",
    "place again": "Turned over, its error cancels. Enter; w leaves it as it was.",
    "slipped": "It stands wrong now. Press Enter all the same: is it noticed?",
    "lean": "It is leaned: that tells the indicator's side. Enter.",
    "tap rest": "Nothing is touched now: the number at rest is taken.",
    "tap": "h taps the post, twice. A bump (b) instead would not come back.",
    "tapped": "It jumped and came back. Enter compares it with before.",
    "sweep": "h pushes. It counts only after READY. b bumps, k pulls a cable.",
    "sweep other": "h pushes, right through. It counts only after READY.",
    "sweep again": "Lift and seat the square before every pass. h pushes.",
    "moving": "The line is what the tip rides on. Dust is left out.",
    "mark": "The sled stops at each mark by itself; Enter takes it.",
    "spot": "It is done for you. Held still, the number is taken by itself.",
    "live stand": "The indicator is set on the sled for you. Enter.",
    "live lean": "The sled is leaned for you. The number stands still: Enter.",
    "live go": "h turns the screw a little. When it says there, press Enter.",
    "live tighten": "h tightens the last screw. Watch what the sled fence does.",
    "live tight": "It drew back. 0 slackens, to aim past. Or h turns on; then Enter.",
    "unplugged": "The cable is out. What was kept is kept. k puts it back.",
    "new": "A pretend sled. Is it square? Enter finds out; o does it for you.",
    "out": "Which end, which way, how far, how sure. Enter shows the move.",
    "close": "Too close to call, so no move. It says what would settle it.",
    "moved": "Moved. Enter checks it again to prove it.",
}

HELP = {
    "h": "Pretend saw: push, tap, turn the screw or tighten it.",
    "o": "Pretend saw: all is done for you, or no longer.",
    "w": (
        "Pretend saw: set up wrong. Square not turned, or the stand is on the wrong"
        " side."
    ),
    "b": "Pretend saw: an elbow bumps the stand.",
    "k": "Pretend saw: the indicator's cable is pulled, or put back.",
}


def lesson(
    page: str, view: ViewModel, requests: Requests, hands_client: HandsClient
) -> str:
    """One short line for the step the user is at."""
    if hands_client.trouble:
        return hands_client.trouble + " 9 gives up." * (view.prompt is not None)
    if hands_client.unplugged:
        return LESSONS["unplugged"]
    if page not in WORK:
        return LESSONS.get(f"page {page}", "")
    if view.setup is not None:
        return LESSONS["learn"]
    if view.live is not None:
        tight = view.live.phase == "tighten" and hands_client.tight
        step = f"live {'tight' if tight else view.live.phase}"
        return LESSONS.get(step, LESSONS["live stand"] * (step != "live end"))
    if view.prompt is not None:
        return LESSONS.get(_step(view.prompt, hands_client), "")
    return _at_rest(view, requests, hands_client) if view.online else ""


def _step(ask: Prompt, hands_client: HandsClient) -> str:
    if ask.by_itself:
        return "spot"
    square = (ask.placement or "").startswith("handle-")
    if ask.phase == "place" and not square:
        if ask.gather == "width":
            return "place cut" if ask.placement == FIRST_WIDTH else "place width"
        return "place other"
    if ask.phase == "place":
        turned = "place again" if ask.step > 1 else "place"
        return "slipped" if hands_client.slipped else turned
    if ask.phase == "sweep":
        again = "sweep again" if ask.taken else "sweep"
        return "moving" if ask.moving else again if square else "sweep other"
    if ask.phase == "tap":
        return "tapped" if hands_client.tapped else "tap" if ask.enter else "tap rest"
    return ask.phase


def _at_rest(view: ViewModel, requests: Requests, hands_client: HandsClient) -> str:
    finding = view.finding
    if finding is None:
        return LESSONS["new"]
    if requests.moved:
        return LESSONS["moved"]
    saw, options = hands_client.hands.saw, hands_client.options
    known = truth_of(saw, finding.check, options, finding)
    truth = truth_words(finding, known, view.units)
    told = f"In truth, {truth[0]}." if truth else ""
    if finding.check != JOB:
        return f"{told}{' Enter: the move.' * (finding.proposed is not None)}".strip()
    if finding.verdict == "cannot-tell":
        return LESSONS["close"]
    if finding.proposed is not None:
        return LESSONS["out"]
    return f"That is the job. {told}" if finding.verdict == "inside" else ""


class HandKeys:
    """The pretend saw's hands as keys of the console: the hand, the operator, and what
    goes wrong at a key; and the lesson beside what is asked."""

    leaving = "Leave the pretend saw? All that was done on it is gone then."

    def __init__(self, client: HandsClient) -> None:
        self.client = client
        self.keys: tuple[ExtraKey, ...] = (
            ExtraKey(
                *("h", client.hand_word, HELP["h"], client.hand, client.can_hand),
                leads=True,
            ),
            ExtraKey(
                "o",
                lambda: "stop that" if client.operator else "do it for me",
                *(HELP["o"], client.turn_operator),
            ),
            ExtraKey(
                "w",
                lambda: "don't turn" if self.turned else "wrong side",
                *(HELP["w"], self.wrong, self.can_wrong),
            ),
            ExtraKey("b", lambda: "bump", HELP["b"], self.bump, self.can_bump),
            ExtraKey(
                "k",
                lambda: "plug in" if client.unplugged else "pull cable",
                *(HELP["k"], self.cable, lambda: client.ports is not None),
            ),
        )

    def tip(self, page: str, view: ViewModel, requests: Requests) -> str:
        return lesson(page, view, requests, self.client)

    @property
    def turned(self) -> bool:
        """The set-up that is asked for is another than the one before."""
        before, ask = self.client.placement_before, self.client.ask
        return ask is not None and before not in (None, ask.placement)

    def wrong(self) -> None:
        """The square left as it was, or the stand on the other side of the arm."""
        client, ask = self.client, self.client.ask
        if ask is None or client.busy:
            return
        client.slipped = True
        if not self.turned:
            client.hands.saw.slip("wrong-side")
        wrong = client.placement_before if self.turned else ask.placement
        client.start(client.hands.put(wrong or ""))

    def can_wrong(self) -> bool:
        ask = self.client.ask
        placement = ask.placement or "" if ask is not None else ""
        at_place = ask is not None and ask.phase == "place"
        return at_place and placement.startswith("handle-")

    def bump(self) -> None:
        self.client.hands.saw.bump(KNOCK)

    def can_bump(self) -> bool:
        ask = self.client.ask if self.client.live is None else None
        return ask is not None and ask.phase in BUMPED

    def cable(self) -> None:
        """Pull the indicator's cable, or put it back."""
        client = self.client
        if client.ports is not None:
            client.unplugged = not client.unplugged
            act = client.ports.unplug if client.unplugged else client.ports.replug
            act("indicator")


async def run_screen(seed: int, say: Say, *, marks: bool = False) -> None:
    """Until the screen is left. Raises DemoError when the daemon does not come up."""
    from bench.console.app import make_console

    async with virtual_bench(seed, marks=marks, say=say) as bench:
        client = HandsClient(await connect(bench.folder), bench.hands, bench.ports)
        try:
            keys = HandKeys(client)
            await make_console(bench.folder / "socket", extension=keys).run_async()
        finally:
            await client.close()
