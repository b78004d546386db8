"""The contact's page in a real browser, by the rules of WCAG 2.2 AA; and how much it weighs."""

from playwright.async_api import Browser

from bot.model.fact import Actor, Said
from bot.model.people import page_user
from bot.model.subject import of_visit
from tests.browser.kit import (
    NARROW,
    WIDE,
    Surf,
    small_targets,
    surfing,
    too_wide,
    violations,
    violations_without_scripts,
)
from tests.handlers.kit import ADMIN, WAVE
from tests.handlers.page_kit import ALONE, PageRoom

#: Bytes of a whole evening's first page, gate and all that is fetched with it.
MOST = 100_000


async def right(surf: Surf, name: str, *, plain: bool = False) -> None:
    """Narrow and wide, light and dark."""
    for width in (NARROW, WIDE):
        await surf.tab.set_viewport_size({"width": width, "height": 640})
        assert await too_wide(surf.tab) == 0
        assert await small_targets(surf.tab) == []
        for scheme in ("light", "dark"):
            if scheme == "light":
                await surf.tab.emulate_media(color_scheme="light")
            else:
                await surf.tab.emulate_media(color_scheme="dark")
            await surf.picture(f"{name}-{scheme}-{width}")
            found = await (violations_without_scripts(surf) if plain else violations(surf.tab))
            assert found == []


async def test_the_rules_are_really_tried(browser: Browser, room: PageRoom) -> None:
    async with surfing(browser, room) as surf:
        await surf.tab.set_content(
            "<html><body><img src='x'><input style='width:400px'><a href='#' "
            "style='color:#ccc;background:#fff'>a</a><p style='color:#ccc;background:#fff'>"
            "pale words</p></body></html>"
        )
        found = " ".join(await violations(surf.tab))
        for rule in ("image-alt", "color-contrast", "html-has-lang", "label"):
            assert rule in found
        assert await too_wide(surf.tab) > 0
        assert await small_targets(surf.tab)


async def test_every_page_holds_the_rules(browser: Browser, room: PageRoom) -> None:
    async with surfing(browser, room) as surf:
        await surf.tab.goto(surf.url())
        await right(surf, "gate")
        await surf.tab.click("button[value=same]")
        await surf.tab.wait_for_selector("#now button")
        await right(surf, "question")
        await surf.presses("Yes, that is fine")
        await surf.tab.wait_for_selector("text=Thank you.")
        await right(surf, "answered")
        await surf.tab.fill("textarea", "there is smoke")
        await surf.tab.click("button:text-is('Send')")
        await surf.tab.wait_for_selector("#stop:visible")
        await surf.tab.wait_for_selector("#note[hidden], #note:has-text('with us')")
        await right(surf, "danger")
        await room.rest()
        root = (await room.bot.store.thread_info(f"w:{WAVE}", f"site:{ALONE}")).root
        await room.server.mention(ADMIN, room.channel, "revoke page", thread_ts=root)
        await surf.tab.goto(surf.url())
        assert "has been closed" in await surf.text()
        await right(surf, "closed")


async def test_in_german_as_well(browser: Browser, german: PageRoom) -> None:
    async with surfing(browser, german, locale="de-DE") as surf:
        await surf.tab.goto(surf.url())
        await right(surf, "gate-de")
        await surf.tab.click("button[value=same]")
        await surf.tab.wait_for_selector("#now button")
        await right(surf, "question-de")


async def test_without_scripts_all_of_it_works(browser: Browser, room: PageRoom) -> None:
    async with surfing(browser, room, java_script_enabled=False) as surf:
        await surf.opens()
        await right(surf, "question-plain", plain=True)
        await surf.presses("Yes, that is fine")
        await surf.tab.wait_for_load_state()
        assert "You pressed: Yes, that is fine" in await surf.text()
        assert (await room.visit(ALONE)).state == "agreed"
        await room.pass_time(32)
        await surf.tab.click("a:text-is('Look for news')")
        await surf.tab.wait_for_selector("#now button")
        assert "we can start" in await surf.text()
        await surf.tab.fill("textarea", "yes, I am here")
        await surf.tab.click("button:text-is('Send')")
        await surf.tab.wait_for_load_state()
        assert "You wrote: yes, I am here" in await surf.text()
        assert (await room.visit(ALONE)).state == "running"
        await surf.tab.fill("textarea", "it smells of burning")
        await surf.tab.click("button:text-is('Send')")
        await surf.tab.wait_for_load_state()
        assert "STOP. Step away now" in await surf.text()
        await right(surf, "danger-plain", plain=True)


async def test_it_weighs_little(browser: Browser, room: PageRoom) -> None:
    async with surfing(browser, room) as surf:
        await surf.opens()
        for number in range(40):
            await room.bot.desk.receive(_line(room, number))
        await surf.tab.reload()
        await surf.tab.wait_for_selector("#earlier li")
        once = surf.received
        assert 0 < once < MOST
        assert all(url.startswith("http://127.0.0.1") for url in surf.requests)
        before = surf.received
        await surf.looks()
        while surf.received == before:  # the wire's own account comes a moment later
            await surf.tab.wait_for_timeout(20)
        print(f"opened and read twice: {once:.0f} bytes; one look: {surf.received - before:.0f}")
        assert surf.received - before < 1500  # nothing new: hardly more than a question and a no


def _line(room: PageRoom, number: int) -> Said:
    return Said(
        id=f"page:many:{number}",
        subject=of_visit(WAVE, ALONE),
        received_at=room.clock.now(),
        actor=Actor(page_user(ALONE)),
        words=f"hello, this is line {number} of many that were written on this page",
    )
