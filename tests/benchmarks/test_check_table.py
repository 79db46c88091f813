"""Give-or-takes that hold under disturbances, class by class: a few cases, and many when asked for (`-m slow`)."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from check_table import table

# what no evaluation can see, only be told of: least coverage, and half-width over the ideal where a stated row is as
# large as what it stands for may be
STATED: dict[str, float] = {
    "slot-blade/one after the other, nothing floats": 12.0,
    "side-play/twisted at 160 only": 7.0,
    "side-play/pressed at 160": 7.0,
    "side-play/pressed at 200, runner not said": 4.0,
    "side-play/twisted at 200, runner not said": 4.0,
    "test-board/nothing known, 25 urad": 4.0,
    "fence-straight/nothing bends": 14.0,
    "fence-straight/bends by 8 um, size said": 2.6,
    "fence-straight/bends alike by 8 um": 2.6,
    "fence-straight/as other hands made them": 6.0,
}
UNSEEN = {  # a remark says so
    "plate-wobble/4 marks twice, warp 0.01": 0.7,
    "side-play/twisted at 250, place off by 8": 0.8,
    "fence-straight/bends alike by 8 um": 0.8,
}


def rows(cases: int) -> Iterator[tuple[str, dict]]:
    for row in table([], cases, 1):
        yield f"{row['kind']}/{row['class']}", row


@pytest.mark.ci
def test_in_small_every_class_has_an_answer() -> None:
    held = []
    for name, row in rows(3):
        assert not row["refused"], (name, row)
        held.append(row["held"])
    assert sum(held) / len(held) >= 0.9


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_give_or_takes_hold() -> None:
    for name, row in rows(200):
        assert row["held"] >= UNSEEN.get(name, 0.90), (name, row)  # 0.95 less three standard errors of 200
        if row["kind"] != "runner-fit":  # its ideal is for widths that fit
            assert row["width"] <= STATED.get(name, 2.4), (name, row)
        assert row["wrong"] <= 0.03 * row["cases"], (name, row)
