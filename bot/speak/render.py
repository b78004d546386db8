"""A message from the outbox in the form its way needs: chat blocks, or plain text for mail.

Sources: limits of the chat platform's blocks, https://docs.slack.dev/reference/block-kit/blocks
(section text 3,000 characters, 25 elements in an actions block, button text 75); escaping of
``&``, ``<`` and ``>``, https://docs.slack.dev/messaging/formatting-message-text.
"""

import logging
import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Any

from bot.model.message import ESCALATION, Button, Message
from bot.speak.catalogue import LABEL_LENGTH, MISSING, Catalogue, Show, Texts, as_it_is

#: Name of our mark on each message; contacts may see it, so it says what we are called there.
EVENT_TYPE = "install_desk"
SECTION_LENGTH = 3000
ELEMENTS = 25
NOTICE_LENGTH = 3000

_log = logging.getLogger("musterline.speak")
_USER = re.compile(r"[UW][A-Z0-9]{2,20}")
_PERSON = re.compile(r"@p:([^:\s]+):([A-Za-z0-9_]+)")
_TEXT = re.compile(r"@x:([A-Za-z0-9_-]+)")
_THREAD = re.compile(r"@t:([^/\s]+)/(\S+)")

#: Data of a person by id; None when there is none (any more).
Resolve = Callable[[str], Awaitable[Mapping[str, str] | None]]
#: Web address of a thread by home and name; empty when it has no message yet.
FindLink = Callable[[str, str], Awaitable[str]]


@dataclass(frozen=True)
class Rendered:
    """``text`` is for notifications, ``blocks`` what is shown, ``metadata`` how we find it."""

    text: str
    blocks: list[dict[str, Any]]
    metadata: dict[str, Any]


def escaped(text: str) -> str:
    """User text that cannot become a mention, a link or a command of the platform."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def literal(text: str) -> str:
    """Text of a person as a message's argument: one that looks like a reference stays text."""
    return f"@{text}" if text.startswith("@") else text


async def resolved(
    message: Message, catalogue: Catalogue, person: Resolve, link: FindLink | None = None
) -> dict[str, str]:
    """A message's arguments with their references looked up.

    ``@p:PERSON:FIELD`` is a person's data, ``@t:HOME/THREAD`` the address of a thread,
    ``@x:KEY`` another text of the catalogue, with the same arguments. What is not known (any
    more) becomes a dash. A value that begins with ``@@`` is text with one ``@``. What a
    reference stands for is never looked up again.
    """
    done = await _looked_up(message.args, person, link)
    texts = catalogue.best(message.lang)
    words: dict[str, str] = {}
    for name, value in message.args.items():
        found = _TEXT.fullmatch(value)
        if found is None:
            continue
        if texts.has(found[1]):
            words[name] = texts.say(
                found[1],
                done,
                message.tz,
                lenient=is_lenient(message, texts),
                now=message.made_at,
            )
        else:
            _log.error("message %s names a text that is not there: %s", message.id, value)
            words[name] = MISSING
    return done | words


def is_lenient(message: Message, texts: Texts) -> bool:
    """Whether a lacking argument is shown as a dash rather than stopping the message.

    So it is for a message made for another edition of the texts, and for a call: a call that
    nobody gets is worse than one with a gap.
    """
    return message.catalogue != texts.version or message.urgency <= ESCALATION


async def _looked_up(
    args: Mapping[str, str], person: Resolve, link: FindLink | None
) -> dict[str, str]:
    done: dict[str, str] = {}
    people: dict[str, Mapping[str, str]] = {}
    for name, value in args.items():
        if not value.startswith("@"):
            done[name] = value
        elif value.startswith("@@"):
            done[name] = value[1:]
        elif (found := _PERSON.fullmatch(value)) is not None:
            who, what = found.groups()
            if who not in people:
                people[who] = await person(who) or {}
            done[name] = people[who].get(what, "") or MISSING
        elif link is not None and (found := _THREAD.fullmatch(value)) is not None:
            done[name] = await link(*found.groups()) or MISSING
        else:
            done[name] = value
    return done


def in_chat(form: str, value: str) -> str:
    """One argument in the chat platform's markup."""
    if form == "mention":
        return " ".join(_mention(word) for word in value.split())
    if form == "link" and value.startswith(("https://", "http://")):
        return f"<{escaped(value).replace('|', '%7C')}>"
    return escaped(value)


def _mention(user: str) -> str:
    return f"<@{user}>" if _USER.fullmatch(user) else escaped(user)


def in_label(form: str, value: str) -> str:  # noqa: ARG001
    return value


