"""The team's other ways in a journey: a telephone gateway and a mail server, both real.

Headings of a script::

    ways Ines: chat, webhook:phone 3, mail     in their order, with minutes or without
    turn Ines: 17:45 to 06:00                  else it is always theirs

With ways a wave opens only when somebody on call has confirmed one. What happens then::

    phone tells Ines: Major: the unit ...      the gateway was told this sentence for them
    phone is out of order                      it answers 500; or: answers nothing, works again
    mail reaches Ines: Major: the unit ...     or: mail reaches nobody, works again
    Ines opens the link from the phone         or the mail; as a scanner does it, by HEAD and GET
    Ines presses the button behind the link from the mail
    Ines sees there: You have this call        on the page that came
"""

import html
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import aiohttp
from pydantic import SecretStr

from bot.model.policy import MINUTE
from bot.settings import (
    MailSettings,
    PageSettings,
    PersonSettings,
    Settings,
    WebhooksSettings,
)
from tests.send.gateway import SECRET, Gateway, Taken
from tests.send.mailbox import SENDER, MailBox, links

if TYPE_CHECKING:
    from tests.journeys.house import House
    from tests.journeys.script import Step

BASE = "https://desk.example.org"
PAGE_SECRET = "practice-of-links-practice-of-links"
HEADING = re.compile(r"(\w+):\s*(.+)")
#: What people, the phone and the mail can do: as in ``script.DEEDS``.
PERSON = (
    ("link_opened", "opens the link from the (phone|mail)"),
    ("link_pressed", "presses the button behind the link from the (phone|mail)"),
    ("link_sees", r"sees there:\s*(.+)"),
)
PHONE = (
    ("desk_rings", r"tells (\w+):\s*(.+)"),
    ("phone_breaks", "is out of order"),
    ("phone_hangs", "answers nothing"),
    ("phone_works", "works again"),
)
MAIL = (
    ("desk_reaches", r"reaches (\w+):\s*(.+)"),
    ("mail_refuses", "reaches nobody"),
    ("mail_works", "works again"),
)


@dataclass
class Waking:
    """Gateway and mail server. ``tell`` hears of what arrived: place and text."""

    ways: dict[str, str]  # user -> as in the script
    turns: dict[str, str]
    tell: Callable[[str, str], None]
    links: dict[tuple[str, str], str] = field(default_factory=dict)  # (phone or mail, user)
    page: str = ""

    async def start(self) -> None:
        self.gateway, self.box = Gateway(), MailBox()
        self.gateway.on_taken = self._rung  # type: ignore[method-assign]
        await self.gateway.start()
        self.box.start()
        self._read = 0

    async def stop(self) -> None:
        await self.gateway.stop()
        self.box.stop()

    def settings(self, given: Settings) -> Settings:
        """The settings of the journey, with these ways."""
        people = [self._person(person) for person in given.people]
        target = {"name": "phone", "url": self.gateway.url, "secrets": [SECRET]}
        return given.model_copy(
            update={
                "people": tuple(people),
                "webhooks": WebhooksSettings.model_validate({"targets": [target]}),
                "page": PageSettings(secret=SecretStr(PAGE_SECRET), base_url=BASE),
                "mail": MailSettings(
                    host="127.0.0.1", port=self.box.port, sender=SENDER, tls="none"
                ),
            }
        )

    def _person(self, person: PersonSettings) -> PersonSettings:
        made: dict[str, Any] = person.model_dump()
        if person.user in self.ways:
            made["mail"] = _address(person.user)
            made["phone"] = "07700 900123"
            made["ways"] = [_way(text.strip()) for text in self.ways[person.user].split(",")]
        if person.user in self.turns:
            since, until = self.turns[person.user].split(" to ")
            made["hours"] = [{"since": since, "until": until}]
            made["tz"] = "Europe/London"
        return PersonSettings.model_validate(made)

    def _rung(self, one: Taken) -> None:
        user, data = str(one.data["person"]["user"]), one.data
        if "press" in data:
            self.links["phone", user] = str(data["press"])
        self.tell(f"phone:{user}", str(data["say"]))

    def look(self) -> None:
        """Mails that have come since."""
        for mail in self.box.mails[self._read :]:
            self._read += 1
            user, text = _user(str(mail["To"])), mail.get_content()
            for link in links(text):
                self.links["mail", user] = link
            self.tell(f"mail:{user}", " ".join(text.split()))

    # --- the page behind a link --------------------------------------------------------------

    async def open(self, kind: str, user: str, port: int) -> str:
        """As a mail scanner does. Raises ``LookupError`` where no link came."""
        async with aiohttp.ClientSession(trust_env=False) as session:
            async with session.head(self._local(kind, user, port)) as answer:
                assert answer.status == 200, answer.status
            async with session.get(self._local(kind, user, port)) as answer:
                return self._shown(answer.status, await answer.text())

    async def press(self, kind: str, user: str, port: int) -> None:
        page = await self.open(kind, user, port)
        found = re.search(r'name="(\w+)" value="([^"]+)"', page)
        if found is None:
            raise LookupError(f"there is no button on the page: {self.page}")
        url = self._local(kind, user, port)
        async with (
            aiohttp.ClientSession(trust_env=False) as session,
            session.post(url, data={found[1]: found[2]}) as answer,
        ):
            self._shown(answer.status, await answer.text())

    def _local(self, kind: str, user: str, port: int) -> str:
        if (kind, user) not in self.links:
            raise LookupError(f"no link came by {kind}")
        return self.links[kind, user].replace(BASE, f"http://127.0.0.1:{port}")

    def _shown(self, status: int, page: str) -> str:
        assert status < 500, page
        body = page.partition("<main>")[2]
        self.page = " ".join(html.unescape(re.sub("<[^>]+>", " ", body)).split())
        return page


class WakingDeeds:
    """What a script may say of it; mixed into ``play.Play``."""

    house: "House"

    def _waking(self) -> Waking:
        if self.house.waking is None:
            raise LookupError("the script has no heading: ways NAME: ...")
        return self.house.waking

    async def do_phone_breaks(self, step: "Step") -> None:
        self._waking().gateway.status = 500

    async def do_phone_hangs(self, step: "Step") -> None:
        self._waking().gateway.silent = True

    async def do_phone_works(self, step: "Step") -> None:
        self._waking().gateway.status, self._waking().gateway.silent = 202, False

    async def do_mail_refuses(self, step: "Step") -> None:
        self._waking().box.refuses = True

    async def do_mail_works(self, step: "Step") -> None:
        self._waking().box.refuses = False

    async def do_link_opened(self, step: "Step", kind: str) -> None:
        await self._waking().open(kind, self._team(step.who), self.house.bot.port)

    async def do_link_pressed(self, step: "Step", kind: str) -> None:
        await self._waking().press(kind, self._team(step.who), self.house.bot.port)

    async def do_link_sees(self, step: "Step", words: str) -> None:
        if words not in self._waking().page:
            raise AssertionError(f"it says: {self._waking().page}")

    def _team(self, who: str) -> str:
        from tests.journeys.script import TEAM

        return TEAM[who]


def _way(text: str) -> dict[str, Any]:
    way, _, minutes = text.partition(" ")
    return {"way": way, "minutes": float(minutes) if minutes else None}


def _address(user: str) -> str:
    return f"{user.lower()}@example.org"


def _user(address: str) -> str:
    return address.partition("@")[0].upper()


__all__ = ["HEADING", "MAIL", "MINUTE", "PERSON", "PHONE", "Waking", "WakingDeeds"]
