"""The contact's page over real HTTP: what opens it, what a look changes, what an answer does."""

import base64
import hashlib
import io
import re
from collections.abc import AsyncIterator

import pytest

from bot.model.fact import Actor, Pressed
from bot.model.subject import of_visit
from bot.store.errors import StoreRefused
from handlers.page import photos
from handlers.page.limits import PHOTOS
from tests.handlers.kit import ADMIN, WAVE, OwnStore
from tests.handlers.page_kit import ALONE, BOTH, MAIL, PageRoom, open_pages

PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


@pytest.fixture
async def room(store_url: str) -> AsyncIterator[PageRoom]:
    async with open_pages(store_url) as opened:
        yield opened


# --- the link -----------------------------------------------------------------------------


async def test_the_invitation_is_mailed_with_the_link_and_the_code(room: PageRoom) -> None:
    (mail,) = room.post.mails
    assert mail.to == MAIL
    assert mail.link.endswith(room.path())
    assert room.bot.access is not None
    assert room.bot.access.proof("hollowmere-1", ALONE) in mail.text
    assert "Ambermere Library" in mail.subject
    visit = await room.visit(ALONE)
    assert visit.question is not None
    assert visit.question.asked_at is not None  # accepted by the mail server: asked


async def test_opening_a_link_changes_nothing_however_often(room: PageRoom) -> None:
    before = await room.version()
    for method in ("GET", "HEAD", "GET", "HEAD"):
        status, text, _ = await room.get(room.path(), method)
        assert status == 200
        assert "Could you put in" not in text  # only the gate is shown
        assert method == "HEAD" or "The code on your sheet must be" in text
    await room.rest()
    assert await room.version() == before


async def test_only_a_form_with_its_mark_does_anything(room: PageRoom) -> None:
    before = await room.version()
    for form in ({"words": "yes"}, {"words": "yes", "form": "0" * 32, "id": "0" * 32}):
        status, _, headers = await room.get(room.path(), "POST", data=form)
        assert status == 403
        assert "Set-Cookie" not in headers
    other = await room.opened(BOTH)  # the mark of another page
    form = {**other._fields('data-answer="1"'), "words": "yes"}
    assert (await room.get(room.path(), "POST", data=form))[0] == 403
    assert await room.version() == before


async def test_whose_code_differs_is_told_to_stop(room: PageRoom) -> None:
    before, page = await room.version(), room.page()
    await page.look()
    await page._post({**page._fields('name="gate"'), "gate": "other"})
    assert "Unplug nothing" in page.text
    assert page.cookie == ""
    assert await room.version() == before


async def test_a_link_that_is_not_ours_opens_nothing(room: PageRoom) -> None:
    path = room.path()
    for wrong in (path[:-1] + ("a" if path[-1] != "a" else "b"), "/v/x", "/v/%C3%A9", path + "a"):
        status, text, _ = await room.get(wrong)
        assert status == 404
        assert "There is no page here" in text


async def test_an_ended_link_says_so_and_shows_nothing_of_the_visit(room: PageRoom) -> None:
    page = await room.opened()
    root = (await room.bot.store.thread_info("w:hollowmere-1", f"site:{ALONE}")).root
    await room.server.mention(ADMIN, room.channel, "revoke page", thread_ts=root)
    await room.rest()
    await page.look()
    assert page.status == 410
    assert "This page has been closed" in page.text
    assert "Ambermere" not in page.html
    assert "Tomasz" not in page.html
    new = room.page(generation=1)
    await new.opens()
    assert "Could you put in" in new.text
    room.post.mails.clear()
    await room.server.mention(ADMIN, room.channel, "send page", thread_ts=root)
    await room.rest()
    assert [mail.link[-len(new.path) :] for mail in room.post.mails] == [new.path]


