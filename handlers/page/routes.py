"""The routes of the contact's page. Opening it changes nothing; a form with its mark does.

A browser that has said once that the code is right is known again by a cookie; only what that
browser fetches counts as shown. Scanners of mail and previews of links have none, and are shown
the gate: the name of the site, and the code.
"""

import logging
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence

from aiohttp import web

from bot.access import PATH, PHOTO_PATH, Access, Opened
from bot.desk import Desk
from bot.model.subject import Subject, of_visit
from bot.model.visit.state import Visit
from bot.speak.catalogue import REFERENCE, Catalogue
from bot.store.errors import StoreError
from handlers.alarm import Alarm
from handlers.clock import Now
from handlers.page import forms, markup, photos
from handlers.page.answering import Answer, Answering
from handlers.page.forms import BadForm, Form
from handlers.page.limits import FORM, Limits
from handlers.page.markup import Frame
from handlers.page.view import View, look
from handlers.safety import Safety

_log = logging.getLogger("musterline.page")
_COOKIE = "seen"
_COOKIE_SECONDS = 14 * 24 * 3600
_REMEMBERED = 2000
_SHORT = 64 * 1024  # bytes of a form that is looked through for danger however many came before
_HOUR = 3_600_000
#: What a page may say on top, by what stands in its address; nothing else is taken from there.
_NOTES = {"stale": "press_stale", "old": "page_old"}
_HEADERS = {
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=()",
}


class _Closed(Exception):
    """The link opens nothing (any more); ``key`` is the text that says why."""

    def __init__(self, key: str, visit: Visit | None = None, status: int = 410) -> None:
        super().__init__(key)
        self.key, self.visit, self.status = key, visit, status