def metadata(message: Message) -> dict[str, Any]:
    """Our mark on a message, by which it is found again after an unknown outcome."""
    payload: dict[str, Any] = {
        "id": message.id,
        "rev": message.rev,
        "template": message.template,
        "thread": message.thread,
    }
    if message.slot:
        payload["slot"] = message.slot
    return {"event_type": EVENT_TYPE, "event_payload": payload}


def chat(message: Message, catalogue: Catalogue, args: Mapping[str, str]) -> Rendered:
    """The message for the chat platform; ``args`` are resolved. Raises ``CatalogueError``."""
    texts = catalogue.best(message.lang)
    text = said(message, texts, args, in_chat)
    return marked(text, metadata(message), _buttons(message, texts, args))


def said(message: Message, texts: Texts, args: Mapping[str, str], show: Show) -> str:
    """The text, and below it what is said beside it. Raises ``CatalogueError``."""
    lenient, now = is_lenient(message, texts), message.made_at
    text, *below = (
        texts.say(key, args, message.tz, show=show, lenient=lenient, now=now)
        for key in (message.template, *message.beside)
    )
    return f"{text}\n{' '.join(below)}" if below else text


def marked(
    text: str, mark: dict[str, Any], buttons: list[dict[str, Any]] | None = None
) -> Rendered:
    """Markup text as blocks with our mark."""
    blocks: list[dict[str, Any]] = [
        {"type": "section", "text": {"type": "mrkdwn", "text": part, "verbatim": True}}
        for part in split(text)
    ]
    made = buttons or []
    blocks += [
        {"type": "actions", "elements": made[start : start + ELEMENTS]}
        for start in range(0, len(made), ELEMENTS)
    ]
    return Rendered(_first(text, NOTICE_LENGTH), blocks, mark)


def plain(message: Message, catalogue: Catalogue, args: Mapping[str, str]) -> tuple[str, str]:
    """Subject and text for mail; ``args`` are resolved. Raises ``CatalogueError``.

    The subject is the text ``<template>_subject``, or else the first line.
    """
    texts = catalogue.best(message.lang)
    lenient = is_lenient(message, texts)
    body = said(message, texts, args, as_it_is)
    key = f"{message.template}_subject"
    subject = body.partition("\n")[0]
    if texts.has(key):
        subject = texts.say(key, args, message.tz, lenient=lenient)
    return " ".join(subject.split()), body


async def render(
    message: Message, catalogue: Catalogue, person: Resolve, link: FindLink | None = None
) -> Rendered:
    """The message for the chat platform, its references looked up first."""
    return chat(message, catalogue, await resolved(message, catalogue, person, link))


def _buttons(message: Message, texts: Texts, args: Mapping[str, str]) -> list[dict[str, Any]]:
    return [_button(button, texts, args, message) for button in message.buttons]


def _button(
    button: Button, texts: Texts, args: Mapping[str, str], message: Message
) -> dict[str, Any]:
    label = texts.say(
        button.label, args, message.tz, show=in_label, lenient=is_lenient(message, texts)
    )
    made: dict[str, Any] = {
        "type": "button",
        "action_id": button.action,
        "value": message.id.rsplit(":", 2)[0],  # the subject that decides about the press
        "text": {"type": "plain_text", "text": _first(label, LABEL_LENGTH), "emoji": False},
    }
    if button.style:
        made["style"] = button.style
    return made


def _first(text: str, most: int) -> str:
    """The text, or as much of it as fits, ending in an ellipsis."""
    if len(text) <= most:
        return text
    return text[: _safe_cut(text, most - 1)].rstrip() + "\N{HORIZONTAL ELLIPSIS}"


def split(text: str, most: int = SECTION_LENGTH) -> list[str]:
    """The text in parts of at most ``most`` characters, cut at a line's end where one is."""
    parts: list[str] = []
    rest = text.strip()
    while len(rest) > most:
        cut = rest.rfind("\n", 1, most + 1)
        if cut <= 0:
            cut = rest.rfind(" ", most // 2, most + 1)
        if cut <= 0 or _safe_cut(rest, cut) != cut:
            cut = _safe_cut(rest, cut if cut > 0 else most)
        parts.append(rest[:cut].rstrip())
        rest = rest[cut:].lstrip()
    if rest or not parts:
        parts.append(rest or MISSING)
    return parts


def _safe_cut(text: str, at: int) -> int:
    """The last place up to ``at`` that lies inside no ``&amp;`` and no ``<...>``."""
    for opened, closed in (("<", ">"), ("&", ";")):
        start = text.rfind(opened, max(0, at - 512), at)
        if start > 0 and closed not in text[start:at]:
            end = text.find(closed, at)
            if 0 <= end < start + 512 and "\n" not in text[start:end]:
                at = start
    return at
