"""Every other kind of check on the screen, by keys and by the hands of the demonstration, beside what the saw knows."""

from __future__ import annotations

import pytest
from console_job import bench, screen, shows, wait

from bench.demo.truth import outside_uncertainty, truth_of, truth_words


@pytest.mark.parametrize(
    ("kind", "by_operator"),
    [
        pytest.param("plate-wobble", False, marks=pytest.mark.ci),
        pytest.param("runner-fit", True, marks=pytest.mark.ci),
        pytest.param("test-board", False, marks=pytest.mark.ci),
        pytest.param("fence-straight", True, marks=pytest.mark.ci),
        pytest.param("slot-blade", True, marks=pytest.mark.slow),
        pytest.param("rip-fence", False, marks=pytest.mark.slow),
        pytest.param("side-play", True, marks=pytest.mark.slow),
        pytest.param("mitre-square", True, marks=pytest.mark.slow),
        pytest.param("upright", True, marks=pytest.mark.slow),
    ],
)
async def test_every_other_check_is_done_by_keys_and_hands(tmp_path, kind, by_operator) -> None:
    async with (
        bench(tmp_path) as (saw, hands_client, folder, _daemon),
        screen(folder, hands_client) as (app, job),
    ):
        place = [one.kind for one in app.view.checks].index(kind) + 1
        one_push = ["2"] * 8 if app.view.checks[place - 1].swept else []
        chosen = [str(place)] if place < 10 else [*["down"] * (place - 1), "enter"]
        await job.press("1")
        await wait(lambda: app.screen.page == "checks" and bool(app.screen.rows()))
        for key in chosen:
            await job.press(key)
        await wait(lambda: app.screen.page == "options" and bool(app.screen.rows()))
        for key in (*one_push, "1"):
            await job.press(key)
        await wait(lambda: hands_client.ask is not None)
        if by_operator:
            await job.press("o")
            await wait(lambda: app.view.result is not None, 90.0)
        else:
            await job.until(lambda: app.view.result is not None)
        finding = app.view.finding
        truth = truth_of(saw, kind, hands_client.options, finding)
        assert not hands_client.trouble
        assert truth and not outside_uncertainty(finding, truth), (finding.quantities, truth)
        await shows(app, truth_words(finding, truth)[0])
