"""The screen on a real daemon behind the virtual saw, driven by keys as a user would: the whole job, and what goes wrong."""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import signal
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest
from console_job import Job, begin, bench, screen, shows, wait

from bench.demo.daemon_process import end_daemon, start_daemon
from bench.demo.hands_client import HandsClient
from bench.demo.operator import connect
from bench.protocol import GetStatus, StatusReply


@pytest.mark.ci
async def test_a_check_is_begun_by_keys_and_its_set_up_drawn(tmp_path) -> None:
    async with (
        bench(tmp_path) as (_saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        await shows(app, "pretend-sled", "A pretend sled", "nothing measured yet")
        await begin(job)
        await shows(app, "READ FIRST", "Unplug the saw", "Read it, then Enter")
        await job.press("enter")
        await shows(app, "SET UP", "handle to the LEFT of the arm", "w sets it up wrong", "indicator")
        await shows(app, "sled fence", "█")  # the drawing


@pytest.mark.slow
async def test_from_begin_to_good_enough_with_the_move_made_live(tmp_path) -> None:
    async with (
        bench(tmp_path) as (saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        before = saw.truth()["rotation"]
        await begin(job)
        await job.until(lambda: app.view.result is not None)
        finding = app.view.finding
        assert finding.verdict == "outside" and finding.move is not None
        # an interval of 95 %: that of one seed may lie a little beside the truth
        assert abs(finding.quantities[0].value - before) <= 1.5 * finding.quantities[0].uncertainty
        await shows(app, "OUT", f"Move the {finding.move.end} end", finding.move.way)
        await job.press("enter")
        await shows(app, "The move", "Make it live")
        await job.press("1")
        await shows(app, "How does the indicator stand on the sled?")
        await job.press("1")
        await wait(lambda: app.view.live is not None)
        await job.until(lambda: hands_client.live is not None and hands_client.live.phase == "go")
        await shows(app, "LIVE", "mm to go", f"{finding.move.end} end {finding.move.way}")
        await job.until(lambda: hands_client.live is not None and hands_client.live.phase == "tighten")
        await shows(app, "h tightens the last screw")
        await job.press("h")
        await shows(app, "Tightening has drawn it")
        await wait(lambda: not hands_client.busy)
        await wait(lambda: abs(app.view.live.drawn) == pytest.approx(0.03, abs=0.006))  # all of it is heard
        drawn = app.view.live.drawn
        assert (drawn > 0) != (finding.move.way == "away")  # back, against the move
        await job.press("0")  # slackened again: it aims past what the screw drew
        await wait(lambda: app.view.live.phase == "go")
        await job.until(lambda: hands_client.live is None)
        await shows(app, "The move is noted. Check again.")
        await job.press("enter")
        await wait(lambda: hands_client.ask is not None)
        await shows(app, "after the move")
        await job.until(lambda: app.view.result is not None)
        assert app.view.finding.verdict == "inside", app.view.finding
        assert abs(saw.truth()["rotation"]) <= app.view.finding.quantities[0].tolerance
        await shows(app, "GOOD ENOUGH", "nothing to move", "That is the job.")
        await job.press("6")
        await shows(app, "Results of pretend-sled", "moved")
        assert job.pressed - {"h"} <= {
            "enter",
            *"0123456789",
        }  # a number pad does the whole job; h is the hand


@pytest.mark.slow
async def test_a_move_the_wrong_way_is_told_by_the_verifying_passes(tmp_path) -> None:
    async with (
        bench(tmp_path) as (_saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        await begin(job, "5", "1")  # one set-up is enough to see it
        await job.until(lambda: app.view.result is not None)
        move = app.view.finding.move
        assert move is not None
        await hands_client.hands.turn_fence(
            move.end, "toward" if move.way == "away" else "away", move.distance
        )
        for key in ("enter", "2"):  # made, with the leaves
            await job.press(key)
        await shows(app, "The move is noted. Check again.")
        await job.press("enter")
        await wait(lambda: hands_client.ask is not None)
        await job.until(lambda: app.view.result is not None)
        await shows(app, "OUT: WRONG WAY", "The move went the wrong way.")


@pytest.mark.slow
async def test_a_square_that_was_not_turned_over_is_caught_by_the_lean(tmp_path) -> None:
    async with (
        bench(tmp_path) as (_saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        await begin(job)
        await job.until(lambda: hands_client.ask.phase == "place" and hands_client.ask.step == 2)
        await shows(app, "set-up 2 of 2", "w leaves it as it was")
        await wait(lambda: not hands_client.busy)
        moved = asyncio.create_task(
            wait(lambda: hands_client.busy)
        )  # a slow key is not through before it is over
        await job.press("w")
        await moved
        await wait(lambda: not hands_client.busy)
        await job.until(lambda: bool(hands_client.ask and hands_client.ask.remark))
        await shows(app, "Was the square turned over?")
        assert hands_client.ask.phase == "place"  # asked again, nothing counted
        await job.until(lambda: app.view.result is not None)
        finding = app.view.finding
        assert abs(finding.quantities[0].value - hands_client.hands.saw.truth()["rotation"]) <= (
            finding.quantities[0].uncertainty
        )


@pytest.mark.ci
async def test_a_stand_is_tapped_by_hand_and_a_bump_is_told(tmp_path) -> None:
    async with (
        bench(tmp_path) as (_saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        await begin(job, "5", "4", "2", "2", "2", "2", "2", "2", "2", "1")  # one set-up, tapped, one push
        # on a slow machine it is over before the keys are
        held = asyncio.create_task(shows(app, "HOLD STILL", "Nothing is touched now"))
        await job.until(lambda: hands_client.ask.phase == "tap")
        await held
        await wait(lambda: hands_client.ask.enter)
        await shows(app, "TAP TEST", "Tap the indicator's post", "h taps the post")
        await job.press("b")  # an elbow in place of a tap
        await job.press("enter")
        await shows(app, "number did not come back")
        assert hands_client.ask.phase == "tap"
        await wait(lambda: hands_client.ask.enter and not hands_client.ask.waiting)
        before = hands_client.hands.saw.truth()
        await job.press("h")
        await wait(lambda: hands_client.tapped)
        await shows(app, "compares it with before")
        await job.press("enter")
        await wait(lambda: hands_client.ask.phase == "lean", strict=False)
        assert hands_client.ask.phase == "lean", (hands_client.ask, [n.words for n in app.view.notices])
        await shows(app, "The number came back")
        await job.until(lambda: app.view.result is not None)
        assert hands_client.hands.saw.truth() == before
        (note,) = (n for n in app.view.finding.notes if n.startswith("Tap test"))
        assert "came back" in note and "Before that it stayed 0.2" in note


@pytest.mark.slow
async def test_a_bumped_stand_is_refused_and_the_push_asked_again(tmp_path) -> None:
    async with (
        bench(tmp_path) as (_saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        await begin(job, "5", "1")
        await job.until_kept(1)
        await wait(lambda: not hands_client.busy)
        await job.press("h")
        await wait(lambda: hands_client.hands.travel_at(time.monotonic()) < 10.0)  # drawn back
        await wait(lambda: hands_client.ask.moving and hands_client.hands.travel_at(time.monotonic()) > 100.0)
        await job.press("b")
        await wait(lambda: bool(hands_client.ask.remark), strict=False)
        assert hands_client.ask.taken == 1, "a push over a knock must not be kept"
        await shows(app, "READY", "1 of 3 kept", hands_client.ask.remark[:40])
        await job.until(lambda: app.view.result is not None)
        assert sum(row.push for row in app.view.finding.sweeps) == 3


@pytest.mark.slow
async def test_a_cable_pulled_in_a_push_and_put_back(tmp_path) -> None:
    async with (
        bench(tmp_path) as (_saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        await begin(job, "5", "1")
        await job.until_kept(1)
        await wait(lambda: not hands_client.busy)
        await job.press("h")
        await wait(lambda: hands_client.ask.moving)
        await job.press("k")
        await shows(app, "indicator not plugged in", "This pass cannot be used", "k puts it back")
        await wait(lambda: not hands_client.busy)
        await job.press("k")
        await shows(app, "all read", "READY", "1 of 3 kept")
        await job.until(lambda: app.view.result is not None)
        assert sum(row.push for row in app.view.finding.sweeps) == 3


@pytest.mark.slow
async def test_the_daemon_killed_in_mid_check(tmp_path) -> None:
    async with bench(tmp_path) as (_saw, hands_client, folder, daemon):
        hands, ports = hands_client.hands, hands_client.ports
        async with screen(folder, hands_client) as (app, job):
            await begin(job, "5", "1")
            await job.until_kept(2)
            await wait(lambda: not hands_client.busy)
            daemon.kill()
            await daemon.wait()
            await shows(app, "NO DAEMON", "no daemon", "what was said to be saved is kept")
            again = await start_daemon(folder)
            late = HandsClient(await connect(folder), hands, ports)
            try:
                # somebody may have moved it: the set-up is asked again
                await shows(app, "SET UP", "2 of 3 kept", "Passes kept: 2")
                job.hands_client = late
                await job.press("8")  # somebody is there: what the daemon noted need not be said again
                notes, told = await _told(folder)
                assert told == notes >= 1
                job.by_key = False  # the key belongs to hands that heard the daemon that is gone
                await job.until(lambda: app.view.result is not None)
                assert sum(row.push for row in app.view.finding.sweeps) == 3
            finally:
                await late.close()
                await end_daemon(again)


async def _told(folder: Path) -> tuple[int, int]:
    """How many notes the daemon has, and how many of them were seen, as soon as there are any."""
    wire = await connect(folder)
    try:
        async with asyncio.timeout(60.0):
            while True:
                wire.send(GetStatus())
                while not isinstance(status := await wire.inbox.get(), StatusReply):
                    pass
                if status.told:
                    return len(status.notes), status.told
    finally:
        wire.close()


@pytest.mark.slow
async def test_a_screen_left_in_mid_check_and_another_opened(tmp_path) -> None:
    async with bench(tmp_path) as (_saw, hands_client, folder, _daemon):
        async with screen(folder, hands_client) as (app, job):
            await begin(job, "5", "1")
            await job.until_kept(2)
            await shows(app, "2 of 3 kept")
            await job.press("0")
            await shows(app, "is taken back", "1 of 3 kept")
        async with screen(folder, hands_client, size=(60, 20), look="tube") as (app, job):
            await shows(app, "READY", "1 of 3 kept")
            assert len([p for p in app.view.placed_passes() if p.push]) == 1
            await job.until(lambda: app.view.result is not None)
            assert sum(row.push for row in app.view.finding.sweeps) == 3


@pytest.mark.slow
async def test_the_screens_processes_killed_in_mid_check(tmp_path) -> None:
    """SIGKILL to everything that draws, on a real pseudo-terminal; a new one stands at the same place."""
    async with bench(tmp_path) as (_saw, hands_client, folder, _daemon):
        process, master = _console(folder / "socket")
        written = bytearray()
        asyncio.get_running_loop().add_reader(master, _drain, master, written)

        async def press(key: str) -> None:
            os.write(master, b"\r" if key == "enter" else key.encode())

        try:
            job = Job(press, hands_client)
            job.by_key = False
            on = {"checks": b"Which check?", "options": b"Which set-ups to take", "one": b": handle left"}
            job.shows = lambda page: on[page] in written
            # keys before the screen listens belong to nobody
            await wait(lambda: b"begin a check" in written)
            await begin(job, "5")
            await wait(lambda: job.shows("one"))
            await job.press("1")
            await wait(lambda: hands_client.ask is not None)
            await job.until_kept(2)
            for pid in _below(process.pid):
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
            await asyncio.to_thread(process.wait, 5)
        finally:
            asyncio.get_running_loop().remove_reader(master)
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            process.wait()
            os.close(master)
        async with screen(folder, hands_client) as (app, job):
            await shows(app, "READY", "2 of 3 kept")
            await job.until(lambda: app.view.result is not None)
            assert sum(row.push for row in app.view.finding.sweeps) == 3


def _console(socket: Path) -> tuple[subprocess.Popen[bytes], int]:
    master, slave = os.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-m", "bench.cli", "console", "--socket", str(socket)],
        stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
        env={**os.environ, "TERM": "xterm-256color"}, preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),  # noqa: PLW1509 - one call, no lock
    )  # fmt: skip
    os.close(slave)
    os.set_blocking(master, False)
    return process, master


def _drain(master: int, written: bytearray) -> None:
    try:
        written += os.read(master, 65536)
    except OSError:  # the other end is closed
        asyncio.get_running_loop().remove_reader(master)


def _below(pid: int) -> list[int]:
    """The process and all below it, parents first."""
    found = [pid]
    with contextlib.suppress(OSError):
        for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
            found += _below(int(child))
    return found
