"""Recorded files of every kind: units, columns and rows as they are promised, and rubbish of every make."""

from __future__ import annotations

from pathlib import Path

import pytest
from command import command
from hypothesis import given
from hypothesis import strategies as st

from bench.checks import checks, find
from bench.checks.model import EvidenceGear, Step
from bench.cli.csv_rows import RecordedError, table_of
from bench.cli.recorded_sweeps import read_sweeps, traces_of
from bench.gear import Indicator, Travel

HEAD = "sweep,placement,travel_mm,reading_mm"


def read(text: str, kind: str = "fence-square", gear: EvidenceGear | None = None, options=None):
    return traces_of(table_of(text, "file.csv"), find(kind), options or {}, gear or EvidenceGear())


def swept(
    placement: str = "handle-left", sweep: object = 1, n: int = 12, head: str = HEAD, tail: str = ""
) -> str:
    rows = [f"{sweep},{placement},{i * 10},{1 + i * 0.001:.3f}{tail}" for i in range(n)]
    return "\n".join([head, *rows]) + "\n"


# ---- what is read ------------------------------------------------------------------------------------------


def test_inches_are_25_4_exactly_and_each_quantity_has_its_own_unit() -> None:
    (mixed,) = read(swept(head="sweep,placement,travel_in,reading_mm"))
    assert mixed.travel[3] == 30 * 25.4 and mixed.reading[3] == 1.003
    (other,) = read(swept(head="sweep,placement,travel_mm,reading_in"))
    assert other.travel[3] == 30.0 and other.reading[3] == 1.003 * 25.4
    wide = read("what,station_in,width_in\nslot-left,10,0.75\n", "runner-fit")
    assert (wide[0].travel, wide[0].reading) == ([254.0], [0.75 * 25.4])
    ends = read("end,width_in\nnear,1\nfar,0.99\n", "test-board")
    assert [t.reading for t in ends] == [[25.4], [0.99 * 25.4]]


def test_a_sweep_is_the_rows_of_one_number_and_placement_in_their_order() -> None:
    rows = [HEAD]
    for i in range(10):  # three sweeps, written down side by side
        rows += [f"1,handle-left,{i},1", f"2,handle-left,{9 - i},2", f"1,handle-right,{i},3"]
    traces = read("\n".join(rows))
    assert [(t.sweep, t.placement, t.push, len(t.travel)) for t in traces] == [
        ("1", "handle-left", True, 10),
        ("2", "handle-left", False, 10),
        ("1", "handle-right", True, 10),
    ]
    assert traces[1].travel == [float(9 - i) for i in range(10)]
    assert all(t.seat is None and t.hold is None and t.at is None for t in traces)


def test_optional_columns() -> None:
    text = swept(head=HEAD + ",seat,hold,t_s", tail=",A,left,0.5")
    (trace,) = read(text)
    assert (trace.seat, trace.hold, trace.at) == ("A", "left", [0.5] * 12)
    sparse = text.replace(",A,left,", ",,,", 5)  # left out in some rows: as in the others
    assert read(sparse)[0].seat == "A"
    (unknown,) = read(swept(head=HEAD + ",remark", tail=",a note"))
    assert len(unknown.travel) == 12


@pytest.mark.parametrize(
    ("said", "taken"),
    [
        ("left", "left"),
        ("Right", "right"),
        ("far wall", "far wall"),
        ("free", None),
        ("None", None),
        ("-", None),
    ],
)
def test_a_hold_is_declared_or_not(said: str, taken: str | None) -> None:
    # a hold that is said takes the play between the walls out of the budget: "none" is not one
    assert read(swept(head=HEAD + ",hold", tail=f",{said}"))[0].hold == taken


def test_directions_are_those_of_the_settings() -> None:
    gear = EvidenceGear(Indicator(grows="pulled-out"), Travel(grows="toward"))
    (trace,) = read(swept(), gear=gear)
    assert trace.travel[3] == -30.0 and trace.reading[3] == -1.003 and not trace.push
    # a place along the fence, and a width, are written down as such
    (face,) = read(swept("as-is"), "fence-straight", gear)
    assert face.travel[3] == 30.0 and face.reading[3] == -1.003
    (slot,) = read("what,station_mm,width_mm\nslot-left,10,19.1\n", "runner-fit", gear)
    assert (slot.travel, slot.reading) == ([10.0], [19.1])


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_line_ends_a_mark_at_the_start_blanks_and_quotes(ends: str, tmp_path: Path) -> None:
    text = swept().replace(",handle-left,", ' , "handle-left", ').replace('"handle-left"', "handle-left")
    path = tmp_path / "file.csv"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", ends).encode() + ends.encode() * 2)
    assert read_sweeps(path, find("fence-square"), {}, EvidenceGear()) == read(swept())
    assert read(swept().upper().replace("HANDLE-LEFT", "handle-left")) == read(swept())
    quoted = swept().replace("handle-left", '"handle-left"')
    assert read(quoted) == read(swept())


