"""What was written reaches the visits and waves it concerns, each as a fact of its own."""

import logging
from contextlib import suppress
from dataclasses import replace

from msgspec.structs import replace as altered

from bot.desk import Desk
from bot.model.danger import Danger
from bot.model.fact import Deleted, Place, Said
from bot.model.people import person_key, text_key
from bot.model.subject import Subject
from bot.model.visit.state import Visit
from bot.send.chat import ChatOut
from bot.speak.catalogue import Catalogue
from bot.store.errors import StoreError
from handlers.alarm import Alarm
from handlers.clock import Now
from handlers.codes import Codes
from handlers.elsewhere import Elsewhere
from handlers.routing import (
    Route,
    by_words,
    concerned,
    is_mirror,
    is_own_thread,
    waves_in_danger,
)
from handlers.safety import Safety, Unanswered
from handlers.written import Written

_log = logging.getLogger("musterline.hearing")


class Hearing:
    """Brings words in. ``team`` is the workspace's id, ``bot_user`` our own account."""

    def __init__(
        self,
        desk: Desk,
        chat: ChatOut,
        catalogue: Catalogue,
        now: Now,
        team: str,
        bot_user: str,
        alarm: Alarm,
    ) -> None:
        self._desk, self._now, self._team, self._alarm = desk, now, team, alarm
        self.safety = Safety(desk, chat, catalogue, now)
        self.elsewhere = Elsewhere(desk, chat, catalogue, now, bot_user, team)
        self.codes = Codes(desk, chat, now)

    async def hear(self, written: Written, event: str, *, late: bool = False) -> None:
        """Bring it in. Raises ``StoreError`` or ``SendError``: then it has to come again.

        ``late``: it was written while we were away; what it was edited to is then the answer.
        """
        danger = await self.safety.found(written)
        if danger is not None:
            await self._danger(written, event, danger)
            return
        route = await by_words(self._desk, written.channel, written.thread, written.user)
        if await self._code(written, route):
            return
        if route.several:
            await self.elsewhere.which(written, route.several)
        elif route.subject is None:
            await self.elsewhere.nobody(written)
        elif not await self._talk_of_others(written, route):
            place = await self._place(written, route)
            if await self._bring(written, route.subject, place, late=late) == "elsewhere":
                await self.elsewhere.point(written, route.subject)

    async def _code(self, written: Written, route: Route) -> bool:
        """Whether the words are a code by which somebody takes a visit over."""
        meant = await self.codes.meant(written)
        if isinstance(meant, Subject):
            own = meant == route.subject
            place: Place = "direct" if written.direct else "channel"
            place = await self._place(written, route) if own else place
            await self._bring(written, meant, place, late=False)
            return True
        if meant is None or (route.visit is not None and meant == "handing_wrong"):
            return False  # in the thread of a visit it may be a number from a label
        if route.visit is None or not await self._belongs(written, route.visit):
            await self.elsewhere.no_code(written, meant)
            return True
        return False

    async def _belongs(self, written: Written, visit: Visit) -> bool:
        actor = self._desk.surroundings.roster.actor(written.user)
        return visit.person(written.user) is not None or actor.oncall or actor.admin

    async def chosen(self, value: str, user: str) -> str:
        """A button that says which visit was meant: the original words go there, as if they had
        gone there at once. Gives the key of what is to be said where that is not so."""
        found = await self.elsewhere.meant(value, user)
        if isinstance(found, str):
            return found
        written, subject = found
        place: Place = "direct" if written.direct else "channel"
        await self._bring(written, subject, place, late=True)
        await self.elsewhere.point(written, subject)
        return ""

    async def gone(self, written: Written) -> None:
        """A message was deleted: the record of the visit it belonged to notes that."""
        route = await by_words(self._desk, written.channel, written.thread, written.user)
        if route.subject is None or route.subject.kind != "visit":
            return
        of = replace(written, edit="").fact_id(self._team)
        await self._desk.receive(
            Deleted(
                id=f"{of}:deleted",
                subject=route.subject,
                received_at=self._now(),
                claimed_at=written.claimed_at,
                actor=self._desk.surroundings.roster.actor(written.user),
                of=of,
            )
        )

    async def _danger(self, written: Written, event: str, danger: Danger) -> None:
        """The fixed answer, whatever else fails; where nobody can be called, the team is told."""
        answered = await self.safety.answer(written, event, danger)
        try:
            said = await self._stop(written, answered)
        except StoreError:
            with suppress(Unanswered):  # the log has it; it is the store that has to be back
                await self._tell_team(written, "danger_unkept")
            raise
        if not said:
            raise Unanswered("words of danger are without an answer")

    async def _stop(self, written: Written, answered: bool) -> bool:
        """Stop every visit of that place and person, else hold the waves.

        Gives whether who wrote is answered: by now, or from the outbox where they look.
        """
        route = await by_words(self._desk, written.channel, written.thread, written.user)
        subjects = await concerned(self._desk, route, written.user)
        if not subjects:
            subjects = await waves_in_danger(self._desk, written.channel)
        said, kept = answered, not subjects
        for subject in subjects:
            own = subject == route.subject
            place = await self._place(written, route) if own else "channel"
            direct = place == "direct" or written.direct
            if not answered and place == "thread":
                place = "channel"  # the answer did not get through: the outbox says it there
            outcome = await self._bring(written, subject, place, late=False, also=not own)
            kept = kept or outcome == "kept"
            said = said or (subject.kind == "visit" and outcome != "kept" and not direct)
        if subjects:
            await self.safety.record(written, subjects[0])
        if kept:
            await self._tell_team(written, "danger_unkept" if subjects else "danger_nowhere")
        return said

    async def _bring(
        self, written: Written, subject: Subject, place: Place, *, late: bool, also: bool = False
    ) -> str:
        """Gives what the desk made of it.

        ``late``: an edited message that never reached us counts as it stands now, under the id
        it would have had; the edit is brought as well, so that it is known when it comes.
        """
        fact = self._said(written, subject, place)
        mark = f"/{subject}" if also else ""
        if written.edit:
            first = replace(written, edit="").fact_id(self._team)
            kept = await self._desk.store.person_get(person_key(written.user))
            before = written.before or kept.get(text_key(f"{first}{mark}"), "")
            if late and not before:
                now = altered(fact, id=f"{first}{mark}", edited=False, before="")
                outcome = await self._desk.receive(now)
                await self._desk.receive(altered(fact, id=f"{fact.id}{mark}", before=written.words))
                return outcome.answer
            fact = altered(fact, before=before)
        return (await self._desk.receive(altered(fact, id=f"{fact.id}{mark}"))).answer

    def _said(self, written: Written, subject: Subject, place: Place) -> Said:
        return Said(
            id=written.fact_id(self._team),
            subject=subject,
            received_at=self._now(),
            claimed_at=written.claimed_at,
            actor=self._desk.surroundings.roster.actor(written.user),
            words=written.words,
            place=place,
            edited=bool(written.edit),
            stamp=written.stamp,
            files=written.files,
            media=written.media,
            before=written.before,
        )

    async def _talk_of_others(self, written: Written, route: Route) -> bool:
        """In the thread of a call, or in a mirror, colleagues may talk; the site hears nothing."""
        visit = route.visit
        if visit is None or not route.in_thread:
            return False
        people = {p.user for p in (visit.contact, visit.deputy) if p is not None}
        actor = self._desk.surroundings.roster.actor(written.user)
        if written.user in people or actor.oncall or actor.admin:
            return False
        return not await is_own_thread(self._desk, route, written.thread)

    async def _place(self, written: Written, route: Route) -> Place:
        if await is_own_thread(self._desk, route, written.thread):
            return "thread"
        if not written.to_bot and await is_mirror(self._desk, route, written.thread):
            return "mirror"
        return "direct" if written.direct else "channel"

    async def _tell_team(self, written: Written, key: str) -> None:
        """Nobody is called for these words: the team is told past the outbox, once.

        Raises ``SendError`` when nobody could be told: then they have to come again.
        """
        _log.error("words of danger from %s call nobody: %s", written.user, key)
        matter = f"{key}:{written.fact_id(self._team)}"
        args = {"user": written.user, "words": written.words}
        if not await self._alarm.team(matter, key, args):
            raise Unanswered("nobody of the team could be told of words of danger")
