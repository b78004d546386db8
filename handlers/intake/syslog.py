"""Log lines in: RFC 5424 over TCP, framed by RFC 6587, and over UDP (RFC 5426); read by a mapping.

For gear that can do nothing else. Nobody is authenticated but by network, and nothing is answered:
while the store is away a TCP connection is not read on, and of UDP a limited number of lines waits.
"""

import asyncio
import contextlib
import logging
import re
from collections import Counter
from ipaddress import ip_address, ip_network
from pathlib import Path
from typing import Any

from bot.intake_settings import SyslogSettings
from bot.store.errors import StoreError
from handlers.intake import mapped
from handlers.intake.problems import Refused
from handlers.intake.receive import Intake

_log = logging.getLogger("musterline.syslog")
_WAITING = 1000  # UDP lines
_RETRY_SECONDS = 0.5
_CONNECTIONS = 64
_HEADER = re.compile(
    rb"<(?P<pri>0|[1-9]\d{0,2})>(?P<version>[1-9]\d{0,2}) "
    rb"(?P<timestamp>-|\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|[+-]\d\d:\d\d)) "
    rb"(?P<hostname>[!-~]{1,255}) (?P<appname>[!-~]{1,48}) (?P<procid>[!-~]{1,128}) "
    rb"(?P<msgid>[!-~]{1,32}) "
)
_NAME = rb"[!#-<>-\\^-~]{1,32}"  # printable ASCII but = space ] and double quote
_ELEMENT = re.compile(
    rb"\[(" + _NAME + rb")((?: " + _NAME + rb'="(?:[^"\\\]]|\\.)*")*)\]', re.DOTALL
)
_PARAM = re.compile(rb" (" + _NAME + rb')="((?:[^"\\\]]|\\.)*)"', re.DOTALL)
_ESCAPED = re.compile(rb'\\(["\\\]])')


class BadLine(ValueError):
    """Not a line of RFC 5424, or not framed by RFC 6587."""


