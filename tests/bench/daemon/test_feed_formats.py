"""What is wired but cannot be read is said, never waited for in silence."""

from __future__ import annotations

import pytest

from bench.wire import Begin, Error, GetStatus, StatusReply


@pytest.mark.parametrize(
    ("section", "says"),
    [
        ('format = "modbus_rtu"\nport = "{port}"\n', "does not read modbus_rtu yet"),
        ('format = "sync24"\ndata = 5\nclock = 6\n', "pins"),
    ],
)
def test_a_format_or_pins_that_cannot_be_read_here(rigs, run, wire, tmp_path, section, says) -> None:
    rig = rigs(marks='["20 mm", "60 mm", "100 mm", "140 mm"]')
    (tmp_path / "settings.toml").write_text("[indicator]\n" + section.format(port=rig.names["indicator"]))
    run("daemon").hear("ready")
    client = wire()
    reply = client.ask(GetStatus(), StatusReply)
    (indicator,) = [i for i in reply.instruments if i.role == "indicator"]
    assert indicator.state != "open"
    assert says in indicator.words
    client.send(Begin("fence-square"))  # may be begun: the words stand beside it
    assert not isinstance(client.next(2.0), Error)
