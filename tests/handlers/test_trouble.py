"""Where the team's channel or a call does not get through, people are told directly."""

from msgspec.structs import replace

from bot.model.message import BOARD, ESCALATION
from bot.practice import scene
from bot.send.mail import MailOut, MailSettings
from bot.send.ports import Trouble
from tests.handlers.kit import ADMIN, ONCALL, STRANGER, Room
from tests.send.test_mail import Box, box, plain

__all__ = ["box", "plain"]  # the fixtures


def mailed(room: Room, server: MailSettings) -> None:
    """One of those on call has an address, and there is a server."""
    around = room.bot.desk.surroundings
    staff = tuple(
        replace(s, mail="ines@example.org") if s.user == ONCALL else s for s in around.roster.staff
    )
    around.roster = replace(around.roster, staff=staff)
    room.bot.chat_in.alarm._mail = MailOut(server)


def direct(room: Room, user: str) -> list[str]:
    channel = room.server.workspace.dm_with(user).id
    return [str(m["text"]) for m in room.server.messages(channel)]


async def test_a_team_channel_that_takes_nothing_is_told_to_people(room: Room) -> None:
    room.server.workspace.channels[scene.TEAM_CHANNEL].members.pop(room.server.bot_user)
    await room.say("U0101", "alderbeck", "help")
    await room.pass_time(3)  # it is tried again meanwhile
    for user in (ADMIN, ONCALL):
        told = [text for text in direct(room, user) if scene.TEAM_CHANNEL in text]
        assert len(told) == 1
        assert "do not get through" in told[0]


async def test_a_call_that_can_never_be_delivered_is_told_to_people(room: Room) -> None:
    room.server.faults.add("error", "chat.postMessage", error="invalid_blocks", nth=2)
    before = len(direct(room, ONCALL))
    await room.bot._trouble(
        Trouble("message", "w:x", "U0999", "esc:x", "m1", "user_disabled", 0, BOARD)
    )
    assert len(direct(room, ONCALL)) == before  # not of a board, or of a nudge
    await room.say("U0101", "alderbeck", "help")
    await room.rest()
    assert any("A call could not be delivered" in text for text in direct(room, ONCALL))


async def test_trouble_everywhere_goes_by_mail_alone(
    room: Room, box: Box, plain: MailSettings
) -> None:
    """No channel takes anything, so nobody is told in chat; nothing fails for it."""
    mailed(room, plain)
    room.server.faults.add("error", error="invalid_auth", times=10**9)
    await room.bot._trouble(
        Trouble("everywhere", "w:x", "*", "esc:x", "m1", "invalid_auth", 0, ESCALATION)
    )
    room.server.faults.clear()
    assert not any("do not get through" in text for text in direct(room, ONCALL))
    (mail,) = box.mails
    assert mail["To"] == "ines@example.org"
    assert "invalid_auth" in mail.get_content()


async def test_danger_with_no_wave_goes_to_the_channel_and_by_mail_once(
    room: Room, box: Box, plain: MailSettings
) -> None:
    mailed(room, plain)
    await room.bot.store._write(b"x", "FLUSHALL")
    await room.server.dm(STRANGER, "smoke!")
    event = next(
        d.payload for d in room.server.deliveries if d.payload["event"].get("user") == STRANGER
    )
    await room.server.sender.event(event, 1, "http_timeout")
    (mail,) = box.mails
    assert "smoke!" in mail.get_content()
    told = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
    assert len([text for text in told if text.startswith("*Words of danger*")]) == 1