def test_names_that_no_plan_lists_are_asked_of_the_check() -> None:
    traces = read("what,station_mm,width_mm\nrunner-right,10,19\nslot-spacing,0,300\n", "runner-fit")
    assert [t.placement for t in traces] == ["runner-right", "slot-spacing"]
    with pytest.raises(RecordedError, match=r"file\.csv:2: unknown placement 'slot-top'"):
        read("what,station_mm,width_mm\nslot-top,10,19\n", "runner-fit")


# ---- what is refused ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "file.csv: is empty"),
        ("\n\n\n", "file.csv: is empty"),
        (HEAD + "\n", "no readings"),
        (swept() + ",,,\n", "file.csv:14: the row is empty"),
        (swept() + "  \n" + swept().partition("\n")[2], "file.csv:14: the row is empty"),
        (swept() + "\n" + swept().partition("\n")[2], "file.csv:14: the row is empty"),
        (swept() + "1,handle-left,1_0,1\n", ":14: travel_mm is not a number: '1_0'"),
        (swept() + "1,handle-left,0x10,1\n", ":14: travel_mm is not a number"),
        (swept() + "1,handle-left,\u0663,1\n", ":14: travel_mm is not a number"),
        (swept() + "1,handle-left,-Infinity,1\n", ":14: travel_mm is not finite"),
        (swept() + "1,handle-left,1e999,1\n", ":14: travel_mm is not finite"),
        (swept() + "1,handle-left,1e9,1\n", ":14: the travel of 1e+09 mm is no length at a saw"),
        (swept() + '1,handle-left,"1,5",1\n', ":14: travel_mm is not a number: '1,5'; write a point"),
        (
            swept() + "1,handle-left,1,5,1,002\n",
            ":14: 6 fields, the header has 4; if the numbers have a comma",
        ),
        (swept() + "1,handle-left,1\n", ":14: 3 fields, the header has 4"),
        (swept() + "1,,1,1\n", ":14: the column placement is empty"),
        (swept() + ",handle-left,1,1\n", ":14: the column sweep is empty"),
        (swept() + '1,handle-left,1,"1\n', "is not CSV"),
        (swept() + "1,handle-left\0,1,1\n", ":14: unknown placement"),
        (swept(n=7), "file.csv:2: sweep '1' at handle-left has 7 readings; it takes 8 at least"),
        (
            HEAD + "\n" + "1,handle-left,5,1\n" * 9,
            "file.csv:2: sweep '1' at handle-left: its travel does not move",
        ),
        (
            HEAD + "\n" + "".join(f"1,handle-left,{abs(i - 20)},1\n" for i in range(41)),
            "its travel turns back",
        ),
        (swept().replace(",", ";"), "file.csv:1: the columns are parted by semicolons"),
        (swept().replace(",", "\t"), "file.csv:1: the columns are parted by tabs"),
        (swept(head="sweep,sweep,travel_mm,reading_mm"), "'sweep' is there twice"),
        (
            swept(head="sweep,placement,travel,reading_mm"),
            "'travel' has no unit this reads; call it travel_mm",
        ),
        (swept(head="sweep,placement,travel_cm,reading_mm"), "'travel_cm' has no unit"),
        (swept(head="sweep,placement,travel_mm,reading"), "'reading' has no unit"),
        (swept(head="number,placement,travel_mm,reading_mm"), "no column 'sweep'"),
        (swept(head="1,handle-left,0,2.5"), "file.csv:1: no column 'sweep'"),
        (swept(head=HEAD + ",travel_in", tail=",1"), "'travel_mm', 'travel_in' name one quantity twice"),
        (swept(head=HEAD + ",reading_inch", tail=",1"), "name one quantity twice"),
        (swept(head=HEAD + ",,", tail=",1,1"), "2 columns have no name"),
        (
            swept(head=HEAD + ",seat", tail=",A") + "1,handle-left,200,1,B\n",
            ":14: seat 'B' in a pass that had 'A'",
        ),
        (swept(head=HEAD + ",t_s", tail=",1") + "1,handle-left,200,1,\n", ":14: t_s is empty"),
        (
            swept(head=HEAD + ",t_s", tail=",1") + "1,handle-left,200,1,0.5\n",
            ":14: t_s goes back from 1 to 0.5",
        ),
        (swept(head=HEAD + ",t_s", tail=",1") + "1,handle-left,200,1,soon\n", ":14: t_s is not a number"),
    ],
)
def test_a_bad_row_names_file_and_line(text: str, says: str) -> None:
    with pytest.raises(RecordedError) as error:
        read(text)
    assert says in str(error.value)
    assert str(error.value).startswith("file.csv") and "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("kind", "text", "says"),
    [
        (
            "runner-fit",
            "what,station_mm,width_mm\nslot-left,0,0\n",
            ":2: width_mm is 0: a width is above zero",
        ),
        ("runner-fit", "what,station_mm,width_mm\nslot-left,0,-19\n", "a width is above zero"),
        ("runner-fit", "what,station_mm,width_mm\nslot-left,,19\n", ":2: station_mm is empty"),
        ("runner-fit", "what,station_mm\nslot-left,1\n", "no column width_mm (or width_in)"),
        ("runner-fit", HEAD + "\n1,slot-left,0,19\n", "no column 'what'"),
        (
            "test-board",
            "end,width_mm\nmiddle,25\n",
            ":2: unknown placement 'middle'; test-board takes 'near', 'far'",
        ),
        ("test-board", "end,width_mm,width_in\nnear,25,1\n", "name one quantity twice"),
        ("fence-straight", swept("handle-left"), "fence-straight takes 'as-is', 'pressed', 'rolled-over'"),
    ],
)
def test_each_kind_has_its_own_columns(kind: str, text: str, says: str) -> None:
    with pytest.raises(RecordedError) as error:
        read(text, kind)
    assert says in str(error.value)


