"""The page in a real browser without a signal: an answer is kept on the phone, and counts once."""

import base64
import re

from playwright.async_api import Browser, Route

from tests.browser.kit import Surf, surfing
from tests.handlers.kit import OwnStore
from tests.handlers.page_kit import ALONE, PageRoom, open_pages


async def answers(room: PageRoom) -> int:
    """How often the visit heard something by the page."""
    return len([fact for fact in await room.heard(ALONE) if fact.startswith("page:")])


async def settled(surf: Surf) -> None:
    """Nothing is kept on the phone any more."""
    kept = ""
    for _ in range(200):
        kept = await surf.tab.evaluate("localStorage.getItem('kept ' + location.pathname)")
        if kept == "[]":
            return
        await surf.tab.wait_for_timeout(50)
    raise AssertionError(f"still kept: {kept}")


async def test_an_answer_without_a_signal_is_kept_and_sent_once(
    browser: Browser, room: PageRoom
) -> None:
    async with surfing(browser, room) as surf:
        await surf.opens()
        await surf.context.set_offline(True)
        await surf.presses("Yes, that is fine")
        await surf.tab.wait_for_selector("#note:has-text('There is no signal')")
        assert await answers(room) == 0
        room.clock.move(room.clock.now() + 5 * 60_000)
        await surf.context.set_offline(False)
        await surf.tab.wait_for_selector("#note:has-text('Your answer is with us now')")
        await settled(surf)
        await room.rest()
        assert await answers(room) == 1
        assert (await room.visit(ALONE)).state == "agreed"


async def test_it_is_kept_though_the_page_is_left(browser: Browser, room: PageRoom) -> None:
    async with surfing(browser, room) as surf:
        await surf.opens()
        await surf.context.set_offline(True)
        await surf.tab.fill("textarea", "yes")
        await surf.tab.click("button:text-is('Send')")
        await surf.tab.wait_for_selector("#note:has-text('There is no signal')")
        await surf.tab.close()
        await surf.context.set_offline(False)
        surf.tab = await surf.context.new_page()
        await surf.tab.goto(surf.url())
        await settled(surf)
        assert await answers(room) == 1
        assert "You wrote: yes" in await surf.text()


async def test_a_lost_reply_makes_no_second_answer(browser: Browser, room: PageRoom) -> None:
    """The answer arrives, the reply to it does not: the phone sends it again."""
    async with surfing(browser, room) as surf:
        await surf.opens()

        async def lose(route: Route) -> None:
            if route.request.method == "POST":
                await route.fetch(max_redirects=0)
                await route.abort()
            else:
                await route.continue_()

        await surf.tab.route("**/v/*", lose)
        await surf.presses("Yes, that is fine")
        await surf.tab.wait_for_selector("#note:has-text('There is no signal')")
        assert await answers(room) == 1
        await surf.tab.unroute("**/v/*")
        await surf.looks()
        await settled(surf)
        assert await answers(room) == 1
        assert (await room.visit(ALONE)).state == "agreed"


async def test_news_come_by_themselves_and_leave_what_is_typed(
    browser: Browser, room: PageRoom
) -> None:
    async with surfing(browser, room) as surf:
        await surf.opens()
        await surf.presses("Yes, that is fine")
        await surf.tab.wait_for_selector("text=Thank you.")
        await surf.tab.fill("textarea", "half a sen")
        await room.pass_time(32)
        await surf.looks()
        await surf.tab.wait_for_selector("#now:has-text('we can start')")
        assert await surf.tab.input_value("textarea") == "half a sen"
        question = (await room.visit(ALONE)).question
        assert question is not None
        assert question.asked_at == room.clock.now()


async def test_the_gate_runs_no_script_and_confirms_nothing(
    browser: Browser, room: PageRoom
) -> None:
    """As a scanner of mail does that runs what it finds."""
    before = await room.version()
    async with surfing(browser, room) as surf:
        await surf.tab.goto(surf.url())
        assert await surf.tab.locator("script").count() == 0
        await surf.tab.reload()
    assert await room.version() == before


async def test_words_of_others_are_words(browser: Browser, room: PageRoom) -> None:
    wrong: list[str] = []
    async with surfing(browser, room) as surf:
        surf.tab.on("dialog", lambda dialog: wrong.append(dialog.message))
        surf.tab.on("pageerror", lambda error: wrong.append(str(error)))
        await surf.opens()
        nasty = "<img src=x onerror=alert(1)><script>alert(2)</script>"
        await surf.tab.fill("textarea", nasty)
        await surf.tab.click("button:text-is('Send')")
        await surf.tab.wait_for_selector("#earlier:has-text('You wrote')")
        await surf.tab.reload()
        assert nasty in await surf.text()
        assert await surf.tab.locator("img").count() == 0
    assert wrong == []


async def test_a_photo_is_made_smaller_and_arrives(browser: Browser, room: PageRoom) -> None:
    async with surfing(browser, room) as surf:
        await surf.opens()
        large = await surf.tab.evaluate(
            """() => { const c = document.createElement('canvas'); c.width = 3000; c.height = 2000;
            const x = c.getContext('2d'); x.fillStyle = 'teal'; x.fillRect(0, 0, 3000, 2000);
            return c.toDataURL('image/png').split(',')[1]; }"""
        )
        photo = {"name": "box.png", "mimeType": "image/png", "buffer": base64.b64decode(large)}
        await surf.tab.set_input_files("input[type=file]", photo)  # type: ignore[arg-type]
        await surf.tab.click("button:text-is('Send')")
        await settled(surf)
        await room.rest()
        found = re.search(r"127\.0\.0\.1(/v/photo/[\w~]+)", "\n".join(await room.mirror()))
        assert found is not None
        await surf.tab.goto(f"http://127.0.0.1:{room.bot.port}{found[1]}")
        size = await surf.tab.evaluate(
            "[document.images[0].naturalWidth, document.images[0].naturalHeight]"
        )
        assert size == [1280, 853]


async def test_danger_is_answered_at_once_and_kept_until_it_counts(
    browser: Browser, own_store: OwnStore
) -> None:
    async with open_pages(own_store.url) as room, surfing(browser, room) as surf:
        await surf.opens()
        await own_store.kill()
        await surf.tab.fill("textarea", "there is smoke")
        await surf.tab.click("button:text-is('Send')")
        await surf.tab.wait_for_selector("#stop:visible")
        await surf.tab.wait_for_selector("#note:has-text('is kept on this phone')")
        await own_store.start()
        await surf.looks()
        await settled(surf)
        assert (await room.visit(ALONE)).stopped_at is not None
        assert await answers(room) == 1
        await surf.looks()
        await surf.tab.wait_for_selector("main .stop")
        assert await surf.tab.locator("#stop").is_hidden()  # it stands in the conversation now
