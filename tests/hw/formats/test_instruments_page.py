"""The page on instruments: every format is in it, every settings example loads, its examples are read as it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bench.settings.settings_file import PortSettings, load
from hw.formats import FORMATS, make_decoder
from hw.formats.line import PROFILES

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
        "1.75 mA": 3.3 - 1.55,  # over 1 k
        "0.14 V": 1.55 * 1 / (1 + 10),  # at the gauge's strongest pull-up, 10 k
        "0.11 mA": (3.0 - 0.6) / 22,
        "4.9 mA": (24 - 1.2) / 4.7,
        "11.5 kilohms": (5 - 0.4) / 0.4,
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


def test_contacts_are_those_of_the_header() -> None:
    """gpiozero's own table of the 40 contacts; every GPIO that the page draws is in the table of contacts."""
    from gpiozero.pins.mock import MockFactory

    header = {pin.number: pin.name for pin in MockFactory().board_info.headers["J8"].pins.values()}
    table = TEXT.split("## The Pi's contacts")[1].split("## ")[0]
    rows = [row.strip("| ").split(" | ") for row in table.splitlines() if re.match(r"\| \d", row)]
    said = {
        int(number): what
        for numbers, what in (pair for row in rows for pair in (row[:2], row[2:]))
        for number in numbers.split(", ")
    }
    assert len(said) >= 20
    names = {"3.3 V": "3V3", "5 V": "5V", "ground": "GND"}
    for number, what in said.items():
        gpio = re.match(r"GPIO (\d+)", what)
        short = next((name for words, name in names.items() if what.startswith(words)), "")
        assert header[number] == (f"GPIO{gpio[1]}" if gpio else short), (number, what)
    drawings = "".join(re.findall(r"(?m)^    .*$", TEXT))
    drawn = {int(gpio) for gpio in re.findall(r"GPIO (\d+)", drawings)}
    assert drawn <= {int(gpio) for gpio in re.findall(r"GPIO (\d+)", table)}
    for gpio, number in re.findall(r"GPIO (\d+) \(contact (\d+)", TEXT):
        assert header[int(number)] == f"GPIO{gpio}", (gpio, number)


def test_every_way_of_joining_has_its_caution_beside_it() -> None:
    for section in re.split(r"(?m)^#{2,3} ", TEXT)[1:]:
        if re.search(r"(?m)^    .*(--|\[).*$", section) and "sweepgauge capture" not in section:
            assert "*Mind:*" in section, section.splitlines()[0]


def test_links_lead_somewhere_and_names_are_those_of_the_rule() -> None:
    headings = re.findall(r"(?m)^#+ (.*)$", TEXT)
    anchors = {re.sub(r"[^a-z0-9 -]", "", words.lower()).replace(" ", "-") for words in headings}
    for link in re.findall(r"\]\(([^)]*)\)", TEXT):
        assert link[1:] in anchors if link.startswith("#") else (PAGE.parent / link).exists(), link
    rule = (PAGE.parents[1] / "systemd/60-sweepgauge.rules").read_text()
    for name in re.findall(r"/dev/sweepgauge/([a-z-]+)", TEXT):
        assert f'SYMLINK+="sweepgauge/{name}' in rule, name


SHAPES = {"plain": b"+0012.34%d\r", "code_channel_item": b"01A+00.1234%d\r", "mode_letter": b"a- 0.12%dMU \n"}


@pytest.mark.parametrize("text", [text for text in EXAMPLES if "by-id" in text])
def test_what_the_page_has_people_write_is_what_listening_proposes(text: str, tmp_path: Path) -> None:
    """For what sends text: shape, speed and parity are heard from what an instrument of that example sends."""
    from hw.discovery.listening import recognise
    from hw.formats.shared.line_splitter import with_parity

    for port in ports(text, tmp_path):
        line = SHAPES.get(port.profile or "plain")
        if port.format != "line" or line is None or port.options.get("decimals"):
            continue
        data = b"".join(line % (n % 10) for n in range(8))
        if port.options.get("parity7") == "even" or port.parity == "E":
            data = with_parity(data, "even")
        if port.bits == 7 and port.stop == 2:
            data = bytes(byte | 0x80 for byte in data)
        found = recognise(data, port.baud)
        assert found is not None
        wanted = {"profile": port.profile or "plain", "baud": port.baud}
        if port.bits == 7 and port.stop == 2:
            wanted |= {"bits": 7, "stop": 2}
        elif "parity7" in port.options or port.parity == "E":
            wanted["parity7"] = "even"
        assert {key: found.settings.get(key) for key in wanted} == wanted