async def test_a_page_closes_when_the_visit_is_long_over(room: PageRoom) -> None:
    page = await room.opened()
    await page.presses("No, thank you", room.clock.now())
    await room.rest()
    assert (await room.visit(ALONE)).state == "rebook"
    hours = 3_600_000
    for call in (await room.visit(ALONE)).open_calls:
        for verb in ("take", "close_fixed"):
            await room.bot.desk.receive(
                Pressed(
                    id=f"press:{call.id}:{verb}",
                    subject=of_visit(WAVE, ALONE),
                    received_at=room.clock.now(),
                    actor=Actor("U0002", oncall=True),
                    action=f"e:{call.id}:{verb}",
                )
            )
    visit = await room.visit(ALONE)
    assert not visit.live
    room.clock.move(visit.start + 72 * hours - 1)
    await page.look()
    assert page.status == 200
    room.clock.move(visit.start + 72 * hours + 1)
    await page.look()
    assert page.status == 410
    assert "This visit is over" in page.text
    assert "Ambermere" not in page.html


# --- answers ------------------------------------------------------------------------------


async def test_a_press_sent_twice_counts_once(room: PageRoom) -> None:
    page = await room.opened()
    form = next(f for f in re.findall(r"<form.*?</form>", page.html, re.DOTALL) if "a:q1" in f)
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form)) | {"action": "a:q1:yes"}
    headers = {"Cookie": page.cookie}
    for _ in range(2):
        status, _, answer = await room.get(room.path(), "POST", data=fields, headers=headers)
        assert (status, answer["Location"]) == (303, room.path())
        await room.rest()
    assert (await room.visit(ALONE)).state == "agreed"
    assert len([fact for fact in await room.heard(ALONE) if fact.startswith("page:")]) == 1


async def test_words_and_presses_reach_the_team(room: PageRoom) -> None:
    page = await room.opened()
    await page.says("is <b>this</b> & that heavy?", room.clock.now())
    await page.presses("Yes, that is fine", room.clock.now())
    await room.rest()
    said = await room.mirror()
    assert any("Contact of Ambermere writes: is &lt;b&gt;this" in text for text in said)
    assert any("Contact of Ambermere presses *Yes, that is fine*" in text for text in said)
    await page.look()
    assert "is &lt;b&gt;this&lt;/b&gt; &amp; that heavy?" in page.html
    assert "<b>this</b>" not in page.html


async def test_words_as_long_as_the_page_takes_are_taken(room: PageRoom) -> None:
    page = await room.opened()
    for words, status in (("x\r\n" * 1000, 303), ("x" * 2001, 413)):
        fields = {**page._fields('data-answer="1"'), "words": words}
        assert (await room.get(room.path(), "POST", data=fields))[0] == status


async def test_a_button_that_never_stood_there_does_nothing(room: PageRoom) -> None:
    page = await room.opened()
    before = await room.version()
    for action in ("e:e1:take", "a:q1:nonsense", "x", "a:q9:yes", "k:stopped:danger_no"):
        fields = {**page._fields('data-answer="1"'), "action": action}
        headers = {"Cookie": page.cookie}
        status, _, answer = await room.get(room.path(), "POST", data=fields, headers=headers)
        assert (status, answer["Location"]) == (303, f"{room.path()}?n=stale")
    assert await room.version() == before


async def test_the_times_of_the_evening_count_from_the_page(room: PageRoom) -> None:
    page = await room.opened()
    await page.presses("Yes, that is fine", room.clock.now())
    await room.pass_time(32)
    question = (await room.visit(ALONE)).question
    assert question is not None
    assert question.asked_at is None  # mailed, but nobody has seen it
    assert len(room.post.mails) == 2
    for _ in range(2):
        await room.get(page.path)  # whoever has no cookie does not count
    assert (await room.visit(ALONE)).question == question
    await page.look()
    question = (await room.visit(ALONE)).question
    assert question is not None
    assert question.asked_at == room.clock.now()


async def test_a_page_is_no_place_of_the_chat_to_be_read_back(room: PageRoom) -> None:
    page = await room.opened()
    await page.presses("Yes, that is fine", room.clock.now())
    await room.rest()
    places = await room.bot.reader().places()
    assert {place.channel for place in places} == {room.channel}
    assert len([place for place in places if place.root]) == 2  # a thread, and a mirror