def test_what_is_no_file_of_text(tmp_path: Path) -> None:
    def refused(data: bytes) -> str:
        path = tmp_path / "file.csv"
        path.write_bytes(data)
        with pytest.raises(RecordedError) as error:
            read_sweeps(path, find("fence-square"), {}, EvidenceGear())
        return str(error.value)

    assert "16-bit text" in refused(swept().encode("utf-16"))
    assert "file.csv:14: is not text in UTF-8" in refused(swept().encode() + b"1,\xfc,1,1\n")
    assert "file.csv:14: is not text; it holds a zero byte" in refused(swept().encode() + b"1,\0,1,1\n")
    assert "is not CSV" in refused(swept().encode() + b"1,handle-left," + b"9" * 200_000 + b",1\n")
    assert "cannot be read" in str(_refused_path(tmp_path))
    assert "cannot be read" in str(_refused_path(tmp_path / "missing.csv"))
    assert "no name of a file" in str(_refused_path(Path("a\0b")))


def _refused_path(path: Path) -> RecordedError:
    with pytest.raises(RecordedError) as error:
        read_sweeps(path, find("fence-square"), {}, EvidenceGear())
    return error.value


cells = st.one_of(
    st.sampled_from(
        [
            "1",
            "2.5",
            "handle-left",
            "as-is",
            "turn-90",
            "near",
            "slot-left",
            "",
            "nan",
            "-inf",
            "1e400",
            "1,5",
            '"',
        ]
    ),
    st.floats().map(str),
    # a few of each make; of all there are, the table alone takes seconds to draw up
    st.text("aZ 0789.-+_,;'\"\n\r\t\0\u00bd\u0663\u2028\ufeff\U0001d7d9", max_size=6),
)
heads = st.sampled_from(
    [
        HEAD,
        HEAD + ",seat,t_s",
        "what,station_mm,width_in",
        "end,width_mm",
        "sweep;placement;travel_mm;reading_mm",
    ]
)


@given(
    st.sampled_from(list(checks())),
    heads,
    st.lists(st.lists(cells, max_size=6), max_size=6),
    st.sampled_from(",;\t"),
)
def test_rubbish_in_rows_is_read_or_refused(kind: str, head: str, rows: list[list[str]], sign: str) -> None:
    text = "\n".join([head, *(sign.join(row) for row in rows)])
    try:
        traces = read(text, kind)
    except RecordedError as error:
        assert str(error).startswith("file.csv") and "\n" not in str(error)
    else:
        for trace in traces:
            assert len(trace.travel) == len(trace.reading) > 0
            assert all(abs(v) <= 1e6 for v in (*trace.travel, *trace.reading))


@given(st.sampled_from(list(checks())), st.binary(max_size=300), st.integers(0, 200))
def test_rubbish_bytes_are_refused(kind: str, rubbish: bytes, at: int) -> None:
    good = swept().encode()
    data = good[:at] + rubbish + good[at:]
    path = Path(f"/dev/fd/{_pipe(data)}")
    try:
        read_sweeps(path, find(kind), {}, EvidenceGear())
    except RecordedError as error:
        assert str(path) in str(error)
    finally:
        import os

        os.close(int(path.name))


def _pipe(data: bytes) -> int:
    import os

    out, into = os.pipe()
    os.write(into, data)
    os.close(into)
    return out


@pytest.mark.parametrize("kind", list(checks()))
def test_every_check_names_its_columns_and_steps(kind: str) -> None:
    check = checks()[kind]
    steps = check.plan({o.name: o.default for o in check.options if o.default is not None}, EvidenceGear())
    assert steps and all(isinstance(s, Step) for s in steps)
    assert any(c in ("placement", "what", "end") for c in check.columns)
    assert check.columns[-1] in ("reading", "width")


def test_exit_status_and_one_line_for_each_kind_of_file(tmp_path: Path) -> None:
    """By the command itself; the sums are tried above."""
    bad = tmp_path / "bad.csv"
    bad.write_text("what,station_mm,width_mm\nslot-left,0,nineteen\n")
    done = command("evaluate", "runner-fit", str(bad), "--json", home=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "bad.csv:2: width_mm is not a number: 'nineteen'" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_lines_without_anything_at_the_end_are_nothing() -> None:
    assert len(read(swept() + "\n  \n\t\n")) == 1
