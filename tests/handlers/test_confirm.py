"""The page behind a link in a mail or webhook: looking changes nothing, one press counts once.

Sources: RFC 9110, section 9.2.1 (GET and HEAD are safe); RFC 9111, section 5.2.2.5 (no-store).
"""

import re
from collections.abc import AsyncIterator, Mapping
from typing import Any

import aiohttp
import pytest
from pydantic import SecretStr

from bot.model.calls.state import Call
from bot.model.policy import MINUTE
from bot.model.subject import ROTA, of_visit
from bot.press_links import LASTS, PATH, Press, PressLinks
from bot.settings import PageSettings, PersonSettings, Settings
from bot.store.errors import StoreAway
from tests.handlers.kit import ROWS, WAVE, Room

SECRET = "practice-of-links-practice-of-links"
BASE = "https://desk.example.org"
INES, JOEL, CONTACT = "U0002", "U0003", "U0101"
FORM = re.compile(r'<form method="post"><input type="hidden" name="(\w+)" value="([^"]+)">')


class WakingRoom(Room):
    """A room whose first on call has ways, so that there are links."""

    def settings(self) -> Settings:
        made = super().settings()
        people = [p.model_dump() for p in made.people]
        people[0] |= {"ways": ["chat"], "mail": "ines@example.org"}
        return made.model_copy(
            update={
                "page": PageSettings(secret=SecretStr(SECRET), base_url=BASE),
                "people": tuple(PersonSettings.model_validate(p) for p in people),
                "person_on_chat_alone_may_open": True,
            }
        )


@pytest.fixture
async def room(store_url: str) -> AsyncIterator[WakingRoom]:
    made = WakingRoom(store_url, ROWS[:1])
    await made.start()
    yield made
    await made.stop()


@pytest.fixture
async def browser() -> AsyncIterator[aiohttp.ClientSession]:
    async with aiohttp.ClientSession(trust_env=False) as session:
        yield session


LINKS = PressLinks(SECRET.encode(), BASE)


def link(room: Room, press: Press) -> str:
    return room.base + PATH + LINKS.token(press)


async def danger(room: Room) -> Press:
    """A call is open; the press that takes it, for Ines, from her mail."""
    await room.server.say(CONTACT, room.channel, "smoke!")
    await room.rest()
    (call,) = await calls(room)
    return Press(
        f"{of_visit(WAVE, 'alderbeck')}:9:1",
        f"e:{call.id}:take",
        INES,
        "mail",
        room.clock.now() + LASTS,
    )


async def calls(room: Room) -> tuple[Call, ...]:
    visit = await room.bot.desk.state(of_visit(WAVE, "alderbeck"))
    found: tuple[Call, ...] = visit.open_calls
    return found


async def pressed(browser: aiohttp.ClientSession, url: str) -> str:
    async with browser.get(url) as answer:
        page = await answer.text()
    found = FORM.search(page)
    assert found is not None, page
    async with browser.post(url, data={found[1]: found[2]}) as answer:
        return await answer.text()


def kept_nowhere_and_runs_nothing(given: Mapping[str, str], page: str) -> None:
    assert given["Cache-Control"] == "no-store"
    assert given["Referrer-Policy"] == "no-referrer"
    assert "default-src 'none'" in given["Content-Security-Policy"]
    assert "<script" not in page
    assert "src=" not in page
    assert len(page.encode()) < 4_000
    assert "CRITICAL: " in page
    assert "Ines Calloway" in page


async def test_looking_by_any_method_takes_nothing_and_a_press_takes_it_once(
    room: WakingRoom, browser: aiohttp.ClientSession
) -> None:
    url = link(room, await danger(room))
    before = await calls(room)
    for method in ("HEAD", "GET", "GET", "OPTIONS", "PUT"):
        async with browser.request(method, url, headers={"Sec-Purpose": "prefetch"}) as answer:
            assert answer.status in (200, 405)
    assert await calls(room) == before
    assert before[0].operator == "none"
    async with browser.get(url) as answer:
        kept_nowhere_and_runs_nothing(answer.headers, await answer.text())
    said = await pressed(browser, url)
    assert "You have this call." in said
    (call,) = await calls(room)
    assert (call.operator, call.taken_by) == ("ack", INES)
    journal = [line.fact_id async for line in room.bot.store.journal(f"w:{WAVE}")]
    assert "You have this call." in await pressed(browser, url)  # a second press is the same
    assert [line.fact_id async for line in room.bot.store.journal(f"w:{WAVE}")] == journal