async def test_who_has_a_chat_account_may_use_both(room: PageRoom) -> None:
    page = await room.opened(BOTH)
    assert "Could you put in" in page.text
    assert room.bot.access is not None
    code = room.bot.access.proof("hollowmere-1", BOTH)
    assert any(code in str(m["text"]) for m in await room.thread(BOTH))
    await page.says("is it heavy?", room.clock.now())
    await room.rest()
    texts = [str(m["text"]) for m in await room.thread(BOTH)]
    assert any("Contact of Alderbeck writes: is it heavy?" in text for text in texts)
    await room.say("U0101", BOTH, "thank you")
    await room.press("U0101", BOTH, "yes")
    await room.rest()
    await page.look()
    assert "Contact of Alderbeck wrote: thank you" in page.text
    assert "Contact of Alderbeck pressed: Yes, that is fine" in page.text
    await room.say("U0002", BOTH, "I am Ines, and I am here too")
    await room.rest()
    await page.look()
    assert "Ines Calloway wrote: I am Ines, and I am here too" in page.text
    assert (await room.visit(BOTH)).state == "agreed"


# --- photos -------------------------------------------------------------------------------


async def test_a_photo_is_kept_and_the_team_has_a_link(room: PageRoom) -> None:
    page = await room.opened()
    fields = {**page._fields('data-answer="1"'), "photo": io.BytesIO(PNG)}
    headers = {"Cookie": page.cookie}
    status, _, _ = await room.get(room.path(), "POST", data=fields, headers=headers)
    assert status == 303
    await room.rest()
    await page.look()
    assert "You sent a photo." in page.text
    assert not any("writes" in text for text in await room.mirror())
    found = re.search(r"http://127\.0\.0\.1(/v/photo/[\w~]+)", "\n".join(await room.mirror()))
    assert found is not None
    url = f"http://127.0.0.1:{room.bot.port}{found[1]}"
    async with room.session.get(url) as answer:
        assert (answer.status, answer.content_type) == (200, "image/png")
        assert await answer.read() == PNG
        assert "sandbox" in answer.headers["Content-Security-Policy"]
    assert (await room.get(found[1][:-1] + "!"))[0] == 404


@pytest.mark.parametrize(
    ("photo", "status", "says"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", 415, "only take a photo"),
        (b"\xff\xd8\xff" + b"0" * 6 * 1024 * 1024, 413, "too big"),
    ],
)
async def test_what_is_no_photo_is_refused(
    room: PageRoom, photo: bytes, status: int, says: str
) -> None:
    page, before = await room.opened(), await room.version()
    fields = {**page._fields('data-answer="1"'), "photo": io.BytesIO(photo)}
    found, text, _ = await room.get(
        room.path(), "POST", data=fields, headers={"Cookie": page.cookie}
    )
    assert found == status
    assert says in text
    assert await room.version() == before


async def test_one_link_cannot_fill_the_store_with_photos(room: PageRoom) -> None:
    page = await room.opened()
    visit = await room.visit(ALONE)
    taken = {f"photo_{number}": str(number) for number in range(PHOTOS)}
    await room.bot.store.person_put(visit.contact.key, taken)
    before = await room.version()
    fields = {**page._fields('data-answer="1"'), "photo": io.BytesIO(PNG)}
    headers = {"Cookie": page.cookie}
    status, text, _ = await room.get(room.path(), "POST", data=fields, headers=headers)
    assert status == 413
    assert "enough photos" in text
    assert await room.version() == before


# --- danger -------------------------------------------------------------------------------


async def test_danger_is_answered_before_the_store_is_asked(own_store: OwnStore) -> None:
    async with open_pages(own_store.url) as room:
        page = await room.opened()
        await own_store.kill()
        await page.says("there is smoke", room.clock.now())
        assert page.status == 200
        assert "STOP. Step away now" in page.text
        assert "send it once more" in page.text
        assert 'data-kept="no"' in page.html
        told = [str(m["text"]) for m in room.server.messages("CTEAM01")]
        assert any("there is smoke" in text for text in told)
        await own_store.start()
        again = page._fields("Send it again")
        for _ in range(2):
            await page._post(again)
        await room.rest()
        assert (await room.visit(ALONE)).stopped_at is not None
        assert len([fact for fact in await room.heard(ALONE) if fact.startswith("page:")]) == 1


