"""The report stands alone, can be read without seeing it, and shows what is in its source."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import bench.render.report as room
from bench.finding import Doubt, Quantity
from bench.render.report.chart import chart
from bench.render.report.figures import Scale
from bench.render.report.page import card_html, report_html
from bench.render.report.section import MOST_ROWS
from bench.render.report.sentences import TEMPLATES
from bench.render.report.source import ReportSource

VOID = {"meta", "br", "line", "rect", "circle", "path", "polyline"}  # written without an end of their own


class Page(HTMLParser):
    """The elements of a page; every one that is opened has to be closed, in order."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, str]] = []
        self._open: list[str] = []
        self.feed(html)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag, attrs) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag, attrs) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data) -> None:
        if data.strip() and self._open:
            self.texts.append((self._open[-1], data.strip()))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.elements if name == tag]

    @property
    def text(self) -> str:
        return " ".join(text for tag, text in self.texts if tag != "style")


@pytest.mark.parametrize("make", [report_html, card_html])
def test_a_page_stands_alone(shop, make) -> None:
    html = make(shop("big-sled", "small-sled"), "mm")
    page = Page(html)
    assert not page.all("script") and not page.all("link") and not page.all("img")
    assert not re.search(r"url\(|@import|https?:|\bon\w+=|javascript:", html)
    for tag, attrs in page.elements:
        assert not {"src", "srcset", "data", "action"} & attrs.keys(), tag
        assert (attrs.get("href") or "#").startswith("#")
    style = next(text for tag, text in page.texts if tag == "style")
    for rule in ("@page", "@media print", "prefers-color-scheme: dark"):
        assert rule in style
    assert "size:" not in re.search(r"@page \{(.*?)\}", style).group(
        1
    )  # the printer's own paper, A4 or Letter


def test_a_reader_of_the_screen_finds_its_way(shop) -> None:
    page = Page(report_html(shop("big-sled", "small-sled"), "mm"))
    assert page.all("html") == [{"lang": "en"}]
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert len(page.all("caption")) == len(page.all("table")) > 0
    assert all(attrs.get("scope") in ("col", "row") for attrs in page.all("th"))
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for svg in page.all("svg"):
        assert svg["role"] == "img" and set(svg["aria-labelledby"].split()) <= set(ids)
    for attrs in (attrs for _, attrs in page.elements if "aria-labelledby" in attrs):
        assert set(attrs["aria-labelledby"].split()) <= set(ids)
    links = {attrs["href"][1:] for attrs in page.all("a")}
    assert links and links <= set(ids)
    described = " ".join(text for tag, text in page.texts if tag == "desc")
    assert "24 results from 2024-" in described and "Good enough within 0.10 mm across 600 mm" in described


def test_every_part_is_there(shop) -> None:
    text = Page(report_html(shop("big-sled"), "mm")).text
    for part in (
        "What to check next",
        "Good: ",
        "It changed.",
        "made by 0.12 mm, and verified",
        "What limits the result of",
        "61 %",
        "Widest board 600 mm",
        "Unplug the saw before hands",
        "give or take 0.024 mm",
    ):
        assert part in text, part


def test_what_to_do_is_said_until_it_is_done(shop) -> None:
    source = shop("big-sled", months=12)  # the last result is out
    act = "Move the left end 0.12 mm away from you."
    assert act not in Page(report_html(source, "mm")).text
    planned = msgspec.structs.replace(source, moves=dict.fromkeys(source.moves, "planned"), distances={})
    assert act in Page(report_html(planned, "mm")).text


def test_a_rip_fence_that_closes_leads_the_page_and_has_no_quick_check(shop) -> None:
    source = shop("big-sled", months=1)
    closes = Quantity(
        "rip-fence", 3e-4, "rad", 6e-6, 9.0, 1.6e-4, "outside", "closes at the rear", over=316.0
    )
    found = msgspec.structs.replace(
        source.findings[0], check="rip-fence", quantities=[closes], verdict="outside", move=None, budget=[]
    )
    source = msgspec.structs.replace(source, findings=[found])
    text = Page(report_html(source, "mm")).text
    danger = "DANGER: the rip fence closes at the rear by 0.095 mm"
    assert 0 < text.index(danger) < text.index("What to check next") and text.count(danger) == 2
    card = Page(card_html(source, "mm")).text
    assert danger in card and "Out. DANGER" not in card
    assert "check fence-square --jig big-sled --quick" in card