class PageIn:
    """All pages. ``after``: for how many hours a page still opens when its visit is over."""

    def __init__(
        self,
        desk: Desk,
        access: Access,
        catalogue: Catalogue,
        safety: Safety,
        alarm: Alarm,
        now: Now,
        *,
        after: float,
        secure: bool,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._desk, self._access, self._catalogue, self._now = desk, access, catalogue, now
        self._answering = Answering(desk, safety, alarm, now)
        self._after, self._secure = round(after * _HOUR), secure
        self._limits = Limits(clock)
        #: Visits as they were last read: in danger they are known with the store away.
        self._known: OrderedDict[Subject, Visit] = OrderedDict()

    def routes(self) -> list[web.RouteDef]:
        return [
            web.get(PHOTO_PATH + "{name}", self.photo),
            web.get(PATH + "{token}", self.get),
            web.post(PATH + "{token}", self.post),
        ]

    # --- looking ---------------------------------------------------------------------------

    async def get(self, request: web.Request) -> web.StreamResponse:
        token = request.match_info["token"]
        opened = self._access.read(token)
        if opened is None or not self._limits.read(token, request.remote or ""):
            return self._turned_away(request, opened)
        try:
            visit = await self._visit(opened)
            frame = self._frame(token, visit)
            if not self._is_known(request, token):
                return _html(markup.gate(frame))
            view = await look(self._desk.store, visit)
            if request.method == "GET":
                await self._answering.shown(view)
            return await self._shown(request, frame, view)
        except _Closed as closed:
            return self._closed(closed)
        except StoreError as error:
            _log.warning("a page cannot be shown: %s", error)
            return _html(markup.notice(self._bare(), "page_away", again=True), 503)

    async def _shown(self, request: web.Request, frame: Frame, view: View) -> web.Response:
        etag = f'"{view.mark}"'
        if request.headers.get("If-None-Match") == etag:
            return web.Response(status=304, headers={**_HEADERS, "ETag": etag})
        note = _NOTES.get(request.query.get("n", ""), "")
        person = self._desk.store.person_get
        text = await markup.conversation(frame, view, self._catalogue, person, note)
        return _html(text, more={"ETag": etag})

    async def photo(self, request: web.Request) -> web.StreamResponse:
        """A photo, for the team: the address is known from the copy of the conversation alone."""
        key = self._access.read_photo(request.match_info["name"])
        if key is None or not self._limits.read("photos", request.remote or ""):
            return self._turned_away(request, None)
        found = await photos.load(self._desk.store, key)
        if found is None:
            return _html(markup.notice(self._bare(), "page_unknown"), 404)
        alone = {"Content-Security-Policy": "default-src 'none'; sandbox"}
        return web.Response(body=found[1], content_type=found[0], headers={**_HEADERS, **alone})

    # --- answering -------------------------------------------------------------------------

    async def post(self, request: web.Request) -> web.StreamResponse:
        token = request.match_info["token"]
        opened = self._access.read(token)
        often = opened is not None and not self._limits.answer(token, request.remote or "")
        if opened is None or (often and (request.content_length or FORM) > _SHORT):
            return self._turned_away(request, opened)
        subject = of_visit(opened.wave, opened.site)
        frame = self._frame(token, self._known.get(subject), opened)
        form = Form()
        try:
            form = await forms.read(request)
            if not self._access.known_form(token, "page", form.fields.get("form", "")):
                return _html(markup.notice(frame, "page_old", again=True), 403)
            if "gate" in form.fields:
                return self._gate(token, await self._visit(opened), form)
            return await self._answered(request, token, opened, form, often=often)
        except _Closed as closed:
            return self._closed(closed)
        except BadForm as bad:
            return _html(markup.notice(frame, bad.key, again=True), bad.status)
        except StoreError as error:
            _log.warning("an answer on a page cannot be taken now: %s", error)
            return _html(self._once_more(frame, form), 503)

    def _gate(self, token: str, visit: Visit, form: Form) -> web.Response:
        if form.fields["gate"] != "same":
            return _html(markup.notice(self._frame(token, visit), "page_not_ours"))
        return self._back(token)

    async def _answered(
        self, request: web.Request, token: str, opened: Opened, form: Form, *, often: bool
    ) -> web.StreamResponse:
        """``often``: there were too many, so that only danger is heard."""
        subject = of_visit(opened.wave, opened.site)
        answer = self._answering.understood(subject, self._known.get(subject), form)
        languages = await self._answering.danger(answer)
        if languages is not None:  # of whatever link, and before anything is read
            return await self._stop(request, token, opened, answer, form, languages)
        if often:
            return self._turned_away(request, opened)
        visit = await self._visit(opened)
        answer = self._answering.understood(subject, visit, form)
        view = await look(self._desk.store, visit) if answer.action else None
        outcome = await self._answering.bring(answer, view)
        return self._back(token, "stale" if outcome == "stale" else "")

    async def _stop(
        self,
        request: web.Request,
        token: str,
        opened: Opened,
        answer: Answer,
        form: Form,
        languages: Sequence[str],
    ) -> web.StreamResponse:
        """The fixed answer goes out at once, in the page's language and those of the words; what
        becomes of it follows in the same page."""
        frame = self._frame(token, self._known.get(answer.subject), opened)
        stop = (frame.texts, *(self._catalogue.best(lang) for lang in languages))
        response = web.StreamResponse(headers=_headers({"X-Page": "stop"}))
        response.content_type, response.charset = "text/html", "utf-8"
        gone = False
        try:
            await response.prepare(request)
            await response.write(markup.top(frame, notes=True, stop=stop).encode())
        except ConnectionError:  # the signal is lost: what they said counts all the same
            gone = True
        rest = await self._stopped(token, opened, answer, form)
        if not gone:
            try:
                await response.write((rest + markup.bottom(notes=True)).encode())
                await response.write_eof()
            except ConnectionError:
                _log.info("the page of %s was left before it was whole", answer.subject)
        return response

    async def _stopped(self, token: str, opened: Opened, answer: Answer, form: Form) -> str:
        """The rest of the page; where nothing could be noted down, the way to send it again."""
        frame = self._frame(token, self._known.get(answer.subject), opened)
        attributes = f' data-form="{frame.form}" data-mark="" data-kept='
        try:
            visit = await self._visit(opened, closed_too=True)
            known = self._answering.understood(answer.subject, visit, form)
            await self._answering.bring(known)
            view = await look(self._desk.store, visit)
            person = self._desk.store.person_get
            frame = self._frame(token, visit)
            inside = await markup.inside(frame, view, self._catalogue, person, stop=True)
            return f'<main{attributes}"yes">{inside}</main>'
        except StoreError as error:
            _log.error("danger on the page of %s cannot be written: %s", answer.subject, error)
            await self._answering.tell_team(answer)
            again = markup.send_again(frame, {**form.fields})
            return f'<main{attributes}"no">{again}</main>'
        except _Closed:
            await self._answering.tell_team(answer)
            return f'<main{attributes}"yes"></main>'

    def _once_more(self, frame: Frame, form: Form) -> str:
        """The store is away: the same form again, under the same id."""
        if not form.fields or form.photo:
            return markup.notice(frame, "page_away", again=True)
        inside = f'<p class="card">{frame.say("page_away")}</p>'
        return markup.page(frame, inside + markup.send_again(frame, form.fields))

    # --- whose it is -----------------------------------------------------------------------

    async def _visit(self, opened: Opened, *, closed_too: bool = False) -> Visit:
        """The visit that a link is of. Raises ``_Closed`` or ``StoreError``."""
        subject = of_visit(opened.wave, opened.site)
        visit = await self._desk.state(subject)
        if not isinstance(visit, Visit):
            raise _Closed("page_unknown", status=404)
        self._known[subject] = visit
        self._known.move_to_end(subject)
        while len(self._known) > _REMEMBERED:
            self._known.popitem(last=False)
        if closed_too:
            return visit
        if visit.page.generation != opened.generation:
            raise _Closed("page_revoked", visit)
        if not visit.live and self._now() > ends(visit) + self._after:
            raise _Closed("page_over", visit)
        return visit

    def _is_known(self, request: web.Request, token: str) -> bool:
        return self._access.known_form(token, "seen", request.cookies.get(_COOKIE, ""))

    def _frame(self, token: str, visit: Visit | None, opened: Opened | None = None) -> Frame:
        form = self._access.form_token(token, "page")
        if visit is None:
            code = self._access.proof(opened.wave, opened.site) if opened else ""
            return Frame(self._catalogue.best(REFERENCE), "", code, form=form)
        texts = self._catalogue.best(visit.lang_of(visit.contact))
        tz = visit.site.tz
        start = texts.say("page_when", {"start": str(visit.start)}, tz)
        code = self._access.proof(visit.wave, visit.id)
        return Frame(texts, visit.site.name, code, start, form, tz)

    def _bare(self) -> Frame:
        """A page that is nobody's: it says nothing of any visit."""
        return Frame(self._catalogue.best(REFERENCE), "", "")

    def _closed(self, closed: _Closed) -> web.Response:
        """Kindly, in their language, and with nothing of the visit."""
        frame = self._bare()
        if closed.visit is not None:
            visit = closed.visit
            frame = Frame(self._catalogue.best(visit.lang_of(visit.contact)), "", "")
        return _html(markup.notice(frame, closed.key), closed.status)

    def _turned_away(self, request: web.Request, opened: Opened | None) -> web.Response:
        if opened is None and self._limits.stranger(request.remote or ""):
            return _html(markup.notice(self._bare(), "page_unknown"), 404)
        page = markup.notice(self._bare(), "page_fast", again=True)
        return _html(page, 429, more={"Retry-After": "60"})

    def _back(self, token: str, note: str = "") -> web.Response:
        """To the page, by the address it has; and the browser is known from now on."""
        where = f"{PATH}{token}" + (f"?n={note}" if note else "")
        response = web.Response(status=303, headers={**_HEADERS, "Location": where})
        response.set_cookie(
            _COOKIE,
            self._access.form_token(token, "seen"),
            max_age=_COOKIE_SECONDS,
            path=f"{PATH}{token}",
            secure=self._secure,
            httponly=True,
            samesite="Lax",
        )
        return response


def ends(visit: Visit) -> int:
    """When a visit that is over was to end, by its plan and what was agreed: wave time, ms."""
    return max(visit.start, visit.end or 0, visit.agreed_end or 0)


def _headers(more: Mapping[str, str] | None = None) -> dict[str, str]:
    return {**_HEADERS, "Content-Security-Policy": markup.policy(), **(more or {})}


def _html(text: str, status: int = 200, more: Mapping[str, str] | None = None) -> web.Response:
    return web.Response(text=text, content_type="text/html", status=status, headers=_headers(more))
