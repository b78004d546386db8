"""From a form of the page to facts: the same ones that the chat brings, under ids of their own.

Whoever has the link answers as the visit's contact, and as nobody else: no role of the team comes
with it. What the page brings was typed there; its claimed time is ours less how long the phone
kept it, so no clock of a phone decides anything.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass

from msgspec.structs import replace

from bot.desk import Desk
from bot.model.danger import Danger
from bot.model.fact import Actor, Delivered, Pressed, Said
from bot.model.people import BY_PAGE, page_user, person_key
from bot.model.subject import Subject, of_visit
from bot.model.visit.doubt import YES as DANGER_YES
from bot.model.visit.state import Visit
from bot.store.errors import StoreError
from handlers.alarm import Alarm
from handlers.clock import Now
from handlers.page import photos
from handlers.page.forms import BadForm, Form
from handlers.page.limits import WORDS
from handlers.page.view import View
from handlers.routing import Route, concerned
from handlers.safety import Safety
from handlers.written import Written

_log = logging.getLogger("musterline.page")


@dataclass(frozen=True)
class Answer:
    """One thing that a contact did on a page. ``user`` is the visit's contact, ``key`` theirs."""

    subject: Subject
    user: str
    key: str
    id: str
    at: int
    claimed_at: int
    words: str = ""
    photo: bytes = b""
    action: str = ""

    def written(self) -> Written:
        """As the parts that look for danger know words; it lies in no channel."""
        return Written(
            channel=f"{BY_PAGE}{self.subject.site}",
            stamp=self.id,
            thread="",
            user=self.user,
            words=self.words,
            direct=True,
        )


class Answering:
    """Brings in what was pressed, written and photographed."""

    def __init__(self, desk: Desk, safety: Safety, alarm: Alarm, now: Now) -> None:
        self._desk, self._safety, self._alarm, self._now = desk, safety, alarm, now

    def understood(self, subject: Subject, visit: Visit | None, form: Form) -> Answer:
        """What the form is. Raises ``BadForm`` for one that is nothing.

        Without the store and without a visit known from before, danger can still be answered.
        """
        words, action = form.fields.get("words", ""), form.fields.get("action", "")
        words = words.replace("\r\n", "\n").strip()  # as it was typed, and as it is counted there
        if len(words) > WORDS:
            raise BadForm("page_long", 413)
        if form.photo and not photos.kind_of(form.photo):
            raise BadForm("page_no_photo", 415)
        if not (words or action or form.photo):
            raise BadForm("page_empty")
        now = self._now()
        user = visit.contact.user if visit else page_user(subject.site)
        return Answer(
            subject=subject,
            user=user,
            key=visit.contact.key if visit else person_key(user),
            id=f"{BY_PAGE}{subject.wave}:{subject.site}:{form.id}",
            at=now,
            claimed_at=now - form.waited,
            words="" if action else words,
            photo=b"" if action else form.photo,
            action=action,
        )

    async def danger(self, answer: Answer) -> Sequence[str] | None:
        """In which languages it has to be answered at once, before anything is looked up or
        written; ``None`` where it need not be. A button has none of its own."""
        if answer.action:
            return () if answer.action.endswith(f":{DANGER_YES}") else None
        found = await self._danger(answer)
        return None if found is None else found.languages

    async def _danger(self, answer: Answer) -> Danger | None:
        return await self._safety.found(answer.written()) if answer.words else None

    async def bring(self, answer: Answer, view: View | None = None) -> str:
        """Bring it in; what became of it. Raises ``StoreError``: then it has to come again."""
        if answer.action:
            return await self._press(answer, view)
        dangerous = await self._danger(answer) is not None
        fact = self._said(answer)
        if answer.photo:
            key = photos.key_of(answer.id)
            if await self._kept(answer, key, dangerous=dangerous):
                fact = replace(fact, media="picture", photo=key)
            elif not dangerous:
                raise BadForm("page_photos", 413)
        if not dangerous:
            return (await self._desk.receive(fact)).answer
        return await self._stop(answer, replace(fact, place="direct"))

    async def _kept(self, answer: Answer, key: str, *, dangerous: bool) -> bool:
        """Whether the photo is kept. In danger the words go on without it."""
        try:
            return await photos.keep(self._desk.store, answer.key, key, answer.photo)
        except StoreError:
            if not dangerous:
                raise
            _log.exception("a photo with words of danger could not be kept")
            return False

    async def _press(self, answer: Answer, view: View | None) -> str:
        """Only buttons that stood on the page may be pressed there."""
        if view is not None and not view.had(answer.action):
            return "stale"
        outcome = await self._desk.receive(
            Pressed(
                id=answer.id,
                subject=answer.subject,
                received_at=answer.at,
                claimed_at=answer.claimed_at,
                actor=Actor(answer.user),
                action=answer.action,
            )
        )
        return "stale" if outcome.answer == "kept" else outcome.answer

    def _said(self, answer: Answer) -> Said:
        return Said(
            id=answer.id,
            subject=answer.subject,
            received_at=answer.at,
            claimed_at=answer.claimed_at,
            actor=Actor(answer.user),
            words=answer.words,
            place="thread",
            stamp="",
        )

    async def _stop(self, answer: Answer, fact: Said) -> str:
        """Every live visit of that person stops; where nobody is called, the team is told."""
        route = Route(answer.subject, in_thread=True)
        kept = False
        for subject in await concerned(self._desk, route, answer.user):
            own = subject == answer.subject
            here = fact if own else replace(fact, id=f"{fact.id}/{subject}", subject=subject)
            kept = kept or (await self._desk.receive(here)).answer == "kept"
        if kept:
            await self.tell_team(answer)
        return "danger"

    async def tell_team(self, answer: Answer) -> None:
        """Words of danger that call nobody: the team is told past the outbox."""
        _log.error("words of danger on the page of %s call nobody", answer.subject)
        args = {"user": answer.user, "words": answer.words}
        if not await self._alarm.team(f"danger_unkept:{answer.id}", "danger_unkept", args):
            _log.error("and the team could not be told")

    async def shown(self, view: View) -> None:
        """The contact has the open question before them: from now on its times count."""
        question = view.visit.question
        if question is None or question.asked_at is not None or not view.shows(question.message):
            return
        subject, now = of_visit(view.visit.wave, view.visit.id), self._now()
        thread = f"{BY_PAGE}{view.visit.id}"
        for message in view.all:  # it may still be in the outbox, which this fact settles
            if message.id == question.message and message.way == "page":
                await self._desk.store.page_put(subject.home, view.visit.id, message)
        await self._desk.receive(
            Delivered(
                id=f"shown:{question.message}",
                subject=subject,
                received_at=now,
                claimed_at=now,
                message=question.message,
                template=question.text,
                thread=thread,
            )
        )