def test_what_is_good_of_a_rip_fence_is_no_band_on_both_sides() -> None:
    """On the right of the blade a value above zero closes."""
    result = {"at": "2026-03-01", "value": 1e-4, "uncertainty": 1e-5, "alarm": None}
    period = {"from": "2026-03-01", "reason": "first", "mean": 1e-4, "results": [result]}
    row = {"tolerance": 1.6e-4, "season": None, "baselines": [period]}
    for ways, edge in (
        (("closes at the rear", "opens at the rear"), 0),
        (("opens", "closes at the rear"), 1),
    ):
        drawn = chart(row, Scale.of("rad", "mm", None, 2e-4), ways)
        assert drawn.band is not None and drawn.band[edge] == drawn.zero != drawn.band[1 - edge]


def test_a_doubt_stands_beside_its_result(shop) -> None:
    source = shop("big-sled", months=1)
    doubted = msgspec.structs.replace(
        source.findings[0], verdict=None, doubts=[Doubt("set-ups-apart", values={"apart": 3.0})]
    )
    text = Page(report_html(msgspec.structs.replace(source, findings=[doubted]), "mm")).text
    assert "The set-ups read 3 mm apart" in text


def test_inches_for_who_reads_inches(shop) -> None:
    text = Page(report_html(shop("big-sled"), "inch")).text
    assert " thou" in text and not re.search(r"\d mm\b", text)


def test_older_results_are_counted(shop) -> None:
    source = shop("big-sled", months=MOST_ROWS + 7)
    page = Page(report_html(source, "mm"))
    assert "7 older results are in the log." in page.text


def test_a_sled_without_results_and_an_empty_log(shop) -> None:
    source = shop("big-sled")
    bare = ReportSource(at="2026-03-01", findings=[], due=source.due)
    for make in (report_html, card_html):
        assert "Never checked yet." in Page(make(bare, "mm")).text
    assert "Nothing measured yet." in Page(report_html(ReportSource("2026-03-01", []), "mm")).text
    assert "No sled yet." in Page(card_html(ReportSource("2026-03-01", []), "mm")).text


def test_what_could_not_be_read_is_said(shop) -> None:
    source = msgspec.structs.replace(shop("big-sled"), left_out=["1 result could not be read: number 7."])
    assert "1 result could not be read: number 7." in Page(report_html(source, "mm")).text


def test_a_card_says_what_hangs_by_the_saw(shop) -> None:
    text = Page(card_html(shop("big-sled"), "mm")).text
    for part in (
        "Good enough within 0.10 mm across 600 mm (0.05 mm per 300 mm).",
        "✓ Good: ",
        "Next check: now.",
        "sweepgauge check fence-square --jig big-sled --quick",
        "Follow the saw's manual",
    ):
        assert part in text, part


hostile = st.text(
    st.characters(categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=40
) | st.sampled_from(
    ["<script>alert(1)</script>", "a&b", '"><svg onload=x>', "{{ 7 * 7 }}", "{x}", "</style>", "'; rm -rf ~"]
)


@given(name=hostile)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_name_becomes_markup(shop, name: str) -> None:
    source = shop(name, months=4)
    plain = shop("sled", months=4)
    for make in (report_html, card_html):
        page, harmless = Page(make(source, "mm")), Page(make(plain, "mm"))
        assert [tag for tag, _ in page.elements] == [tag for tag, _ in harmless.elements]
        assert " ".join(name.split()) in " ".join(page.text.split())


def test_every_sentence_is_used() -> None:
    """By its code, or by a code whose end is a value of the documents."""
    files = Path(room.__path__[0]).glob("*.py")
    code = "".join(file.read_text() for file in files if file.stem != "sentences")
    used = set(re.findall(r"report_text\(\s*f?[\"']([a-z-]+)", code)) | set(
        re.findall(r'"(gear-[a-z-]+)"', code)
    )
    unused = {
        one for one in TEMPLATES if not any(one == u or (u.endswith("-") and one.startswith(u)) for u in used)
    }
    assert unused == set()
