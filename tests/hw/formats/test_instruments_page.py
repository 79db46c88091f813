"""The page on instruments: every format is in it, every settings example loads, its examples are read as it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bench.settings import PortSettings, load
from hw.formats import FORMATS, PROFILES, make_decoder

PAGE = Path(__file__).parents[3] / "hw" / "INSTRUMENTS.md"
TEXT = PAGE.read_text("utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
ROWS = [line for line in TEXT.split("## The table")[1].split("## ")[0].splitlines() if line.startswith("| ")][
    2:
]


def test_every_format_and_profile_is_in_the_table_and_has_an_example(tmp_path: Path) -> None:
    table = "\n".join(ROWS)
    for name in (*FORMATS, *PROFILES):
        assert f"`{name}`" in table, name
    read = [(port.format, port.profile) for text in EXAMPLES for port in ports(text, tmp_path)]
    assert {kind for kind, _ in read} == set(FORMATS)
    assert {profile for kind, profile in read if kind == "line"} >= set(PROFILES)
    assert all(row.count("|") == 7 for row in ROWS)


def ports(text: str, folder: Path) -> list[PortSettings]:
    """What the example wires."""
    path = folder / "settings.toml"
    path.write_text(text, "utf-8")
    settings = load(path)
    return [port for port in (settings.indicator, settings.travel, settings.caliper) if port is not None]


@pytest.mark.parametrize("text", EXAMPLES)
def test_every_example_loads(text: str, tmp_path: Path) -> None:
    wired = ports(text, tmp_path)
    assert len(wired) == sum(f"[{name}]" in text for name in ("indicator", "travel", "caliper"))
    for port in wired:
        options = dict(port.options)
        make_decoder(port.format, options)  # the format knows its options
        assert port.port or port.pins


@pytest.mark.parametrize(
    ("line", "options", "value"),
    [
        ("+0012.345 mm\r\n", {}, 12.345),
        ("01A+00.12345\r", {"profile": "code_channel_item"}, 0.12345),
        ("1 MW+003.4665 inch\r\n", {"profile": "mux"}, 3.4665 * 25.4),
        ("a- 0.125MU \n", {"profile": "mode_letter"}, -0.125),
        ("$BRG,17,123456789,-20480,+0012.345mm*47\r\n", {"profile": "bridge"}, 12.345),
    ],
)
def test_lines_that_the_page_prints_are_read(line: str, options: dict[str, object], value: float) -> None:
    assert line.rstrip("\r\n") in TEXT
    (record,) = make_decoder("line", options).feed(line.encode())
    assert record.value == pytest.approx(value, rel=1e-12)


def test_figures_on_the_page_are_sums_that_come_out() -> None:
    """Ohm's law and speed over rate, for the figures as the page prints them."""
    sums = {
        "7.25 kilohms": (3.3 - 0.4) / 0.4,
        "0.09 mA": (1.5 - 0.6) / 10,
        "3.3 V; or a level shifter": 5.0 * 20 / (10 + 20),  # the divider
        "6 mm apart": 50 / 8,
        "16 mm": 50 / 3,
        "1.2 mm": 50 / 40,
        "12 edges a millimetre": 600 * 4 / 200,
    }
    for words, figure in sums.items():
        assert words in TEXT
        assert abs(float(words.split()[0]) - figure) < 0.06 * figure, words
    assert "2,400 a second at 200 mm/s" in TEXT and 12 * 200 == 2400
    assert "40,000" in TEXT and round(200 / 0.005) == 40_000


def test_pins_of_the_examples_are_those_of_the_drawings(tmp_path: Path) -> None:
    drawings = "".join(re.findall(r"(?m)^    .*$", TEXT))
    for text in EXAMPLES:
        for port in ports(text, tmp_path):
            for name, pin in port.pins.items():
                if name in {"data", "clock", "req"}:
                    assert f"GPIO {pin}" in drawings, (name, pin)
