"""Two replicas of the bot on one store, with a balancer before them that sends to each in turn."""

import asyncio
import itertools
from collections import Counter
from typing import Any

import aiohttp
import msgspec
from aiohttp import web

from bot.app import Bot, Parts
from bot.practice import scene
from bot.practice.house import QUICK, House
from bot.send.leases import ChannelLeases

#: A lost replica's channels are free after so long, in milliseconds of process time.
_LEASE = 600
#: An answer that nobody gives is waited for so long, in seconds.
_ANSWER = 10.0


class Balancer:
    """Each request goes to the next of the ports; one that nobody listens on is passed over."""

    def __init__(self) -> None:
        self.ports: list[int] = []
        self.taken: Counter[int] = Counter()
        self._turn = itertools.count()
        self._runner: web.AppRunner | None = None
        self.url = ""

    async def start(self) -> None:
        app = web.Application()
        app.router.add_route("*", "/{path:.*}", self._pass_on)
        self._session = aiohttp.ClientSession(
            trust_env=False, timeout=aiohttp.ClientTimeout(total=_ANSWER)
        )
        self._runner = web.AppRunner(app)
        await self._runner.setup()
        site = web.TCPSite(self._runner, "127.0.0.1", 0)
        await site.start()
        self.url = f"http://127.0.0.1:{self._runner.addresses[0][1]}"

    async def stop(self) -> None:
        if self._runner is not None:
            await self._runner.cleanup()
            await self._session.close()

    async def _pass_on(self, request: web.Request) -> web.Response:
        body = await request.read()
        first = next(self._turn)
        for n in range(len(self.ports)):
            port = self.ports[(first + n) % len(self.ports)]
            try:
                return await self._to(port, request, body)
            except aiohttp.ClientConnectorError:
                continue
        return web.Response(status=503)

    async def _to(self, port: int, request: web.Request, body: bytes) -> web.Response:
        kept = {k: v for k, v in request.headers.items() if k.lower() not in ("host", "connection")}
        url = f"http://127.0.0.1:{port}{request.rel_url}"
        async with self._session.request(request.method, url, data=body, headers=kept) as answer:
            self.taken[port] += 1
            content = answer.headers.get("Content-Type", "text/plain")
            return web.Response(
                status=answer.status, body=await answer.read(), headers={"Content-Type": content}
            )


class TwinHouse(House):
    """A rehearsal whose bot is two replicas. ``lose`` takes the second away without a word."""

    async def _start(self) -> None:
        await super()._start()
        self.balancer = Balancer()
        await self.balancer.start()
        self.twins = [self.bot]
        await self.bot.stop()
        self.twins = [await self._born(name) for name in ("one", "two")]
        self.bot = self.twins[0]
        self.balancer.ports = [bot.port for bot in self.twins]
        self.world.connect(self.balancer.url)

    async def _born(self, name: str) -> Bot:
        parts = Parts(
            now=self.clock.now,
            sender=QUICK,
            may_open=lambda _roster, _at: True,
            leases=lambda store: ChannelLeases(store, name, ttl_ms=_LEASE),
        )
        bot = Bot(self.settings, scene.runbook(), parts)
        await bot.start()
        return bot

    async def settle(self, now: int) -> int | None:
        """Both do what there is to do, side by side, until neither finds anything.

        Not ``Bot.settle`` of each: it waits until all is sent, and what the other replica sends
        to a channel of its own may have to wait for wave time.
        """
        await self.bot.store.clock_set(now)
        while True:
            fired = await asyncio.gather(*(bot.sweep.run(now) for bot in self.twins))
            swept = await asyncio.gather(*(bot.sender.run_once(now) for bot in self.twins))
            if any(fired) or any(s.sent for s in swept) or any(b.desk.busy for b in self.twins):
                continue
            times = [s.next_at for s in swept]
            if any(times) or not all(s.busy for s in swept):  # one says that nothing is unsent
                times += [await bot.sweep.next_at() for bot in self.twins]
                return min((at for at in times if at is not None), default=None)
            await asyncio.sleep(0.005)  # a send is in doubt, or the lease of a lost one runs out

    async def lose(self) -> None:
        """The second replica is gone: nobody listens, nothing of it goes on, its leases stay."""
        lost = self.twins.pop()
        await lost.stop()

    async def stop(self) -> None:
        for bot in getattr(self, "twins", [])[1:]:
            await bot.stop()
        await super().stop()
        if hasattr(self, "balancer"):
            await self.balancer.stop()


async def nudges_and_calls(house: House) -> Counter[tuple[str, str, str]]:
    """From the journal, per visit: each nudge by its question, each call by its id."""
    found: Counter[tuple[str, str, str]] = Counter()
    async for line in house.bot.store.journal(f"w:{house.wave}"):
        for raw in line.events:
            event = msgspec.json.decode(raw)["event"]
            if line.subject.kind == "visit" and event["event"] in ("nudged", "raised", "called"):
                found[line.subject.site, event["event"], _of(event)] += 1
    return found


def _of(event: dict[str, Any]) -> str:
    """What an event is about: a question, or a call and the rung of whom it reached."""
    if event["event"] == "nudged":
        return str(event["question"])
    if event["event"] == "raised":
        return str(event["call"]["id"])
    return f"{event['call']}/{event['rounds']}/{event['rung']}"
