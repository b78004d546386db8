"""Where the words of a visit go: its thread, a private conversation, the contact's page.

The model says everything in the site's thread. Here its messages are turned to where the contact
is. In private mode that is their own conversation, with a copy of each for the team in the mirror
thread in the wave's channel; so is what the contact writes and presses there, and links of calls
lead to the mirror. For a contact without a chat account it is their page, and the team's copy is
the site's thread itself: whoever comes next and has an account finds all of it there. Where there
are pages, a contact with a chat account has both.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from msgspec.structs import replace

from bot.desk.letters import letter, mailed, only_by_mail
from bot.model.context import Context
from bot.model.fact import AnyFact, Pressed, Said
from bot.model.message import BOARD, Message
from bot.model.people import BY_PAGE, by_page, person_key, text_key
from bot.model.visit.state import Visit

_PHOTO = "photo_sent"  # a photo without words
#: Buttons that are no part of the conversation with the site: of calls, and of what is settled.
_OF_TEAM = ("e:", "b:", "g:", "r:")


@dataclass(frozen=True)
class Talk:
    """How contacts are talked to here. ``pages``: there are pages, besides the chat."""

    private: bool = False
    pages: bool = False

    def apart(self, visit: Visit) -> bool:
        """Whether the conversation lies where the team does not see it."""
        return self.private or by_page(visit.contact.user)

    def plain(self, visit: Visit) -> bool:
        """Whether all is said in the site's thread and nowhere else."""
        return not self.pages and not self.apart(visit)


def thread_of(visit: Visit, *, private: bool) -> str:
    """The contact is part of a private thread's name: a new contact never gets the old one's."""
    if by_page(visit.contact.user):
        return page_thread(visit)
    return f"private:{visit.id}:{visit.contact.user}" if private else f"site:{visit.id}"


def mirror_of(visit: Visit, *, private: bool) -> str:
    """The thread in which the team has its copy of a conversation it cannot see."""
    if by_page(visit.contact.user) and not private:
        return f"site:{visit.id}"
    return f"mirror:{visit.id}"


def page_thread(visit: Visit) -> str:
    return f"page:{visit.id}"


def from_page(fact: AnyFact) -> bool:
    """Whether a fact came by the page: its id says so."""
    return fact.id.startswith(BY_PAGE)


def mirrored(
    fact: AnyFact,
    visit: Visit,
    answer: str,
    messages: tuple[Message, ...],
    context: Context,
    talk: Talk,
) -> tuple[Message, ...]:
    """The messages of a decision as they leave."""
    heard = _heard(fact, visit, answer, context, talk)
    turned = (out for message in messages for out in _turned(message, visit, fact, talk))
    return (*heard, *turned)


def _turned(message: Message, visit: Visit, fact: AnyFact, talk: Talk) -> Iterator[Message]:
    if message.way not in ("chat", "mail"):
        yield message
        return
    if talk.apart(visit) and message.template == "handing_here":
        return  # who has taken over reads on where they are; the mirror is the team's
    if talk.apart(visit):
        home, copy = f"@t:w:{visit.wave}", mirror_of(visit, private=talk.private)
        site, mirror = f"{home}/site:{visit.id}", f"{home}/{copy}"
        args = {name: mirror if value == site else value for name, value in message.args.items()}
        message = replace(message, args=args)
    contact = visit.contact.user
    if by_page(contact) and message.thread == f"user:{contact}":  # to them alone: no copy
        yield replace(message, way="page", thread=page_thread(visit))
    elif only_by_mail(message):
        yield letter(message, visit)
    elif message.thread != f"site:{visit.id}":
        yield message
    else:
        yield from _said(message, visit, fact, talk)


