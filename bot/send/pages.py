"""The contact's page, as far as sending goes: its links, and mail that leads to it."""

from collections.abc import Mapping

from bot.access import Access, photo_url, url
from bot.model.message import Message
from bot.model.people import MAIL_TO
from bot.send.errors import PersonAway
from bot.speak.catalogue import Catalogue


class PageLinks:
    """Makes the links and codes that stand in messages. ``base``: how contacts reach us."""

    def __init__(self, access: Access, base: str) -> None:
        self._access, self._base = access, base

    def found(self, home: str, thread: str) -> str:
        """``page:SITE:GENERATION``: a visit's link; ``proof:SITE``: the code on its sheet;
        ``photo:KEY``: where the team sees a photo."""
        kind, _, rest = thread.partition(":")
        if kind == "photo":
            return photo_url(self._base, self._access.photo_name(rest))
        wave = home.removeprefix("w:")
        if kind == "proof":
            return self._access.proof(wave, rest)
        site, _, generation = rest.rpartition(":")
        return url(self._base, self._access.token(wave, site, int(generation)))


def is_ours(thread: str) -> bool:
    """Whether a reference to a thread means a page, a code or a photo, and no place in the chat."""
    return thread.startswith(("page:", "proof:", "photo:"))


def person_of(message: Message) -> tuple[str, str] | None:
    """Whose address the mail goes to, as key and field; ``None`` where the thread names it."""
    if not message.thread.startswith(MAIL_TO):
        return None
    key, _, field = message.thread.removeprefix(MAIL_TO).partition(":")
    return key, field


def letter(
    message: Message, catalogue: Catalogue, args: Mapping[str, str], body: str
) -> tuple[str, str]:
    """Subject and text of mail to a person of a site, the link and the code at its end."""
    texts = catalogue.best(message.lang)
    given = {"site": args["site"], "page": args["page"], "code": args["proof"]}
    subject = texts.say("letter_subject", given)
    end = "\n\n".join(texts.say(key, given) for key in ("letter_end", "proof"))
    return subject, f"{body}\n\n{end}\n"


def address(data: Mapping[str, str] | None, field: str) -> str:
    """A person's mail address. Raises ``PersonAway`` when there is none (any more)."""
    found = (data or {}).get(field, "")
    if not found:
        raise PersonAway("no mail address is known")
    return found
