"""Who may be connected, and what a client may send: nobody is locked out by clients that ask for nothing."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

import pytest

from bench.daemon.clients import MOST_CLIENTS, Client, Clients
from bench.gear import LONGEST_NAME, Jig
from bench.protocol import (
    Begin,
    Done,
    Error,
    GetStatus,
    LogShow,
    NoteMove,
    PutJig,
    Readings,
    Request,
    Version,
    Watch,
    WireError,
    decode_notification,
    decode_request,
    encode,
)

SEVERAL = 3


def greet(client: Client) -> None:
    client.send(Version("p"))


@pytest.fixture
async def clients(tmp_path: Path) -> AsyncIterator[Clients]:
    async def answer(client: Client, request: Request) -> None:
        client.send(Done(type(request).__name__))

    one = Clients(tmp_path / "socket", greet, answer)
    await one.start()
    yield one
    await one.stop()


class Talk:
    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    async def hear(self) -> object:
        line = await self.reader.readline()
        return decode_notification(line) if line else None


Connect = Callable[[], Awaitable[Talk]]


@pytest.fixture
async def connect(clients: Clients) -> AsyncIterator[Connect]:
    talks: list[Talk] = []

    async def connect() -> Talk:
        talks.append(Talk(*await asyncio.open_unix_connection(clients.path)))
        return talks[-1]

    yield connect
    for talk in talks:
        talk.writer.close()
        with contextlib.suppress(ConnectionError):
            await talk.writer.wait_closed()


async def asks(connect: Connect) -> Talk:
    talk = await connect()
    assert isinstance(await talk.hear(), Version)
    talk.writer.write(encode(Watch()))
    assert await talk.hear() == Done("Watch")
    return talk


async def test_silent_clients_lock_out_nobody(clients: Clients, connect: Connect) -> None:
    """Neither those that send nothing nor those that never end their line; a screen that only listens stays."""
    screen = await asks(connect)
    silent = [await connect() for _ in range(SEVERAL * MOST_CLIENTS)]
    for one in silent[1::2]:
        one.writer.write(b'{"type":')  # a line that never ends
    for _ in range(SEVERAL):
        one = await asks(connect)
        one.writer.write(encode(GetStatus()))
        assert await one.hear() == Done("GetStatus")
    assert isinstance(await silent[0].hear(), Version)
    told = await silent[0].hear()
    assert isinstance(told, Error) and told.code == "busy" and await silent[0].hear() is None
    assert len(clients.all) == MOST_CLIENTS
    screen.writer.write(encode(GetStatus()))
    assert await screen.hear() == Done("GetStatus")


async def test_where_everybody_asks_the_last_is_told(clients: Clients, connect: Connect) -> None:
    all_ask = [await asks(connect) for _ in range(MOST_CLIENTS)]
    late = await connect()
    told = await late.hear()
    assert isinstance(told, Error) and f"{MOST_CLIENTS} clients" in told.text
    all_ask[0].writer.close()
    while len(clients.all) == MOST_CLIENTS:
        await asyncio.sleep(0)
    await asks(connect)


async def test_a_client_that_wants_each_reading_after_all_gets_the_gathered_ones_first(
    clients: Clients, connect: Connect
) -> None:
    talk = await connect()
    assert isinstance(await talk.hear(), Version)
    (client,) = clients.all
    client.watching, client.most = True, 1.0
    for number in range(4):
        if number == 3:
            client.most = None
        clients.tell_readings(Readings("indicator", number, [float(number)], [0.0], "mm"), now=100.0)
    heard: list[int] = []
    while len(heard) < 4:
        message = await asyncio.wait_for(talk.hear(), 5.0)
        assert isinstance(message, Readings)
        heard += range(message.first, message.first + len(message.values))
    assert heard == [0, 1, 2, 3]


async def test_the_socket_of_a_daemon_that_has_no_time_is_not_taken(tmp_path: Path) -> None:
    """Its line of callers is full, so that a knock is turned away; it lives all the same."""
    with socket.socket(socket.AF_UNIX) as busy:
        busy.bind(str(tmp_path / "socket"))
        busy.listen(0)
        with socket.socket(socket.AF_UNIX) as waiting:
            waiting.connect(str(tmp_path / "socket"))
            there = (tmp_path / "socket").stat().st_ino
            other = Clients(tmp_path / "socket", greet, lambda client, request: asyncio.sleep(0))
            with pytest.raises(Exception, match="another daemon answers"):
                await other.start()
            assert (tmp_path / "socket").stat().st_ino == there


LONG = "a" * 60_000
ODD = ("a\x1b[2Jb", "a\nb", "a\n", "a\x00", "a\u202eb", "a\x9b2J", LONG, "a" * (LONGEST_NAME + 1))


@pytest.mark.parametrize("odd", ODD, ids=[ascii(odd[:8]) for odd in ODD])
def test_every_text_of_a_request_is_one_short_line(odd: str) -> None:
    for request in (
        Begin(odd),
        Begin("fence-square", jig=odd),
        Begin("fence-square", options={"hold": odd}),
        Begin("fence-square", options={odd: 1}),
        NoteMove(how=odd),
        LogShow(odd),
        PutJig(Jig(odd)),
        PutJig(Jig("mine", saw=odd)),
    ):
        with pytest.raises(WireError, match=f"at most {LONGEST_NAME} printable characters") as told:
            decode_request(encode(request))
        assert str(told.value).isprintable() and len(str(told.value)) < 500


@pytest.mark.parametrize("name", ["big sled", "Schlitten für 1,2 m", "a" * LONGEST_NAME, "楢の治具"])
def test_a_name_in_any_tongue_is_taken(name: str) -> None:
    assert decode_request(encode(PutJig(Jig(name)))) == PutJig(Jig(name))


class Unread:
    """A connection at whose other end nobody reads."""

    def __init__(self) -> None:
        self.transport = self
        self.written = 0
        self.aborted = False

    def drain(self) -> None: ...

    def get_write_buffer_size(self) -> int:
        return self.written

    def write(self, line: bytes) -> None:
        self.written += len(line)

    def abort(self) -> None:
        self.aborted = True


def test_a_large_answer_does_not_drop_who_has_not_read_it_yet() -> None:
    """A chart of thousands of results is larger than what may wait; what waits beside it still counts."""
    from bench.daemon.clients import DROP_BYTES, Client
    from bench.protocol import Document, Done

    end = Unread()
    client = Client(end)  # type: ignore[arg-type]
    client.send_large(Document({"series": ["x" * (2 * DROP_BYTES)]}))
    client.send(Done("still told"))
    assert not client.closed and not end.aborted
    client.send(Done("x" * DROP_BYTES))
    client.send(Done("one too many"))
    assert client.closed and end.aborted