def _said(message: Message, visit: Visit, fact: AnyFact, talk: Talk) -> Iterator[Message]:
    """What is said to the contact, wherever they may be looking."""
    alone = by_page(visit.contact.user)
    counts_by_mail = False
    if alone:
        for mail in mailed(message, visit, from_page=from_page(fact)):
            counts_by_mail = mail.id == message.id
            yield mail
    else:
        yield replace(message, thread=thread_of(visit, private=talk.private))
        if message.root and talk.pages:
            yield _proof(message, visit, talk)
    if talk.apart(visit) and message.template != "team_says":  # which stands in the mirror
        yield _copy(message, mirror_of(visit, private=talk.private))
    if (alone or talk.pages) and not message.root:
        mark = "" if alone and not counts_by_mail else "p"
        yield replace(
            message, id=message.id + mark, way="page", thread=page_thread(visit), not_after=None
        )


def _copy(message: Message, thread: str) -> Message:
    return replace(
        message,
        id=f"{message.id}m",
        thread=thread,
        buttons=(),
        key="",
        urgency=max(message.urgency, BOARD),
        not_after=None,
    )


def _proof(root: Message, visit: Visit, talk: Talk) -> Message:
    """The first thing said: the code on the site's sheet, by which the contact knows us."""
    return replace(
        root,
        id=f"{root.id}c",
        thread=thread_of(visit, private=talk.private),
        template="proof",
        root=False,
        args={**root.args, "code": f"@t:w:{visit.wave}/proof:{visit.id}"},
    )


def _heard(
    fact: AnyFact, visit: Visit, answer: str, context: Context, talk: Talk
) -> Iterator[Message]:
    """What was written or pressed, for whoever reads it elsewhere."""
    line = _line(fact, context)
    if line is None or not visit.thread or answer in ("stale", "call_over", "not_yours", "repeat"):
        return
    template, told = line
    by_it, private = from_page(fact), talk.private
    team = mirror_of(visit, private=private) if talk.apart(visit) else f"site:{visit.id}"
    base = Message(
        id=f"{fact.subject}:{context.version + 1}:0",
        thread=team,
        template=f"mirror_{template}",
        args={"who": _name(fact, context), "told": told},
        tz=visit.site.tz,
        urgency=BOARD,
        made_at=fact.received_at,
    )
    if template != _PHOTO and (private or by_it):
        yield replace(base, id=f"{base.id}m")
    if isinstance(fact, Said) and fact.photo:
        args = {**base.args, "photo": f"@t:w:{visit.wave}/photo:{fact.photo}"}
        yield replace(base, id=f"{base.id}f", template="mirror_photo", args=args)
    aside = isinstance(fact, Said) and fact.place == "direct" and not by_it
    if (talk.pages or by_page(visit.contact.user)) and not aside:
        yield replace(
            base,
            id=f"{base.id}p",
            way="page",
            thread=page_thread(visit),
            template=f"page_{template}" if by_it else f"page_other_{template}",
            lang=visit.lang,
        )


def _line(fact: AnyFact, context: Context) -> tuple[str, str] | None:
    """What kind of thing somebody did, and what it was; ``None`` where nobody did anything."""
    if isinstance(fact, Said) and fact.photo and not fact.words:
        return _PHOTO, ""
    if isinstance(fact, Said) and fact.place not in ("channel", "mirror"):
        if not (fact.words or fact.files):
            return "said", "@x:none"
        return "said", f"@p:{person_key(fact.actor.user)}:{text_key(fact.id)}"
    if isinstance(fact, Pressed) and not fact.action.startswith(_OF_TEAM):
        return "pressed", f"@x:{_label(fact.action, context)}"
    return None


def _name(fact: AnyFact, context: Context) -> str:
    """Whoever it was: of the team by the roster, else by their personal data."""
    user = fact.actor.user if isinstance(fact, Said | Pressed) else ""
    staff = context.roster.find(user)
    return staff.name.lstrip("@") if staff else f"@p:{person_key(user)}:name"


def _label(action: str, context: Context) -> str:
    value = action.split(":", 2)[2]
    if value.startswith("light:"):
        return context.book.patterns[value.removeprefix("light:")].means
    return f"b_{value}"
