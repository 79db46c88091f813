"""Ports read at once and in rounds, on real pipes: nothing is lost, nobody waits for another."""

from __future__ import annotations

import asyncio
import os
import random
from collections.abc import Callable

import pytest
from turns import until

from hw.ports.polling_rounds import PollingRounds


class Ends:
    """Pipes whose reading ends are read by the same rounds."""

    def __init__(self, rounds: PollingRounds, count: int) -> None:
        self.rounds, self.heard, self.writers = rounds, {}, []
        self.readers: list[int] = []
        for _ in range(count):
            reader, writer = os.pipe()
            os.set_blocking(reader, False)
            self.readers.append(reader)
            self.writers.append(writer)
            self.heard[reader] = b""
            rounds.join(reader, self.reading(reader))

    def reading(self, reader: int) -> Callable[[], None]:
        def readable() -> None:
            data = os.read(reader, 65536)
            self.heard[reader] += data
            if not data:
                self.leave(reader)

        return readable

    def leave(self, reader: int) -> None:
        self.rounds.leave(reader)
        os.close(reader)
        self.readers.remove(reader)

    def close(self) -> None:
        for fd in [*self.readers, *self.writers]:
            os.close(fd)


def test_nothing_is_lost_while_it_changes_to_and_fro() -> None:
    draw = random.Random(5)

    async def main() -> None:
        rounds = PollingRounds()
        ends = Ends(rounds, 3)
        readers, sent = list(ends.readers), [b"", b"", b""]
        for turn in range(40):
            which = draw.randrange(3)
            piece = bytes(draw.randrange(256) for _ in range(draw.randrange(1, 200)))
            os.write(ends.writers[which], piece)
            sent[which] += piece
            if turn % 7 == 3:
                rounds.go(True)
            elif turn % 7 == 0:
                rounds.go(False)
            await asyncio.sleep(draw.choice([0.0, 0.001, 0.01]))  # the pace of the writer
        await until(lambda: [ends.heard[reader] for reader in readers] == sent)
        ends.close()

    asyncio.run(main())


def test_in_rounds_what_comes_together_is_read_together() -> None:
    async def main() -> None:
        rounds = PollingRounds()
        ends = Ends(rounds, 1)
        (reader,) = ends.readers
        calls = []
        rounds._ports[reader] = lambda: calls.append(os.read(reader, 65536))
        rounds.go(True)
        for _ in range(20):
            os.write(ends.writers[0], b"x")
            await asyncio.sleep(0.002)  # the pace of the writer
        await until(lambda: b"".join(calls) == b"x" * 20)
        assert len(calls) < 10  # two or three rounds; a busy machine makes the twenty take longer
        ends.close()

    asyncio.run(main())


def test_a_port_that_hangs_up_leaves_and_the_last_ends_the_rounds() -> None:
    async def main() -> None:
        rounds = PollingRounds()
        ends = Ends(rounds, 2)
        _, second = ends.readers
        rounds.go(True)
        os.close(ends.writers.pop(0))
        os.write(ends.writers[0], b"here")
        await until(lambda: ends.readers == [second] and ends.heard[second] == b"here")
        assert rounds.going
        ends.leave(second)
        assert not rounds.going
        rounds.leave(second)  # twice does nothing
        again = Ends(rounds, 1)
        os.write(again.writers[0], b"again")
        await until(lambda: list(again.heard.values()) == [b"again"])
        again.close()
        ends.close()

    asyncio.run(main())


@pytest.mark.parametrize("order", [0, 1])
def test_one_that_fails_or_closes_its_neighbour_stops_nobody(order: int) -> None:
    async def main() -> None:
        told: list[str] = []
        asyncio.get_running_loop().set_exception_handler(lambda _, what: told.append(what["message"]))
        rounds = PollingRounds()
        ends = Ends(rounds, 3)
        failing, neighbour, third = ends.readers if order else (ends.readers[2], *ends.readers[:2])

        def fails() -> None:
            os.read(failing, 65536)
            if neighbour in ends.readers:
                ends.leave(neighbour)
            raise RuntimeError("not mine to catch")

        rounds._ports[failing] = fails
        rounds.go(True)
        for writer in ends.writers:
            os.write(writer, b"x")
        await until(lambda: ends.heard[third] == b"x")
        assert told == ["a port's reader failed"]
        assert rounds.going
        ends.close()

    asyncio.run(main())