async def test_danger_counts_though_its_photo_cannot_be_kept(
    room: PageRoom, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def refuse(*_: object) -> bool:
        raise StoreRefused("the photo is too large for this store")

    monkeypatch.setattr(photos, "keep", refuse)
    page = await room.opened()
    fields = {
        **page._fields('data-answer="1"'),
        "words": "smoke comes out",
        "photo": io.BytesIO(PNG),
    }
    _, text, _ = await room.get(room.path(), "POST", data=fields)
    assert "STOP. Step away now" in text
    assert (await room.visit(ALONE)).stopped_at is not None


async def test_danger_in_another_language_is_answered_in_both(room: PageRoom) -> None:
    page = await room.opened()
    await page.says("es brennt, Rauch!", room.clock.now())
    assert "STOP. Step away now" in page.text
    assert "STOPP. Gehen Sie jetzt weg" in page.text


async def test_danger_counts_though_the_link_has_ended(room: PageRoom) -> None:
    page = await room.opened()
    root = (await room.bot.store.thread_info("w:hollowmere-1", f"site:{ALONE}")).root
    await room.server.mention(ADMIN, room.channel, "revoke page", thread_ts=root)
    await room.rest()
    await page.says("it burns", room.clock.now())
    assert "STOP. Step away now" in page.text
    assert (await room.visit(ALONE)).stopped_at is not None


async def test_other_words_come_again_when_the_store_was_away(own_store: OwnStore) -> None:
    async with open_pages(own_store.url) as room:
        page = await room.opened()
        await own_store.kill()
        await page.says("yes", room.clock.now())
        assert page.status == 503
        assert "I cannot be reached right now" in page.text
        await own_store.start()
        await page._post(page._fields("Send it again"))
        await room.rest()
        assert (await room.visit(ALONE)).state == "agreed"


# --- safe by default ----------------------------------------------------------------------


async def test_every_page_is_closed_to_others(room: PageRoom) -> None:
    page = await room.opened()
    for path in (room.path(), "/v/nothing"):
        _, text, headers = await room.get(path, headers={"Cookie": page.cookie})
        assert headers["Cache-Control"] == "no-store"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert "noindex" in headers["X-Robots-Tag"]
        csp = headers["Content-Security-Policy"]
        assert csp.startswith("default-src 'none'")
        assert "unsafe" not in csp
        for tag in re.findall(r"<(?:style|script)>(.*?)</(?:style|script)>", text, re.DOTALL):
            digest = base64.b64encode(hashlib.sha256(tag.encode()).digest()).decode()
            assert f"'sha256-{digest}'" in csp
        assert not re.search(r' on\w+="| style="|https?://', text)


async def test_who_asks_too_often_waits(room: PageRoom) -> None:
    statuses = [(await room.get(room.path()))[0] for _ in range(40)]
    assert statuses[0] == 200
    assert statuses[-1] == 429
    assert (await room.get(room.path(BOTH)))[0] == 200
    room.patience += 60
    assert (await room.get(room.path()))[0] == 200


async def test_danger_is_heard_however_often_somebody_has_answered(room: PageRoom) -> None:
    page = await room.opened()
    status, text = 0, ""
    for number in range(25):
        fields = {**page._fields('data-answer="1"'), "words": "hello", "id": f"{number + 100:032x}"}
        status, text, _ = await room.get(room.path(), "POST", data=fields)
    assert status == 429
    assert "That was very fast" in text
    await page.says("I see smoke", room.clock.now())
    assert "STOP. Step away now" in page.text
    assert (await room.visit(ALONE)).stopped_at is not None


async def test_guessing_links_is_slow(room: PageRoom) -> None:
    statuses = [(await room.get(f"/v/guess{n}"))[0] for n in range(15)]
    assert statuses[0] == 404
    assert statuses[-1] == 429


async def test_a_page_speaks_the_language_of_its_contact(store_url: str) -> None:
    async with open_pages(store_url, "de") as room:
        page = await room.opened()
        assert '<html lang="de">' in page.html
        assert "Schreiben Sie uns" in page.text
        assert "Auf Ihrem Blatt muss der Code" in page.text
        assert "Donnerstag, 12. März" in page.text


async def test_no_log_line_holds_a_link(room: PageRoom, caplog: pytest.LogCaptureFixture) -> None:
    for _ in range(40):
        await room.get(room.path())
    await room.get("/v/nothing")
    assert room.path() not in caplog.text
    assert "429 to /v/..." in caplog.text
