"""The asyncio client: messages in any pieces, a line that is no message, the end, and a daemon that comes back."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.protocol import Done, Error, GetStatus, Press, Version, decode_request, encode
from bench.protocol.async_client import AsyncClient, ReconnectingClient, connect_early

SAID = [Version("sweepgauge"), Done("taken"), Error("busy", "Not now."), Done("ä" * 40)]


@given(st.lists(st.integers(1, 40), min_size=1))
def test_messages_come_whole_in_whatever_pieces_they_come(sizes: list[int]) -> None:
    data = b"".join(encode(message) for message in SAID)
    heard: list[object] = []
    client = AsyncClient(heard.append)
    at = 0
    for n in range(len(data)):
        size = sizes[n % len(sizes)]
        client.data_received(data[at : at + size])
        at += size
    assert heard == SAID and client.unreadable == 0


def test_a_line_that_is_no_message_ends_nothing() -> None:
    heard: list[object] = []
    client = AsyncClient(heard.append)
    client.data_received(b"rubbish\n" + b'{"type":"of-tomorrow"}\n' + encode(SAID[1]))
    assert heard == [SAID[1]] and client.unreadable == 1


class Server:
    """Says one message to each who comes, and keeps what it was asked."""

    def __init__(self, path: Path) -> None:
        self.path, self.asked = path, asyncio.Queue()
        self.writers: list[asyncio.StreamWriter] = []

    async def start(self) -> None:
        self.server = await asyncio.start_unix_server(self._serve, self.path)

    async def stop(self) -> None:
        self.server.close()
        for writer in self.writers:
            writer.close()
        self.path.unlink(missing_ok=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writers.append(writer)
        writer.write(encode(SAID[0]))
        while line := await reader.readline():
            await self.asked.put(decode_request(line))
        writer.close()


@pytest.fixture
async def server(tmp_path: Path) -> AsyncIterator[Server]:
    one = Server(tmp_path / "socket")
    await one.start()
    yield one
    await one.stop()


async def test_without_listeners_messages_wait_in_the_inbox_and_none_ends_them(server: Server) -> None:
    client = await AsyncClient.connect(server.path)
    assert client.send(Press())
    assert await client.inbox.get() == SAID[0]
    assert await server.asked.get() == Press()
    await server.stop()
    assert await client.inbox.get() is None
    assert not client.send(Press())  # nobody hears it


async def test_it_comes_back_when_the_daemon_does_and_greets_anew(server: Server) -> None:
    states: asyncio.Queue[tuple[str, str]] = asyncio.Queue()
    client = ReconnectingClient(
        server.path, lambda said: None, lambda *now: states.put_nowait(now), greeting=[GetStatus()]
    )
    running = asyncio.create_task(client.run())
    assert (await states.get())[0] == "here"
    assert await server.asked.get() == GetStatus()
    await server.stop()
    assert await states.get() == ("away", "The daemon went away.")
    assert (await states.get())[1] == f"No daemon answers at {server.path}."
    await server.start()
    while (await states.get())[0] != "here":
        pass
    assert await server.asked.get() == GetStatus()
    running.cancel()
    client.close()


async def test_what_was_asked_early_is_not_asked_again(server: Server) -> None:
    early = await asyncio.to_thread(connect_early, server.path, [Press()])
    here = asyncio.Event()
    client = ReconnectingClient(
        server.path, lambda said: None, lambda *now: here.set(), greeting=[Press()], early=early
    )
    running = asyncio.create_task(client.run())
    await here.wait()
    client.send(GetStatus())
    assert [await server.asked.get(), await server.asked.get()] == [Press(), GetStatus()]
    running.cancel()
    client.close()
    assert connect_early(server.path.with_name("nobody"), []) is None
