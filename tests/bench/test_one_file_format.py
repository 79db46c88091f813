"""A wire format that is defined here alone: decoded, listed, set, heard by the doctor, found at a first start, read by
the daemon, logged and shown, with no line of the program changed.

It is invented: `#`, six hexadecimal digits of micrometres in two's complement, `/`, and in one digit the sum of the six
modulo 16; `#------/0` says that its lamp is out.
"""

from __future__ import annotations

import contextlib
import re
import sqlite3
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from plunger import press_plunger
from turns import until

from bench.cli.common import CommandError
from bench.cli.decode import decode
from bench.console.app import make_console
from bench.demo.operator import Operator
from bench.protocol import Begin, Cables, Press, Readings, SetupNotice
from bench.render.settings import settings_lines
from bench.settings.settings_file import PortSettings, SettingsError, load
from hw.discovery.listening import recognise
from hw.formats import FORMATS, make_decoder, register
from hw.formats.shared.line_splitter import LineSplitter
from hw.formats.shared.options import RANGE, FormatOption, integer
from hw.formats.shared.plain_text import Fault
from hw.formats.shared.wire_format import RecordTraits, WireFormat
from hw.reading import Record


def digit_sum(digits: str) -> str:
    return f"{sum(int(digit, 16) for digit in digits) % 16:X}"


class Micrometres(LineSplitter):
    def __init__(self, step: int) -> None:
        super().__init__()
        self._step = step

    def _read(self, line: bytes) -> Record:
        text = line.decode("latin-1")
        if text == "#------/0":
            return Record(status="lamp_out")
        digits, slash, check = text[1:7], text[7:8], text[8:]
        if text[:1] != "#" or slash != "/" or digits.strip("0123456789ABCDEF") or len(digits) < 6:
            raise Fault("not # and six hexadecimal digits")
        if check != digit_sum(digits):
            raise Fault(f"the sum is {check}, but the digits give {digit_sum(digits)}")
        count = int(digits, 16)
        return Record(value=(count - (1 << 24) * (count >> 23)) * self._step / 1000)


def encoder(step: int = 1) -> Callable[[float], bytes]:
    """step: micrometres that the last digit is worth."""

    def encode(mm: float) -> bytes:
        digits = f"{round(mm * 1000 / step) % (1 << 24):06X}"
        return f"#{digits}/{digit_sum(digits)}\r\n".encode()

    return encode


NAME = "micrometre_hex"
FORMAT = WireFormat(
    name=NAME,
    words="micrometres in hexadecimal, with a sum",
    make=lambda options: Micrometres(options["step"]),
    options=(RANGE, FormatOption("step", 1, "micrometres that its last digit is worth", integer(1, 100))),
    traits=RecordTraits(undetected_errors=False),
    statuses={"lamp_out": ("its lamp is out", "change the lamp")},
)


@pytest.fixture(autouse=True)
def known() -> Iterator[None]:
    register(FORMAT)
    yield
    FORMATS.pop(NAME)


def sent(*lengths: float, step: int = 1) -> bytes:
    return b"".join(map(encoder(step), lengths))


