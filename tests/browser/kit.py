"""What the tests of the page look at in the browser: rules of accessibility, bytes, sizes."""

import os
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from playwright.async_api import Browser, BrowserContext, Page

from tests.handlers.page_kit import ALONE, PageRoom

#: The rules of WCAG 2.2, levels A and AA, as axe-core (https://github.com/dequelabs/axe-core,
#: in the library axe-playwright-python) names them: https://www.w3.org/TR/WCAG22/
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
NARROW, WIDE = 320, 1280
#: Where pictures of the pages go; none are made when it is not set.
PICTURES = os.environ.get("PICTURES", "")
_GATE_YES = "button[value=same]"


@dataclass
class Surf:
    """One browser with one tab. ``received``: bytes over the wire, headers and all."""

    context: BrowserContext
    tab: Page
    room: PageRoom
    received: float = 0
    requests: list[str] = field(default_factory=list)

    def count(self, size: float) -> None:
        self.received += size

    def url(self, site: str = ALONE, generation: int = 0) -> str:
        return f"http://127.0.0.1:{self.room.bot.port}{self.room.path(site, generation)}"

    async def opens(self, site: str = ALONE) -> None:
        """The link, and past the gate."""
        await self.tab.goto(self.url(site))
        await self.tab.click(_GATE_YES)
        await self.tab.wait_for_selector("#now")

    async def text(self) -> str:
        return " ".join((await self.tab.inner_text("body")).split())

    async def presses(self, label: str) -> None:
        await self.tab.click(f"#now button:text-is('{label}')")

    async def looks(self) -> None:
        """As the script does every eight seconds."""
        await self.tab.evaluate("document.dispatchEvent(new Event('visibilitychange'))")

    async def picture(self, name: str) -> None:
        if PICTURES:
            await self.tab.screenshot(path=str(Path(PICTURES) / f"{name}.png"), full_page=True)


@asynccontextmanager
async def surfing(browser: Browser, room: PageRoom, **more: Any) -> AsyncIterator[Surf]:
    given = {"viewport": {"width": NARROW, "height": 640}, "locale": "en-GB"} | more
    context = await browser.new_context(**given)
    tab = await context.new_page()
    surf = Surf(context, tab, room)
    wire = await context.new_cdp_session(tab)
    await wire.send("Network.enable")
    wire.on("Network.loadingFinished", _counted(surf))
    heads: dict[str, float] = {}  # a reply that nothing new is there has a head alone
    wire.on("Network.responseReceived", lambda e: heads.update({e["requestId"]: _head(e)}))
    wire.on("Network.loadingFailed", lambda e: surf.count(heads.get(e["requestId"], 0)))
    tab.on("request", lambda request: surf.requests.append(request.url))
    try:
        yield surf
    finally:
        await context.close()


def _head(event: Any) -> float:
    size: float = event["response"]["encodedDataLength"]
    return size


def _counted(surf: Surf) -> Callable[[Any], None]:
    def count(event: Any) -> None:
        surf.count(event["encodedDataLength"])

    return count


async def violations(tab: Page) -> list[str]:
    """Which rules the page breaks, and where; empty when none."""
    source = resources.files("axe_playwright_python").joinpath("axe.min.js")
    await tab.evaluate(source.read_text(encoding="utf-8"))
    found = await tab.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES
    )
    assert found["passes"], "no rule was tried"
    return [
        f"{rule['id']}: {node['target']} {node['failureSummary']}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]


async def violations_without_scripts(surf: Surf) -> list[str]:
    """The same for a tab in which no script runs: what it shows is laid before one where they do.

    What stands there for browsers without scripts alone is then shown too.
    """
    html = re.sub(r"<script>.*?</script>", "", await surf.tab.content(), flags=re.DOTALL)
    shown = html.replace("<noscript>", "<div>").replace("</noscript>", "</div>")
    browser = surf.context.browser
    assert browser is not None
    scheme = await surf.tab.evaluate("matchMedia('(prefers-color-scheme:dark)').matches")
    other = await browser.new_page(
        viewport=surf.tab.viewport_size, color_scheme="dark" if scheme else "light"
    )
    try:
        await other.set_content(shown)
        return await violations(other)
    finally:
        await other.close()


async def too_wide(tab: Page) -> int:
    """By how many pixels the page is wider than its window."""
    wide: int = await tab.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    return wide


async def small_targets(tab: Page) -> list[str]:
    """What can be pressed and is smaller than 44 pixels (WCAG 2.2, 2.5.5; AA asks for 24)."""
    found: list[str] = await tab.evaluate(
        """() => [...document.querySelectorAll('button, a, input:not([type=hidden]), textarea')]
        .filter(e => { const r = e.getBoundingClientRect(); return r.height < 44 || r.width < 44 })
        .map(e => e.outerHTML)"""
    )
    return found
