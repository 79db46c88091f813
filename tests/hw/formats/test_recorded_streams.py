"""Every recorded stream gives its twin: whole, cut anywhere, and byte by byte."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest
from everyday import everyday
from rebuild_twins import rebuild, replay

from hw.formats import FORMATS, make_decoder
from hw.formats.line.plain import PlainDecoder
from hw.reading import Decoder, Record

FOLDER = Path(__file__).parents[3] / "fixtures" / "streams"
NAMES = sorted(path.name.removesuffix(".stream") for path in FOLDER.glob("*.stream"))


def read(name: str) -> tuple[dict[str, object], bytes, list[dict[str, object]]]:
    header = json.loads((FOLDER / f"{name}.header.json").read_text("utf-8"))
    twin = (FOLDER / f"{name}.expected.jsonl").read_text("utf-8").splitlines()
    return header, (FOLDER / f"{name}.stream").read_bytes(), [json.loads(line) for line in twin]


def told(decoder: Decoder, *blocks: bytes) -> list[tuple[Record, int]]:
    """Each record without `behind`, and the place in the whole stream where it was complete."""
    out, fed = [], 0
    for block in blocks:
        fed += len(block)
        for record in decoder.feed(block):
            assert 0 <= record.behind < max(len(block), 1)
            out.append((msgspec.structs.replace(record, behind=0), fed - record.behind))
    return out + [(record, fed) for record in decoder.finish()]


def test_there_are_enough_and_of_every_format() -> None:
    assert len(NAMES) >= 32
    headers = [read(name)[0] for name in NAMES]
    assert {header["format"] for header in headers} == set(FORMATS)
    profiles = {header["options"].get("profile", "plain") for header in headers}  # type: ignore[attr-defined]
    assert profiles == {"plain", "code_channel_item", "mux", "mode_letter", "bridge_counts", "bridge"}
    assert all(header["done"] and header["from"] and header["instrument"] for header in headers)


@pytest.mark.parametrize("name", NAMES)
def test_twin(name: str) -> None:
    header, body, twin = read(name)
    assert replay(header, body) == twin


def short(answer: dict[str, object]) -> object:
    """An answer as `wanted` writes it."""
    if answer.get("fault") is not None:
        return "x"
    if answer.get("status") is not None:
        return f"?{answer['status']}"
    if answer.get("value") is not None:
        return answer["value"]
    if "axis" in answer:
        return [answer["axis"], answer["counts"]]
    if "illegal" in answer:
        return [answer["counts"], answer["illegal"]]
    return answer["counts"]


@pytest.mark.parametrize("name", NAMES)
def test_twin_is_what_was_put_in(name: str) -> None:
    """`wanted` was written by hand when the stream was made; the twin comes from the decoder."""
    header, _, twin = read(name)
    wanted = header["wanted"]
    assert isinstance(wanted, list)
    found = [short(answer) for answer in twin]
    assert len(found) == len(wanted)
    for got, want in zip(found, wanted, strict=True):
        if isinstance(want, float):
            assert got == pytest.approx(want, rel=1e-14, abs=1e-15)
        else:
            assert got == want


@pytest.mark.parametrize("name", everyday(NAMES, 3))
def test_cut_anywhere(name: str) -> None:
    header, body, _ = read(name)
    fresh = lambda: make_decoder(str(header["format"]), header["options"])  # type: ignore[arg-type] # noqa: E731
    decoder = fresh()
    whole = told(decoder, body)
    assert decoder.rejects == sum(record.fault is not None for record, _ in whole)
    for cut in range(len(body) + 1):
        assert told(fresh(), body[:cut], body[cut:]) == whole
    assert told(fresh(), *(body[place : place + 1] for place in range(len(body)))) == whole


def test_rebuild_writes_the_same(tmp_path: Path) -> None:
    for name in NAMES[:3]:
        for ending in ("stream", "header.json"):
            (tmp_path / f"{name}.{ending}").write_bytes((FOLDER / f"{name}.{ending}").read_bytes())
    assert rebuild(tmp_path) == 3
    for name in NAMES[:3]:
        twin = f"{name}.expected.jsonl"
        assert (tmp_path / twin).read_text() == (FOLDER / twin).read_text()


def test_a_broken_decoder_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(PlainDecoder, "_learn", lambda *_: None)
    monkeypatch.setattr("hw.formats.shared.plain_text.UNIT_OF", {"mm": "mm", "in": "mm"})
    header, body, twin = read("plain-unit-switched")
    assert replay(header, body) != twin