def parse(line: bytes) -> dict[str, Any]:
    """A line of RFC 5424 as what a mapping looks at. ``-`` (no value) becomes ``None``.

    ``pri`` is taken apart into ``facility`` and ``severity`` (section 6.2.1); ``sd`` holds the
    structured data by element and parameter, the last one where a name comes twice.
    """
    found = _HEADER.match(line)
    if found is None:
        raise BadLine("the header is not that of RFC 5424")
    pri = int(found["pri"])
    if pri > 191:
        raise BadLine("PRI is larger than 191")
    data, rest = _structured(line[found.end() :])
    if rest and not rest.startswith(b" "):
        raise BadLine("the structured data does not end where it should")
    made: dict[str, Any] = {"facility": pri // 8, "severity": pri % 8}
    for name in ("timestamp", "hostname", "appname", "procid", "msgid"):
        text = found[name].decode()
        made[name] = None if text == "-" else text
    text = rest[1:].removeprefix(b"\xef\xbb\xbf").decode(errors="replace")
    return {**made, "version": int(found["version"]), "sd": data, "msg": text or None}


def _structured(rest: bytes) -> tuple[dict[str, dict[str, str]], bytes]:
    """Structured data (section 6.3), and what comes after it."""
    if rest.startswith(b"-"):
        return {}, rest[1:]
    data: dict[str, dict[str, str]] = {}
    at = 0
    while (found := _ELEMENT.match(rest, at)) is not None:
        params = {
            name.decode(): _ESCAPED.sub(rb"\1", value).decode(errors="replace")
            for name, value in _PARAM.findall(found[2])
        }
        data.setdefault(found[1].decode(), {}).update(params)
        at = found.end()
    if not data:
        raise BadLine("there is no structured data, nor a dash for none")
    return data, rest[at:]


async def frame(reader: asyncio.StreamReader, limit: int) -> bytes | None:
    """The next line of a connection; ``None`` at its end. Raises ``BadLine``.

    RFC 6587: octet counting (section 3.4.1) where it begins with a digit, else a line that ends
    in LF (section 3.4.2).
    """
    first = await reader.read(1)
    while first in (b"\n", b"\r", b"\0"):  # some end a counted frame with a line feed as well
        first = await reader.read(1)
    if not first:
        return None
    try:
        if first == b"<":
            return (first + await reader.readuntil(b"\n")).rstrip(b"\r\n")
        if first not in b"123456789":
            raise BadLine("a frame begins with its length, or with <")
        count = first + (await reader.readuntil(b" "))[:-1]
        if len(count) > 6 or not count.isdigit() or int(count) > limit:
            raise BadLine(f"the length of a frame is no number up to {limit}")
        return await reader.readexactly(int(count))
    except asyncio.LimitOverrunError:
        raise BadLine(f"a line is longer than {limit} bytes") from None
    except asyncio.IncompleteReadError as error:
        if first == b"<" and error.partial:
            return first + error.partial  # the last line, without its line feed
        raise BadLine("the connection ended within a frame") from None


class Syslog:
    """Listens as the settings say. ``counts``: lines taken, ignored and refused since the start."""

    def __init__(self, settings: SyslogSettings, intake: Intake) -> None:
        self._settings, self._intake = settings, intake
        self._mapping = mapped.load(Path(settings.mapping))
        self._allowed = [ip_network(text, strict=False) for text in settings.allowed]
        self._waiting: asyncio.Queue[bytes] = asyncio.Queue(_WAITING)
        self._connections: set[asyncio.Task[None]] = set()
        self._server: asyncio.Server | None = None
        self._transport: asyncio.DatagramTransport | None = None
        self._worker: asyncio.Task[None] | None = None
        self.counts: Counter[str] = Counter()

    @property
    def ports(self) -> tuple[int, int]:
        """Where it listens: TCP and UDP; 0 for what is off."""
        tcp = self._server.sockets[0].getsockname()[1] if self._server else 0
        udp = self._transport.get_extra_info("sockname")[1] if self._transport else 0
        return tcp, udp

    async def start(self, *, tcp: int | None = None, udp: int | None = None) -> None:
        """Listen; ``tcp`` and ``udp`` stand in for the ports of the settings."""
        chosen = self._settings
        tcp = chosen.tcp_port or None if tcp is None else tcp
        udp = chosen.udp_port or None if udp is None else udp
        if tcp is not None:
            self._server = await asyncio.start_server(
                self._connected, chosen.host, tcp, limit=chosen.line_limit
            )
        if udp is not None:
            loop = asyncio.get_running_loop()
            self._transport, _ = await loop.create_datagram_endpoint(
                lambda: _Datagrams(self), local_addr=(chosen.host, udp)
            )
            self._worker = asyncio.create_task(self._work())

    async def stop(self) -> None:
        """Take nothing new. Lines that wait are lost with us, as any line of UDP may be."""
        if self._transport is not None:
            self._transport.close()
        if self._server is not None:
            self._server.close()
        tasks = [*self._connections, *([self._worker] if self._worker else [])]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    def is_allowed(self, address: str) -> bool:
        """Whether lines are taken from there."""
        try:
            found = ip_address(address.partition("%")[0])
        except ValueError:
            return False
        mapped_to = getattr(found, "ipv4_mapped", None)
        return any((mapped_to or found) in network for network in self._allowed)

    def datagram(self, line: bytes, address: str) -> None:
        """One line of UDP. What does not fit any more is counted and dropped."""
        if not self.is_allowed(address) or len(line) > self._settings.line_limit:
            self.counts["refused"] += 1
            return
        try:
            self._waiting.put_nowait(line)
        except asyncio.QueueFull:
            self.counts["dropped"] += 1
            if self.counts["dropped"] % _WAITING == 1:
                _log.error("lines are dropped: the store does not take them in time")

    async def _work(self) -> None:
        while True:
            await self._take(await self._waiting.get())

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._connections.add(task)
        peer = str((writer.get_extra_info("peername") or ("",))[0])
        try:
            if not self.is_allowed(peer) or len(self._connections) > _CONNECTIONS:
                self.counts["refused"] += 1
                _log.warning("a connection from %s is not taken", peer)
                return
            while (line := await frame(reader, self._settings.line_limit)) is not None:
                await self._take(line)
        except BadLine as error:
            self.counts["refused"] += 1
            _log.warning("the connection from %s is closed: %s", peer, error)
        except ConnectionError:
            pass  # it went away; what came before is taken
        finally:
            self._connections.discard(task)
            writer.close()
            with contextlib.suppress(ConnectionError):
                await writer.wait_closed()

    async def _take(self, line: bytes) -> None:
        """Bring one line to the desk, as often as it takes for the store to be there."""
        try:
            seen = self._mapping.sighting(parse(line))
        except (BadLine, Refused) as error:
            self.counts["refused"] += 1
            _log.info("a line is not taken: %s", error)
            return
        while True:
            try:
                outcome = await self._intake.take(self._settings.source, seen)
            except StoreError as error:
                _log.warning("a line waits for the store: %s", error)
                await asyncio.sleep(_RETRY_SECONDS)
            except Refused:
                self.counts["refused"] += 1
                return
            else:
                self.counts["ignored" if outcome == "ignored" else "taken"] += 1
                return


class _Datagrams(asyncio.DatagramProtocol):
    def __init__(self, syslog: Syslog) -> None:
        self._syslog = syslog

    def datagram_received(self, data: bytes, addr: tuple[Any, ...]) -> None:
        self._syslog.datagram(data, str(addr[0]))
