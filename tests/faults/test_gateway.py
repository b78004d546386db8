"""The gateway to the telephone fails in every way it can: the next way comes in its time.

The real bot, chat, gateway and mail server; wave time is moved by the test. Nothing of the call is
lost, and what the gateway gets twice has the same id both times.
"""

from collections.abc import AsyncIterator, Callable

import pytest
from pydantic import SecretStr

from bot.app import Parts
from bot.desk.replay import verify
from bot.model.calls.state import Call
from bot.model.policy import MINUTE
from bot.model.subject import ROTA, of_visit
from bot.send.sender import SenderSettings
from bot.settings import (
    MailSettings,
    PageSettings,
    PersonSettings,
    Settings,
    WebhooksSettings,
)
from tests.handlers.kit import ROWS, WAVE, Room
from tests.send.gateway import SECRET, Gateway
from tests.send.mailbox import SENDER, MailBox

CONTACT, INES = "U0101", "U0002"
WAYS = [{"way": way, "minutes": 2} for way in ("webhook:phone", "mail", "chat")]
#: An attempt has half of the lease: short, since nobody waits for a silent gateway in a test.
BRIEF = SenderSettings(lease=400, in_doubt_wait=100, tidy_after=1_000)


class Killed(BaseException):
    """As if the process ended here."""


class NightRoom(Room):
    """Ines is called by telephone, then by mail, then in chat; two minutes each."""

    gateway: Gateway
    box: MailBox
    probe: Callable[[str], None] = staticmethod(lambda _point: None)

    def settings(self) -> Settings:
        made = super().settings()
        people = [p.model_dump() for p in made.people]
        people[0] |= {"ways": WAYS, "mail": "ines@example.org", "phone": "07700 900123"}
        target = {"name": "phone", "url": self.gateway.url, "secrets": [SECRET]}
        return made.model_copy(
            update={
                "people": tuple(PersonSettings.model_validate(p) for p in people),
                "webhooks": WebhooksSettings.model_validate({"targets": [target]}),
                "page": PageSettings(secret=SecretStr("x" * 32), base_url="http://localhost"),
                "mail": MailSettings(
                    host="127.0.0.1", port=self.box.port, sender=SENDER, tls="none"
                ),
                "person_on_chat_alone_may_open": True,
            }
        )

    def parts(self) -> Parts:
        return Parts(
            now=self.clock.now,
            sender=BRIEF,
            may_open=lambda roster, at: True,
            probe=lambda point: self.probe(point),  # noqa: PLW0108 - it is changed meanwhile
        )

    async def call(self) -> Call:
        visit = await self.bot.desk.state(of_visit(WAVE, "alderbeck"))
        found: Call = visit.open_calls[0]
        return found

    async def out(self) -> None:
        """The contact wants a person, and that has been called out."""
        self.gateway.tried.clear()
        self.gateway.taken.clear()
        self.box.raw.clear()
        await self.server.say(CONTACT, self.channel, "I need a person, please help")


@pytest.fixture
async def room(store_url: str) -> AsyncIterator[NightRoom]:
    made = NightRoom(store_url, ROWS[:1])
    made.gateway, made.box = Gateway(), MailBox()
    await made.gateway.start()
    made.box.start()
    await made.start()
    yield made
    await made.stop()
    await made.gateway.stop()
    made.box.stop()


@pytest.mark.parametrize(
    ("status", "silent", "within", "attempts"),
    [
        (500, False, 2, (4, 12)),  # tried again and again, until its time is over
        (503, False, 2, (4, 12)),
        (202, True, 2, (4, 12)),  # takes it, and never answers
        (410, False, 0, (1, 1)),  # will never take it: the next way at once
        (302, False, 0, (1, 1)),
    ],
)
async def test_the_mail_goes_out_in_its_time_whatever_the_gateway_does(
    room: NightRoom, status: int, silent: bool, within: int, attempts: tuple[int, int]
) -> None:
    room.gateway.status, room.gateway.silent = status, silent
    await room.out()
    began = room.clock.now()
    if within:
        await room.pass_time(within - 0.5)
        assert room.box.mails == []
        await room.pass_time(1)
    else:
        await room.rest()
    (mail,) = room.box.mails
    assert "To take it, open this page" in mail.get_content()
    least, most = attempts
    assert least <= len(room.gateway.tried) <= most
    assert len({one.headers["webhook-id"] for one in room.gateway.tried}) == 1
    call = await room.call()
    assert (call.operator, call.way, call.called_at) == ("none", 1, began)
    assert call.due > room.clock.now()


async def test_back_again_it_gets_what_still_matters_once_and_the_record_is_whole(
    room: NightRoom,
) -> None:
    room.gateway.status = 500
    await room.out()
    await room.pass_time(3)
    room.gateway.status = 202
    await room.pass_time(2)
    raised = [one for one in room.gateway.taken if one.event["type"] == "musterline.call.raised"]
    assert len({one.headers["webhook-id"] for one in raised}) == len(raised) == 1
    assert (await verify(room.bot.store)).problems == []
    assert await room.bot.desk.state(ROTA) is not None


async def test_killed_between_the_attempt_and_its_record_the_same_id_comes_again(
    room: NightRoom,
) -> None:
    await room.out()

    def at_the_gateway(point: str) -> None:
        if point == "post.after" and room.gateway.taken:
            raise Killed

    room.probe = at_the_gateway
    with pytest.raises(Killed):
        await room.settle()
    assert len(room.gateway.taken) == 1
    room.probe = lambda _point: None
    await room.bot.stop()
    await room.open()
    await room.rest()
    first, second = room.gateway.taken
    assert first.headers["webhook-id"] == second.headers["webhook-id"]
    assert first.body == second.body
    assert (await room.call()).due <= room.clock.now() + 2 * MINUTE
    await room.pass_time(2)
    assert len(room.box.mails) == 1  # and the next way comes as if nothing had been
