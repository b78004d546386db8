"""A room whose contacts have pages: one of them a chat account as well, the other mail alone."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import aiohttp
from pydantic import SecretStr

from bot.app import Parts
from bot.model.people import page_user
from bot.model.subject import of_visit
from bot.plan.rows import SiteRow
from bot.practice.house import QUICK
from bot.settings import MailSettings, PageSettings, Settings
from tests.handlers.kit import WAVE, Room, row
from tests.journeys.page import BASE, SECRET, MailHouse, Page

ALONE, BOTH = "ambermere", "alderbeck"  # sites: whose contact has no chat account, and who has
MAIL = "ada.brightwell@example.org"


def rows(lang: str = "en") -> list[SiteRow]:
    made = [row(BOTH, "U0101", "HML-4F7K2Q"), row(ALONE, page_user(ALONE), "HML-MTHE79")]
    alone = made[1].contact.model_copy(update={"mail": MAIL, "lang": lang})
    made[1] = made[1].model_copy(update={"contact": alone})
    return made


class PageRoom(Room):
    """``post`` is a real mail server; ``patience`` is moved by the test, seconds."""

    async def start(self) -> None:
        self.post, self.patience = MailHouse(), 0.0
        self.mail_port = await self.post.start()
        self.session = aiohttp.ClientSession(trust_env=False)
        await super().start()

    async def stop(self) -> None:
        await self.session.close()
        await super().stop()
        await self.post.stop()

    def settings(self) -> Settings:
        mail = MailSettings(
            host="127.0.0.1", port=self.mail_port, sender="desk@example.org", tls="none"
        )
        page = PageSettings(secret=SecretStr(SECRET), base_url=BASE)
        return super().settings().model_copy(update={"mail": mail, "page": page})

    def parts(self) -> Parts:
        return Parts(
            now=self.clock.now,
            sender=QUICK,
            may_open=lambda roster, at: True,
            patience=lambda: self.patience,
        )

    def path(self, site: str = ALONE, generation: int = 0) -> str:
        assert self.bot.access is not None
        return f"/v/{self.bot.access.token(WAVE, site, generation)}"

    def page(self, site: str = ALONE, generation: int = 0) -> Page:
        return Page(self.session, self.path(site, generation), self.bot.port)

    async def opened(self, site: str = ALONE) -> Page:
        page = self.page(site)
        await page.opens()
        return page

    async def get(self, path: str, method: str = "GET", **more: Any) -> tuple[int, str, Any]:
        url = f"http://127.0.0.1:{self.bot.port}{path}"
        async with self.session.request(method, url, allow_redirects=False, **more) as answer:
            return answer.status, await answer.text(errors="replace"), answer.headers

    async def version(self, site: str = ALONE) -> tuple[int, int]:
        """Of the visit, and how many events it has: what a look must not change."""
        subject = of_visit(WAVE, site)
        loaded = await self.bot.desk.look(subject)
        events = [event for name, _, event in await self.journal() if name == str(subject)]
        return loaded.loaded.version, len(events)

    async def mirror(self, site: str = ALONE) -> list[str]:
        """What the team reads in its copy."""
        info = await self.bot.store.thread_info(f"w:{WAVE}", f"site:{site}")
        return [str(m["text"]) for m in self.server.thread(self.channel, info.root)]


@asynccontextmanager
async def open_pages(url: str, lang: str = "en") -> AsyncIterator[PageRoom]:
    room = PageRoom(url, rows(lang))
    await room.start()
    try:
        yield room
    finally:
        await room.stop()
