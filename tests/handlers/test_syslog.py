"""Log lines into a whole bot, over TCP and UDP."""

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from bot.intake_settings import SyslogSettings
from handlers.intake.syslog import Syslog
from tests.handlers.kit import OwnStore, Room, open_room

MAPPING = """
mapping = 1
serial = 'sd."unit@32473".serial'
kind = "msgid"
otherwise = "ignore"
[kinds]
UP = "registered"
DOWN = "lost"
"""
SERIAL = "HML-4F7K2Q"


def line(msgid: str = "UP", serial: str = SERIAL, minute: int = 5) -> bytes:
    at = f"2026-03-12T18:{minute:02}:00Z"
    return f'<134>1 {at} gw unitd 7 {msgid} [unit@32473 serial="{serial}"] m'.encode()


@asynccontextmanager
async def listening(room: Room, folder: Path, **more: object) -> AsyncIterator[Syslog]:
    path = folder / "mapping.toml"
    path.write_text(MAPPING, encoding="utf-8")
    settings = SyslogSettings.model_validate({"mapping": str(path), **more})
    syslog = Syslog(settings, room.bot.registration.intake)
    await syslog.start(tcp=0, udp=0)
    try:
        yield syslog
    finally:
        await syslog.stop()


async def counted(syslog: Syslog, name: str, number: int) -> None:
    """Wait until so many were counted."""
    async with asyncio.timeout(5):
        while syslog.counts[name] < number:  # noqa: ASYNC110 - a count rings no bell
            await asyncio.sleep(0.01)  # what runs beside us takes real time


async def sent(syslog: Syslog, data: bytes) -> bytes:
    """One connection; what came back until its end."""
    reader, writer = await asyncio.open_connection("127.0.0.1", syslog.ports[0])
    writer.write(data)
    writer.write_eof()
    try:
        async with asyncio.timeout(5):
            return await reader.read()
    except ConnectionResetError:
        return b""
    finally:
        writer.close()


def datagram(syslog: Syslog, data: bytes) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        made.sendto(data, ("127.0.0.1", syslog.ports[1]))


async def test_lines_over_tcp_and_udp_mark_units(room: Room, tmp_path: Path) -> None:
    async with listening(room, tmp_path) as syslog:
        first = line()
        other = line("CHATTER", "HML-MTHE79")
        await sent(syslog, str(len(first)).encode() + b" " + first + other + b"\n")
        assert (await room.visit("alderbeck")).units[0].online
        assert not (await room.visit("ambermere")).units[0].online
        datagram(syslog, line("DOWN", minute=9))
        await counted(syslog, "taken", 2)
        assert (await room.visit("alderbeck")).units[0].lost_at is not None
        assert syslog.counts == {"taken": 2, "ignored": 1}


async def test_what_cannot_be_read_ends_neither_the_bot_nor_other_lines(
    room: Room, tmp_path: Path
) -> None:
    async with listening(room, tmp_path) as syslog:
        await sent(syslog, b"nothing of the kind")
        await sent(syslog, b"<1>bad\n" + line() + b"\n")
        datagram(syslog, b"\xff\xfe")
        await counted(syslog, "refused", 3)
        assert (await room.visit("alderbeck")).units[0].online


async def test_lines_from_elsewhere_are_not_taken(room: Room, tmp_path: Path) -> None:
    async with listening(room, tmp_path, allowed=("198.51.100.0/24",)) as syslog:
        assert await sent(syslog, line() + b"\n") == b""
        datagram(syslog, line())
        await counted(syslog, "refused", 2)
        assert not (await room.visit("alderbeck")).units[0].online


async def test_while_the_store_is_away_lines_wait(own_store: OwnStore, tmp_path: Path) -> None:
    async with open_room(own_store.url) as room, listening(room, tmp_path) as syslog:
        await own_store.kill()
        datagram(syslog, line())
        await asyncio.sleep(0.05)  # so that it is tried while the store is away
        await own_store.start()
        await counted(syslog, "taken", 1)
        assert (await room.visit("alderbeck")).units[0].online


@pytest.mark.parametrize("address", ["::ffff:192.0.2.7", "192.0.2.7"])
def test_an_address_may_be_written_in_both_ways(address: str, tmp_path: Path) -> None:
    path = tmp_path / "mapping.toml"
    path.write_text(MAPPING, encoding="utf-8")
    settings = SyslogSettings(mapping=str(path), allowed=("192.0.2.0/24",))
    syslog = Syslog(settings, None)  # type: ignore[arg-type]  # never asked here
    assert syslog.is_allowed(address)
    assert not syslog.is_allowed("198.51.100.1")
    assert not syslog.is_allowed("")


def test_listening_without_a_mapping_is_refused() -> None:
    with pytest.raises(ValueError, match="mapping"):
        SyslogSettings(tcp_port=6514)