async def test_what_is_not_the_pages_own_form_or_of_no_member_takes_nothing(
    room: WakingRoom, browser: aiohttp.ClientSession
) -> None:
    mine = await danger(room)
    url = link(room, mine)
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    for body in (b"", b"seen=", b"seen=AAAA", b"seen=\xff\xfe", b"x" * 5000, b"seen=1&seen=2"):
        async with browser.post(url, data=body, headers=headers) as answer:
            assert answer.status == 400, body
    seen = LINKS.form_token(LINKS.token(mine))
    async with browser.post(link(room, mine._replace(user=JOEL)), data={"seen": seen}) as answer:
        assert answer.status == 400  # the form of one link is not that of another
    gone = mine._replace(user="U0777")
    assert "not on the team" in await pressed(browser, link(room, gone))
    assert (await calls(room))[0].operator == "none"


async def test_after_somebody_took_it_the_other_is_told(
    room: WakingRoom, browser: aiohttp.ClientSession
) -> None:
    mine = await danger(room)
    await pressed(browser, link(room, mine._replace(user=JOEL)))
    assert "Somebody else has already taken this call." in await pressed(browser, link(room, mine))
    (call,) = await calls(room)
    assert call.taken_by == JOEL


async def test_an_old_link_a_forged_one_and_one_of_nothing(
    room: WakingRoom, browser: aiohttp.ClientSession, caplog: pytest.LogCaptureFixture
) -> None:
    mine = await danger(room)
    token = LINKS.token(mine)
    forged = PressLinks(b"another secret of the same length", BASE).token(mine)
    nothing = mine._replace(action="e:e99:take")
    old = mine._replace(until=room.clock.now())
    for path, status in (
        (LINKS.token(old), 410),
        (forged, 404),
        (token[:-1] + ("A" if token[-1] != "A" else "B"), 404),
        ("x" * 700, 404),
        ("%F0%9F", 404),
        ("~", 404),
        (LINKS.token(nothing), 200),
    ):
        async with browser.get(room.base + PATH + path) as answer:
            assert answer.status == status, path
            assert not FORM.search(await answer.text())
    async with browser.post(room.base + PATH + LINKS.token(old), data={"seen": "x"}) as answer:
        assert answer.status == 410
    assert (await calls(room))[0].operator == "none"
    assert LINKS.token(old) not in caplog.text  # who reads the log could press
    assert forged not in caplog.text


async def test_with_the_store_away_nothing_is_said_to_be_taken(
    room: WakingRoom, browser: aiohttp.ClientSession, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = await danger(room)
    url = link(room, mine)

    async def away(*_: Any, **__: Any) -> None:
        raise StoreAway("gone")

    with monkeypatch.context() as patch:
        patch.setattr(room.bot.desk, "receive", away)
        async with browser.post(url, data={"seen": LINKS.form_token(LINKS.token(mine))}) as answer:
            assert answer.status == 503
            assert "press again" in await answer.text()
    assert "You have this call." in await pressed(browser, url)


async def test_a_way_is_confirmed_by_its_press_alone(
    room: WakingRoom, browser: aiohttp.ClientSession
) -> None:
    rota = await room.bot.desk.state(ROTA)
    (shift,) = rota.shifts
    until = room.clock.now() + 60 * MINUTE
    press = Press(f"{ROTA}:1:1", f"r:{shift.test}:chat", INES, "chat", until)
    async with browser.get(link(room, press)) as answer:
        assert "does this way reach you (chat)" in await answer.text()
    assert (await room.bot.desk.state(ROTA)).shifts[0].confirmed(room.clock.now()) == ()
    assert "not on the team" in await pressed(browser, link(room, press._replace(user=JOEL)))
    assert "This way is confirmed" in await pressed(browser, link(room, press))
    assert (await room.bot.desk.state(ROTA)).shifts[0].confirmed(room.clock.now()) == ("chat",)


def test_a_link_reads_back_as_what_was_put_in() -> None:
    press = Press("w:hollowmere-1/v:ambermere:12:3", "e:e1:take", INES, "webhook:phone", 7)
    token = LINKS.token(press)
    assert LINKS.read(token) == press
    assert re.fullmatch(r"[A-Za-z0-9_~-]+", token)  # unreserved (RFC 3986, section 2.3)
    assert len(token) < 160
    assert str(press.subject) == "w:hollowmere-1/v:ambermere"
