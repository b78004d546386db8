"""A rehearsal in one process: embedded store, stand-in chat, bot and world put together."""

from collections.abc import Iterable

from bot.app import Bot, Parts
from bot.model.board import Board
from bot.model.serial import normal
from bot.model.subject import of_wave
from bot.model.wave.state import Wave
from bot.plan.live import go_live
from bot.plan.rows import SiteRow
from bot.practice import scene
from bot.practice.clock import WaveClock
from bot.practice.contact import Contact
from bot.practice.persona import Persona
from bot.practice.world import World
from bot.send.sender import SenderSettings
from bot.settings import Settings

#: A rehearsal need not wait as long as the world does before it looks for a message in doubt.
QUICK = SenderSettings(lease=4_000, in_doubt_wait=200, tidy_after=1_000)


def row_of(rows: Iterable[SiteRow], unit: str) -> SiteRow | None:
    """The row of a unit (by serial) or of a site (by its id or name)."""
    wanted = unit.casefold()
    for row in rows:
        names = {row.site.casefold(), row.name.casefold()}
        names |= {text.casefold() for u in row.units for text in (u.serial, u.label)}
        if wanted in names or normal(unit) in {u.serial for u in row.units}:
            return row
    return None


class House:
    """Everything of one rehearsal. ``start`` and ``stop`` must be called in one task."""

    def __init__(
        self,
        rows: list[SiteRow],
        seed: int,
        store_url: str,
        personas: dict[str, Persona] | None = None,
    ) -> None:
        self.rows = rows
        self.clock = WaveClock(scene.begins_at(rows))
        self.world = World(rows, seed, self.clock, personas)
        self._store_url = store_url
        self.wave = rows[0].wave
        self._bot_runs = False

    async def start(self) -> None:
        """Raises ``StoreError``. What was started is stopped again when it does not succeed."""
        try:
            await self._start()
        except BaseException:
            await self.stop()
            raise

    async def _start(self) -> None:
        self.channels = await self.world.start()
        server = self.world.server
        self.settings: Settings = scene.settings(
            f"{server.base_url}/api/", server.api.bot_token, self.channels, self._store_url
        )
        self.bot = Bot(
            self.settings,
            scene.runbook(),
            Parts(now=self.clock.now, sender=QUICK, may_open=lambda _roster, _at: True),
        )
        await self.bot.start()
        self._bot_runs = True
        self.world.connect(f"http://127.0.0.1:{self.bot.port}")
        await go_live(self.bot.desk, self.rows, channels=self.channels, now=self.clock.now())

    async def stop(self) -> None:
        if self._bot_runs:
            await self.bot.stop()
        await self.world.stop()

    async def tidy(self) -> None:
        """Take away second copies at once, as a live bot does a minute later."""
        await self.bot.sender.tidy(force=True)

    # --- the bot as a rehearsal sees it ----------------------------------------------------

    async def settle(self, now: int) -> int | None:
        await self.bot.store.clock_set(now)
        return await self.bot.settle(now)

    async def board(self, now: int) -> Board:
        home = of_wave(self.wave).home
        return await self.bot.desk.surroundings.board(self.bot.store, home, now)

    async def wave_state(self) -> Wave | None:
        found = await self.bot.desk.state(of_wave(self.wave))
        return found if isinstance(found, Wave) else None

    def contact_of(self, unit: str) -> Contact | None:
        """The contact of a unit (by serial) or of a site (by its id or name)."""
        row = row_of(self.rows, unit)
        return self.world.contacts[row.site] if row else None

    async def counters(self) -> dict[str, int]:
        total: dict[str, int] = {}
        for home in await self.bot.store.homes():
            for name, count in (await self.bot.store.get_counters(home)).items():
                total[name] = total.get(name, 0) + count
        return total

    async def traces(self) -> set[str]:
        """The ids of all facts that stand in a journal, kept-aside ones included."""
        found: set[str] = set()
        for home in await self.bot.store.homes():
            async for line in self.bot.store.journal(home):
                found.add(line.fact_id.removesuffix("/kept").removesuffix("/aside"))
        return found
