"""The demonstration with the screen: the virtual saw, a real daemon, the real console,
hands and slips by keys.

The hands put and lean what the daemon asks for; the pushes and the screw are the
user's, by the key `h`, or the operator's, by the key `o`; `w`, `b` and `k` let
something go wrong. A line above the keys teaches the job. The console knows nothing of
the virtual saw.
"""

from __future__ import annotations

from bench.console.host import GuestKey
from bench.console.requests import Requests
from bench.console.view_model import ViewModel
from bench.demo.daemon_process import Say
from bench.demo.hand_actions import FIRST_WIDTH
from bench.demo.hands_client import HandsClient
from bench.demo.operator import connect, virtual_bench
from bench.demo.single_check import truth_words
from bench.demo.truth import JOB, truth_of
from bench.procedure.prompt import Prompt

WORK = ("home", "check", "live", "first_start")  # screens that are no pages
# each fits into two rows of forty columns
LESSONS = {
    "page checks": "Enter takes the first: the sled fence. The hands can do them all.",
    "page options": "Nothing needs changing here: Enter begins.",
    "page move": "Enter makes it live: the distance left shows, large.",
    "page live_set_up": "On the pretend saw it stands beyond the sled fence: take 1.",
    "page limits": "Better the longest bar first. Key . goes back.",
    "cautions": "On a real saw this comes first. Read, then Enter.",
    "place": "The hands have set it up. Enter: it stands. w sets it up wrong.",
    "place other": "The hands have put it up as it says. Enter: it stands.",
    "place cut": "The hands have cut the board and turned it: Enter goes on.",
    "place again": "Turned over, its own error cancels. Enter; w leaves it unturned.",
    "slipped": "It stands wrong now. Press Enter all the same: is it noticed?",
    "lean": "The hands lean the sled: it tells the indicator's side. Enter.",
    "tap rest": "Nothing is touched now: the number at rest is taken.",
    "tap": "h taps the post, twice. A bump (b) instead would not come back.",
    "tapped": "It jumped and came back. Enter compares it with the rest.",
    "sweep": "h pushes. It counts only after READY. b bumps, k pulls a cable.",
    "sweep other": "h pushes, right through. It counts only after READY.",
    "sweep again": "Lift and seat the square before every pass. h pushes.",
    "moving": "The line is what the tip rides on. Dust is left out.",
    "mark": "The hands stop the sled at each mark; Enter takes it.",
    "spot": "The hands do it again. Held still, the number is taken by itself.",
    "width": "The hands measure. Held still, the number is taken by itself.",
    "live stand": "The hands set the indicator on the sled. Enter.",
    "live lean": "The hands lean the sled. The number stands still: Enter.",
    "live go": "h turns the screw a little. When it says there, press Enter.",
    "live tighten": "h tightens the last screw. Watch what the fence does.",
    "live tight": "It drew back. 0 slackens, to aim past; or h turns on. Enter.",
    "unplugged": "The cable is out. What was kept is kept. k puts it back.",
    "new": "Pretend sled, off square. Enter: find out. o: the hands do all.",
    "out": "Which end, which way, how far, how sure. Enter shows the move.",
    "close": "Too close to call, so no move. It says what would settle it.",
    "moved": "Moved. Enter checks it again to prove it.",
}


def lesson(
    page: str, view: ViewModel, requests: Requests, hands_client: HandsClient
) -> str:
    """One short line for the step the user is at."""
    if hands_client.trouble:
        return hands_client.trouble
    if hands_client.unplugged:
        return LESSONS["unplugged"]
    if page not in WORK:
        return LESSONS.get(f"page {page}", "")
    if view.live is not None:
        phase: str = view.live.phase
        if phase == "tighten" and hands_client.tight:
            phase = "tight"
        return LESSONS.get(
            f"live {phase}", LESSONS["live stand"] if phase != "end" else ""
        )
    return (
        LESSONS.get(_step(view.ask, hands_client), "")
        if view.ask is not None
        else _at_rest(view, requests, hands_client)
    )