def decoded(data: bytes, *args: str) -> Any:
    done = CliRunner().invoke(decode, list(args), input=data, standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done


def test_by_hand_and_by_its_encoder() -> None:
    data = b"#0030D4/4\r\n#FFFFFF/A\r\n#------/0\r\n#0030D5/4\r\n"  # 0x30D4 is 12500; sums 20, 90, 21
    records = make_decoder(NAME).feed(data)
    assert [record.value for record in records] == [12.5, -0.001, None, None]
    assert records[2].status == "lamp_out" and "the sum is 4" in str(records[3].fault)
    assert sent(12.5, -0.001) == data[:22]
    with pytest.raises(ValueError, match="there is a format"):
        register(FORMAT)


def test_the_example_of_the_developers_page() -> None:
    page = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8")
    (example,) = (text for text in re.findall(r"```python\n(.*?)```", page, re.DOTALL) if "FORMAT = " in text)
    names: dict[str, Any] = {"__name__": "hw.formats.example"}
    exec(compile(example, "DEVELOPERS.md", "exec"), names)
    read, refused = names["make"]({"at_open": False}).feed(b"#0030D4\r\n#0030D\r\n")
    assert read.value == 12.5 and refused.fault == "not # and six hexadecimal digits"


def test_decode_reads_lists_and_proposes_it() -> None:
    done = decoded(sent(1.0, 2.5) + b"#------/0\n", "--format", NAME)
    assert done.stdout.splitlines() == [
        "1 mm (shown in mm)", "2.5 mm (shown in mm)", "status: lamp_out (its lamp is out)",
    ]  # fmt: skip
    assert decoded(sent(1.0, step=10), "--format", NAME, "--option", "step=10").stdout.startswith("1 mm")
    help_text = CliRunner().invoke(decode, ["--help"]).output
    assert all(text in help_text for text in (NAME, FORMAT.words, "step", FORMAT.options[1].words))
    with pytest.raises(
        CommandError, match="option step of format micrometre_hex is '0'; it takes a whole number"
    ):
        decoded(b"", "--format", NAME, "--option", "step=0")
    assert f"This would fit: --format {NAME}\n" in decoded(sent(1, 2, 3), "--format", "line").stderr


def test_settings_take_its_options_and_refuse_others(tmp_path) -> None:
    path = tmp_path / "settings.toml"

    def loaded(option: str):
        path.write_text(f'[indicator]\nport = "/dev/ttyS9"\nformat = "{NAME}"\n{option}\n')
        return load(path)

    settings = loaded("step = 10")
    assert settings.indicator is not None and settings.indicator.options == {"step": 10}
    assert any(f"format {NAME}; 9600 baud 8N1; step 10" in line for line in settings_lines(settings))
    with pytest.raises(SettingsError, match="option step of format micrometre_hex is 0; it takes"):
        loaded("step = 0")
    with pytest.raises(SettingsError, match="has no option 'parity7'; it has range_mm, step"):
        loaded('parity7 = "even"')
    with pytest.raises(SettingsError, match="a key that means nothing here"):
        loaded("stride = 1")


def test_it_is_heard_on_a_line_and_the_doctor_proposes_it(said) -> None:
    found = recognise(sent(1.0, 1.1, 1.2), 4800)
    assert found is not None and found.settings == {"format": NAME, "baud": 4800} and found.readings == 3
    (matter,) = (one for one in said(sent(2.0)) if one.proposal)  # wired as what is usual
    assert matter.proposal == {"format": NAME, "baud": 9600}
    assert any(one.good for one in said(sent(2.0), format=NAME))
    (matter,) = said(b"#------/0\r\n", format=NAME)
    assert "its lamp is out" in matter.words and matter.advice == "change the lamp"
    assert not any(one.good for one in said(b"#000001/9\r\n", format=NAME))


async def shown(app: Any, text: str) -> None:
    drawn = [True]
    app.post_display_hook = lambda: drawn.append(True)

    def stands() -> bool:
        drawn.clear()
        strips = app.screen._compositor.render_strips()
        return any(text in "".join(segment.text for segment in strip) for strip in strips)

    await until(lambda: drawn and stands())


async def test_a_first_start_finds_it_and_the_daemon_reads_it(first_bench) -> None:
    async with first_bench(encode_indicator=encoder()) as bench:
        wire = await bench.talk()
        await bench.until(wire, Cables, lambda m: sum(c.state == "reads" for c in m.cables) == 2)
        if not any(isinstance(m, SetupNotice) for m in wire.said):
            await bench.until(wire, SetupNotice, lambda m: m.phase == "asking")
        await press_plunger(bench.hands, 1)
        found = await bench.until(wire, SetupNotice, lambda m: m.phase == "seen")
        assert found.port == bench.names["indicator"]
        wire.send(Press(waits=False))
        told = await bench.until(wire, Readings, lambda m: m.instrument == "indicator")
        assert told.values
        port = load(bench.settings_file).indicator
        assert port == PortSettings(port=bench.names["indicator"], format=NAME)
        app = make_console(bench.folder / "socket", theme="shop")
        async with app.run_test(size=(80, 24)):
            value = bench.service.station.wired.all[0].value
            await shown(app, f"{value:.2f}"[:4])


@pytest.mark.ci
async def test_a_check_is_taken_with_it_and_logged(first_bench) -> None:
    text = f'[indicator]\nport = "{{indicator}}"\nformat = "{NAME}"\nresolution = "0.001 mm"\n'
    text += f'[travel]\nport = "{{travel}}"\nformat = "{NAME}"\nstep = 10\n'
    encoders = {
        "encode_indicator": encoder(),
        "encode_travel": encoder(10),
    }
    async with first_bench(text, **encoders) as bench:
        wire = await bench.talk()
        await bench.reads("travel")
        finding = await Operator(wire, bench.hands, lambda line: None).take(Begin("fence-square", sweeps=2))
        assert abs(finding.quantities[0].value - bench.saw.truth()["rotation"]) < 2e-4
    with contextlib.closing(sqlite3.connect(bench.folder / "log.db")) as log:
        kept = log.execute("SELECT readings, raw_zlib FROM reading WHERE instrument = 'indicator'").fetchall()
    assert len(kept) >= 4  # two passes of two set-ups at the least
    for many, raw in kept:
        values = [record.value or 0.0 for record in make_decoder(NAME).feed(zlib.decompress(raw))]
        assert len(values) >= many - 2 and max(values) - min(values) < 5.0
