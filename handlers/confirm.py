"""The page behind a link in a mail or webhook of the team: one button, and only that counts.

Opening the link changes nothing, by whatever method: mail scanners open links, and some follow
what they find. The press is a form that the page itself brings, works without scripts, and has
one meaning: one message, one button, one person, one way. Sent again it is the same fact.
Sources: RFC 9110, section 9.2.1 (GET and HEAD are safe); RFC 9111 (no-store).
"""

import base64
import hashlib
import html
import logging
from urllib.parse import parse_qs

from aiohttp import web

from bot.desk import Desk
from bot.model.calls.state import Call, find
from bot.model.fact import Pressed
from bot.model.visit.state import Visit
from bot.model.wave.state import Wave
from bot.press_links import PATH, Press, PressLinks
from bot.speak.catalogue import REFERENCE, Catalogue
from bot.store.errors import StoreError
from handlers.clock import Now

_log = logging.getLogger("musterline.confirm")
_FORM = "seen"
_LONGEST_BODY = 2_000
_STYLE = (
    "body{font:1.25rem/1.5 sans-serif;margin:2rem auto;max-width:34rem;padding:0 1rem;"
    "color:#111;background:#fff}button{font:inherit;padding:.8rem 1.4rem;min-height:3rem;"
    "color:#fff;background:#144a7c;border:2px solid #144a7c;border-radius:.3rem}"
    "button:focus-visible{outline:3px solid #111;outline-offset:3px}"
)
_STYLE_HASH = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
_HEADERS = {
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Robots-Tag": "noindex, nofollow",
    "Content-Security-Policy": (
        f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; form-action 'self'; "
        "frame-ancestors 'none'; base-uri 'none'"
    ),
}


class Confirm:
    """``links`` reads what a link stands for."""

    def __init__(self, desk: Desk, catalogue: Catalogue, links: PressLinks, now: Now) -> None:
        self._desk, self._links, self._now = desk, links, now
        self._texts = catalogue.best(REFERENCE)

    def routes(self) -> list[web.RouteDef]:
        return [web.get(f"{PATH}{{token}}", self.show), web.post(f"{PATH}{{token}}", self.press)]

    def _opened(self, token: str) -> Press | web.Response:
        """What the link stands for, or the page that says why it stands for nothing."""
        press = self._links.read(token)
        if press is None:
            return self._page(404, "press_page_unknown")
        if self._now() >= press.until:
            return self._page(410, "press_page_old")
        return press

    # --- looking ---------------------------------------------------------------------------

    async def show(self, request: web.Request) -> web.Response:
        """What the button will do. Changes nothing."""
        token = request.match_info["token"]
        press = self._opened(token)
        if isinstance(press, web.Response):
            return press
        try:
            return await self._asked(token, press)
        except StoreError as error:
            _log.warning("the page of %s cannot be shown: %s", press.message, error)
            return self._page(503, "press_page_again")

    async def _asked(self, token: str, press: Press) -> web.Response:
        who = self._desk.surroundings.roster.find(press.user)
        name = who.name if who is not None else press.user
        if press.action.startswith("r:"):
            way = press.way.removeprefix("webhook:")
            text = self._texts.say("press_page_way", {"who": name, "way": way})
            return self._page(200, text=text, form=(token, "b_way_works"))
        state = await self._desk.state(press.subject)
        call = _call(state, press.action)
        if call is None or not call.open:
            return self._page(200, "press_page_stale")
        text = self._texts.say("press_page_call", self._card(state, call, name))
        return self._page(200, text=text, form=(token, "b_take"))

    def _card(self, state: Visit | Wave, call: Call, who: str) -> dict[str, str]:
        say = self._texts.say
        taken = self._desk.surroundings.roster.find(call.taken_by)
        has_it = taken.name if taken is not None else call.taken_by
        return {
            "who": who,
            "site": state.site.name if isinstance(state, Visit) else state.name,
            "severity": say(f"severity_{call.severity}", {}),
            "cause": say(f"cause_{call.cause}", {}),
            "taken": has_it or say("nobody", {}),
        }

    # --- pressing --------------------------------------------------------------------------

    async def press(self, request: web.Request) -> web.Response:
        """The button of our own page was pressed."""
        token = request.match_info["token"]
        press = self._opened(token)
        if isinstance(press, web.Response):
            return press
        if not self._links.known_form(token, await _given(request)):
            return self._page(400, "press_page_not_pressed")
        try:
            answer = await self._pressed(token, press)
        except StoreError as error:
            _log.warning("a press for %s could not be taken in: %s", press.message, error)
            return self._page(503, "press_page_again")
        _log.info(
            "%s pressed %s of %s by %s: %s",
            press.user,
            press.action,
            press.message,
            press.way,
            answer,
        )
        return self._page(200, self._said(press, answer))

    async def _pressed(self, token: str, press: Press) -> str:
        """The same link is the same press, however often it is sent."""
        name = hashlib.sha256(token.encode()).hexdigest()[:32]
        outcome = await self._desk.receive(
            Pressed(
                id=f"press:link:{name}",
                subject=press.subject,
                received_at=self._now(),
                actor=self._desk.surroundings.roster.actor(press.user),
                action=press.action,
                stamp=f"link:{press.way}",
            )
        )
        return outcome.answer

    def _said(self, press: Press, answer: str) -> str:
        done = "way" if press.action.startswith("r:") else "call"
        known = {
            "ok": f"press_page_{done}_ok",
            "repeat": f"press_page_{done}_ok",
            "taken": "press_taken",
            "not_yours": "press_page_not_yours",
        }
        return known.get(answer, "press_page_stale")

    # --- the page --------------------------------------------------------------------------

    def _page(
        self, status: int, key: str = "", *, text: str = "", form: tuple[str, str] | None = None
    ) -> web.Response:
        title = self._texts.say("press_page_title", {})
        said = text or self._texts.say(key, {})
        lines = "".join(f"<p>{html.escape(line)}</p>" for line in said.splitlines() if line)
        button = self._form(*form) if form is not None else ""
        page = (
            f'<!doctype html><html lang="{REFERENCE}"><head><meta charset="utf-8">'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">'
            f"<title>{html.escape(title)}</title><style>{_STYLE}</style></head>"
            f"<body><main><h1>{html.escape(title)}</h1>{lines}{button}</main></body></html>"
        )
        return web.Response(
            status=status, text=page, content_type="text/html", charset="utf-8", headers=_HEADERS
        )

    def _form(self, token: str, label: str) -> str:
        seen = html.escape(self._links.form_token(token), quote=True)
        said = html.escape(self._texts.say(label, {}))
        return (
            f'<form method="post"><input type="hidden" name="{_FORM}" value="{seen}">'
            f'<button type="submit">{said}</button></form>'
        )


def _call(state: object, action: str) -> Call | None:
    if not isinstance(state, Visit | Wave):
        return None
    return find(state.calls, action.split(":")[1])


async def _given(request: web.Request) -> str:
    """What the form brought; empty for whatever is no form of ours."""
    body = await request.content.read(_LONGEST_BODY + 1)
    if request.content_type != "application/x-www-form-urlencoded" or len(body) > _LONGEST_BODY:
        return ""
    return parse_qs(body.decode("ascii", "replace")).get(_FORM, [""])[0]
