"""The demonstration with the screen: the virtual saw, a real daemon, the real console, hands and slips by keys.

The hands put and lean what the daemon asks for; the pushes and the screw are the user's, by the key `h`, or the
operator's, by the key `o`; `w`, `b` and `k` let something go wrong. A line above the keys teaches the job. The
console knows nothing of the virtual saw. May import: everything.
"""

from __future__ import annotations

from bench.console.actions import Action
from bench.console.desk import Desk
from bench.demo import connect, virtual_bench
from bench.demo_hands import Following
from bench.units import PER_MM

_PAGES = {
    "checks": "The first asks for the sled's fence. Enter takes the marked row, its digit any row.",
    "options": "As it stands it is good: Enter begins.",
    "move": "Leaves set a stop to come to. Or take 1: live, and watch the distance shrink.",
    "live": "The pretend indicator will stand beyond the sled fence: take 1.",
    "limits": "The longest bar is what to better first. . goes back.",
}
_PHASES = {
    "cautions": "On a real saw this comes first. Read it, then Enter.",
    "lean": "The hands lean the sled: that proves on which side the indicator stands. Then Enter.",
    "mark": "The hands stop the sled at each mark; Enter takes the reading.",
    "spot": "Enter takes the reading, when it stands still.",
    "working-out": "",
}
_LIVE = {
    "lean": "The hands lean the sled. The number must stand still; then Enter.",
    "go": "h turns the screw a little. At 0, or a hair past it, Enter.",
    "end": "",
}


def lesson(desk: Desk, following: Following) -> str:
    """One short line for the step the user is at."""
    state = desk.state
    if following.cannot:
        return following.cannot
    if following.unplugged:
        return "The cable is out: what was kept is kept. k puts it back."
    if desk.view.page != "work":
        return _PAGES.get(desk.view.page, "")
    if state.live is not None:
        if state.live.phase == "tighten":
            return (
                "It drew the fence back a little: h turns on, Enter when it is good enough."
                if following.tight
                else "h tightens the last screw. Watch what that does to the fence."
            )
        return _LIVE.get(
            state.live.phase, "The hands set the indicator on the sled, on the sled fence. Enter."
        )
    ask = state.ask
    if ask is not None:
        if ask.phase == "place" and following.slipped:
            return "It stands wrong now. Enter all the same: will the lean test notice?"
        if ask.phase == "place":
            return (
                "The hands turned the square over, so its own error drops out. Enter; or w: as if they had not."
                if ask.step > 1
                else "The hands have set the square and the stand. Enter says it stands; w puts it wrong."
            )
        if ask.phase == "sweep":
            if ask.moving:
                return "The line is the arm as the indicator meets it; dust is set aside."
            if ask.taken == 0:
                return "h pushes the sled. Only what comes after READY counts. b bumps the stand, k pulls a cable."
            return (
                "Seated anew before each push: only pushes that differ tell how sure the answer is. h pushes."
            )
        return _PHASES.get(ask.phase, "")
    return _at_rest(desk, following)


def _at_rest(desk: Desk, following: Following) -> str:
    finding = desk.state.finding
    if not desk.state.here:
        return ""
    if finding is None:
        return "A pretend sled, its fence off square by nobody knows what. Enter begins; find out."
    if desk.moved:
        return "Moved. Believe nobody: Enter takes the check again and proves it."
    if finding.move is not None:
        return "Which end, which way, how far, and how sure. Enter: the move."
    if finding.verdict == "inside":
        truth = following.hands.saw.truth()["rotation"] * PER_MM
        return f"That is the job. The pretend saw gives away: {truth:+.3f} mm per 300 mm. - leaves."
    return ""


def actions(following: Following) -> tuple[Action, ...]:
    return (
        Action(
            "hand",
            ("h",),
            lambda desk: following.hand_word(),
            "Pretend saw: the hands push the sled, turn the screw a little, tighten it.",
            lambda desk: following.hand(),
            lambda desk: following.can_hand(),
        ),
        Action(
            "operator",
            ("o",),
            lambda desk: "hands off" if following.operator else "let them",
            "Pretend saw: let the hands do everything themselves, or stop them.",
            lambda desk: following.turn_operator(),
        ),
        Action(
            "wrong",
            ("w",),
            lambda desk: following.wrong_word(),
            "Pretend saw: a slip of the set-up, the square not turned over or the stand on the wrong side.",
            lambda desk: following.wrong(),
            lambda desk: following.can_wrong(),
            late=True,
        ),
        Action(
            "bump",
            ("b",),
            lambda desk: "bump",
            "Pretend saw: an elbow bumps the stand.",
            lambda desk: following.bump(),
            lambda desk: following.can_bump(),
            late=True,
        ),
        Action(
            "cable",
            ("k",),
            lambda desk: "plug in" if following.unplugged else "pull cable",
            "Pretend saw: the indicator's cable is pulled, or put back.",
            lambda desk: following.cable(),
            lambda desk: following.ports is not None,
            late=True,
        ),
    )


async def run_screen(seed: int, *, marks: bool = False, look: str | None = None) -> None:
    """Until the screen is left. Raises DemoError when the daemon does not come up."""
    from bench.console.app import make_console

    async with virtual_bench(seed, marks=marks) as (_saw, hands, ports, folder, _daemon):
        following = Following(await connect(folder), hands, ports)
        try:
            await make_console(
                folder / "socket",
                look=look,
                extra=actions(following),
                tip=lambda desk: lesson(desk, following),
            ).run_async()
        finally:
            await following.close()


__all__ = ["Following", "actions", "lesson", "run_screen"]