def _step(ask: Prompt, hands_client: HandsClient) -> str:
    if ask.by_itself:
        return "width" if ask.gather == "width" else "spot"
    square = (ask.placement or "").startswith("handle-")
    if ask.phase == "place" and not square:
        return (
            "place cut"
            if ask.gather == "width" and ask.placement == FIRST_WIDTH
            else "place other"
        )
    if ask.phase == "place":
        return (
            "slipped"
            if hands_client.slipped
            else "place again"
            if ask.step > 1
            else "place"
        )
    if ask.phase == "sweep":
        again = "sweep again" if ask.taken else "sweep"
        return "moving" if ask.moving else again if square else "sweep other"
    if ask.phase == "tap":
        return "tapped" if hands_client.tapped else "tap" if ask.enter else "tap rest"
    return ask.phase


def _at_rest(view: ViewModel, requests: Requests, hands_client: HandsClient) -> str:
    finding = view.finding
    if not view.here:
        return ""
    if finding is None:
        return LESSONS["new"]
    if requests.moved:
        return LESSONS["moved"]
    if finding.check != JOB:
        truth = truth_words(
            finding,
            truth_of(
                hands_client.hands.saw, finding.check, hands_client.options, finding
            ),
        )
        said = [f"In truth: {truth[0]}."] if truth else []
        return " ".join(said + ["Enter: the move."] * (finding.proposed is not None))
    if finding.verdict == "cannot-tell":
        return LESSONS["close"]
    if finding.proposed is not None:
        return LESSONS["out"]
    if finding.verdict == "inside":
        now = truth_of(hands_client.hands.saw, JOB, {})
        return f"That is the job. In truth: {truth_words(finding, now)[0]}."
    return ""


class Hands:
    """The pretend saw's hands as keys of the console, and the lesson beside what is
    asked."""

    def __init__(self, hands_client: HandsClient) -> None:
        self._client = hands_client
        self.keys = _keys(hands_client)

    def tip(self, page: str, view: ViewModel, requests: Requests) -> str:
        return lesson(page, view, requests, self._client)


def _keys(client: HandsClient) -> tuple[GuestKey, ...]:
    return (
        GuestKey(
            "h",
            client.hand_word,
            "Pretend saw: the hands push the sled, tap the stand, turn the screw a"
            " little, tighten it.",
            client.hand,
            client.can_hand,
            leads=True,
        ),
        GuestKey(
            "o",
            lambda: "stop the hands" if client.operator else "hands do all",
            "Pretend saw: let the hands do everything themselves, or stop them.",
            client.turn_operator,
        ),
        GuestKey(
            "w",
            client.wrong_word,
            "Pretend saw: a slip of the set-up, the square not turned over or the stand"
            " on the wrong side.",
            client.wrong,
            client.can_wrong,
        ),
        GuestKey(
            "b",
            lambda: "bump",
            "Pretend saw: an elbow bumps the stand.",
            client.bump,
            client.can_bump,
        ),
        GuestKey(
            "k",
            lambda: "plug in" if client.unplugged else "pull cable",
            "Pretend saw: the indicator's cable is pulled, or put back.",
            client.cable,
            lambda: client.ports is not None,
        ),
    )


async def run_screen(
    seed: int, say: Say, *, marks: bool = False, look: str | None = None
) -> None:
    """Until the screen is left. Raises DemoError when the daemon does not come up."""
    from bench.console.app import make_console

    async with virtual_bench(seed, marks=marks, say=say) as (
        _saw,
        hands,
        ports,
        folder,
        _daemon,
    ):
        hands_client = HandsClient(await connect(folder), hands, ports)
        try:
            await make_console(
                folder / "socket",
                look=look,
                guest=Hands(hands_client),
            ).run_async()
        finally:
            await hands_client.close()
