"""What a rehearsal shows: a live screen, plain lines for a log, or nothing."""

from datetime import UTC, datetime
from types import TracebackType
from typing import Protocol, Self

from bot.model.board import board
from bot.practice.house import House
from bot.practice.rehearsal import Figures
from bot.report.words import board_lines
from bot.speak.catalogue import standard


class Show(Protocol):
    """Shown to the person at the terminal."""

    def __enter__(self) -> Self: ...
    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None: ...
    def step(self, now: int) -> None: ...
    async def end(self, figures: Figures, thread: str | None) -> None: ...


class Quiet:
    """Nothing, but a thread that was asked for."""

    def __init__(self, house: House) -> None:
        self.house = house

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        pass

    def step(self, now: int) -> None:
        pass

    async def end(self, figures: Figures, thread: str | None) -> None:
        if thread:
            print("\n".join(thread_lines(self.house, thread)))


class Plain(Quiet):
    """One line for each thing a rollout team would want in its log."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self._shown = 0

    def step(self, now: int) -> None:
        posts = self.house.world.log
        for line in posts[self._shown :]:
            print(line, flush=True)
        self._shown = len(posts)

    async def end(self, figures: Figures, thread: str | None) -> None:
        now = self.house.clock.now()
        desk = self.house.bot.desk
        visits = await desk.surroundings.visits(desk.store, f"w:{self.house.wave}")
        wave = await self.house.wave_state()
        print("\n".join(board_lines(wave, board(visits, now), standard().best("en"))))
        for name in Figures.__struct_fields__:
            print(f"{name.replace('_', ' ')}: {getattr(figures, name)}")
        await super().end(figures, thread)


class Screen(Plain):
    """A live screen."""


def thread_lines(house: House, unit: str) -> list[str]:
    """The conversation of one unit's site, as it stands in the chat."""
    contact = house.contact_of(unit)
    if contact is None:
        return [f"No unit or site {unit} is in this wave."]
    if not contact.channel:
        return [f"Nothing was said at {contact.site}."]
    lines = []
    for message in house.world.server.thread(contact.channel, contact.thread):
        who = "desk" if message.get("user") == house.world.server.bot_user else "contact"
        at = datetime.fromtimestamp(float(message["ts"]), UTC).strftime("%H:%M:%S")
        lines.append(f"{at} {who:>7}: {message['text']}")
    return lines
