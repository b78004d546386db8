"""The contact's page as the visit knows it, and where what is said to a contact goes."""

import msgspec
import pytest
from msgspec.structs import replace

from bot.desk.mirror import Talk, mirrored
from bot.model.fact import Actor, Due, Pressed, Said
from bot.model.message import Message
from bot.model.people import page_user, person_key
from bot.model.subject import of_visit
from bot.model.visit.event import AnyEvent
from bot.model.visit.page_events import PageRevoked
from bot.model.visit.state import Person, Visit
from tests.model.kit import ADMIN, CONTACT, SITE, WAVE, Walk, context, plan

ALONE = Person(person_key(page_user(SITE)), page_user(SITE))


def test_links_end_when_the_team_says_so_and_stay_ended() -> None:
    walk = Walk(plan())
    assert walk.visit.page.generation == 0
    assert walk.order("revoke_page") == "ok"
    assert walk.visit.page.generation == 1
    assert walk.messages[-1].template == "staff_page_revoked"
    walk.plan(plan(start=walk.visit.start + 86_400_000))
    assert walk.visit.page.generation == 1


@pytest.mark.parametrize("order", ["revoke_page", "send_page"])
def test_only_the_team_may(order: str) -> None:
    walk = Walk(plan())
    before = walk.visit
    assert walk.order(order, by=Actor(CONTACT.user)) == "not_yours"
    assert walk.visit == before


def test_a_new_link_goes_to_the_contact_alone() -> None:
    walk = Walk(plan())
    walk.order("send_page")
    message = walk.messages[-1]
    assert (message.way, message.template) == ("mail", "page_link")
    assert message.thread == f"mail:@p:{CONTACT.key}:mail"


def test_the_event_is_read_back_from_the_journal() -> None:
    event = PageRevoked(3, ADMIN.user)
    packed = msgspec.json.encode(event)
    assert msgspec.json.decode(packed, type=AnyEvent) == event
    assert b"generation" not in msgspec.json.encode(Walk(plan()).visit)


# --- where it goes --------------------------------------------------------------------------


def turned(visit: Visit, message: Message, *, talk: Talk, fact: str = "due:x") -> list[Message]:
    cause = Due(id=fact, subject=of_visit(WAVE, SITE), received_at=1, kind="x", version=1)
    return list(mirrored(cause, visit, "ok", (message,), context(), talk))


def invited(*, alone: bool) -> tuple[Visit, Message]:
    """A visit whose contact has just been asked for the time, and the question's message."""
    made = plan()
    walk = Walk(replace(made, contact=ALONE) if alone else made, auto=False)
    walk.due("invite")
    asked = next(m for m in walk.messages if m.id == walk.visit.question.message)
    return walk.visit, asked


def test_without_pages_all_is_as_before() -> None:
    visit, asked = invited(alone=False)
    assert Talk().plain(visit)
    assert turned(visit, asked, talk=Talk()) == [asked]


def test_with_pages_the_chat_comes_first_and_the_page_has_a_copy() -> None:
    visit, asked = invited(alone=False)
    chat, page = turned(visit, asked, talk=Talk(pages=True))
    assert chat == asked
    assert (page.way, page.thread) == ("page", f"page:{visit.id}")
    assert page.id != asked.id  # its delivery is not that of the question
    assert page.buttons == asked.buttons


def test_before_the_evening_the_mail_counts_and_on_the_evening_the_page() -> None:
    visit, asked = invited(alone=True)
    found = {m.way: m for m in turned(visit, asked, talk=Talk(pages=True))}
    assert found["mail"].id == asked.id
    assert found["page"].id != asked.id
    assert found["chat"].thread == f"site:{visit.id}"  # the team's copy
    assert found["chat"].buttons == ()
    running = replace(visit, state="running")
    found = {m.way: m for m in turned(running, asked, talk=Talk(pages=True))}
    assert "mail" not in found
    assert found["page"].id == asked.id


def test_no_mail_tells_the_team_and_no_chat_shows_a_link() -> None:
    visit, asked = invited(alone=True)
    for message in turned(visit, asked, talk=Talk(pages=True)):
        holds = any(f"/page:{visit.id}:" in value for value in message.args.values())
        assert holds == (message.way == "mail")


def test_what_is_for_the_contact_alone_has_no_copy() -> None:
    visit, asked = invited(alone=True)
    secret = replace(asked, thread=f"user:{visit.contact.user}", template="handing_code")
    (only,) = turned(visit, secret, talk=Talk(pages=True))
    assert (only.way, only.thread) == ("page", f"page:{visit.id}")


def test_a_deputy_without_an_account_is_written_to_by_mail() -> None:
    visit, asked = invited(alone=False)
    user = page_user(SITE, "deputy")
    visit = replace(visit, deputy=Person(person_key(user), user))
    home = f"@t:w:{visit.wave}"
    wish = replace(asked, thread=f"user:{user}", args={"link": f"{home}/site:{visit.id}"})
    (mail,) = turned(visit, wish, talk=Talk(pages=True))
    assert (mail.way, mail.thread) == ("mail", f"mail:@p:{person_key(user)}:mail")
    assert mail.args["link"] == f"{home}/page:{visit.id}:0"


@pytest.mark.parametrize("by_it", [True, False])
def test_the_page_says_who_wrote(*, by_it: bool) -> None:
    visit, _ = invited(alone=False)
    fact = Said(
        id="page:w:s:1" if by_it else "chat:T:C:1",
        subject=of_visit(WAVE, SITE),
        received_at=1,
        actor=Actor(CONTACT.user),
        words="hello",
    )
    found = list(mirrored(fact, visit, "ok", (), context(), Talk(pages=True)))
    assert [m.template for m in found] == (
        ["mirror_said", "page_said"] if by_it else ["page_other_said"]
    )
    pressed = Pressed(
        id="press:1",
        subject=fact.subject,
        received_at=1,
        actor=Actor(CONTACT.user),
        action="a:q1:yes",
    )
    assert list(mirrored(pressed, visit, "stale", (), context(), Talk(pages=True))) == []
