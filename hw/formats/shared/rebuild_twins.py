"""Writes the expected twin beside each recorded stream. Run by hand, never by the tests:

    python -m hw.formats.shared.rebuild_twins fixtures/streams

A recording is NAME.stream, the bytes as they came (or the text of its
frames), with NAME.header.json: format, options, what was done and where it comes from. Its twin is
NAME.expected.jsonl, one decoded reading a line. Look at the difference before keeping it: a twin that
changed is a reading that somebody's old log would now give otherwise.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path

from hw.formats import make_decoder
from hw.formats.shared.as_json import to_json


def replay(header: Mapping[str, object], body: bytes) -> list[dict[str, object]]:
    """The decoded readings of a recording, each as JSON without instrument and time."""
    options = header["options"]
    if not isinstance(options, dict):
        raise TypeError("the header's options are no object")
    decoder = make_decoder(str(header["format"]), options)
    return [to_json(record) for record in decoder.feed(body) + decoder.finish()]


def rebuild(folder: Path) -> int:
    """Write all twins in `folder`; the number of recordings."""
    headers = sorted(folder.glob("*.header.json"))
    for path in headers:
        stem = path.name.removesuffix(".header.json")
        answers = replay(json.loads(path.read_text("utf-8")), (folder / f"{stem}.stream").read_bytes())
        twin = "".join(json.dumps(answer) + "\n" for answer in answers)
        (folder / f"{stem}.expected.jsonl").write_text(twin, "utf-8")
    return len(headers)


if __name__ == "__main__":
    if len(sys.argv) != 2 or not Path(sys.argv[1]).is_dir():
        sys.exit("give the folder of the recordings")
    sys.stdout.write(f"{rebuild(Path(sys.argv[1]))} twins written\n")
