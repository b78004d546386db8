"""The page as HTML: plain forms that work without scripts, and one script that does more.

All texts come from the catalogue; what people wrote is escaped. Style and script stand in the page
itself, known to the browser by their hashes, so that a poor connection has one thing to fetch.
"""

import base64
import hashlib
import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib import resources

from bot.model.message import Button, Message
from bot.send.danger import TEMPLATE as DANGER
from bot.speak import timewords
from bot.speak.catalogue import Catalogue, Texts
from bot.speak.render import Resolve, resolved
from handlers.page.view import View

_BOLD = re.compile(r"\*(?=\S)([^*\n]+?)(?<=\S)\*")
_STYLES = {"primary": "go", "danger": "no"}


@dataclass(frozen=True)
class Frame:
    """What every page of a visit says: whose it is, in which language, how its forms are known."""

    texts: Texts
    site: str
    code: str
    start: str = ""  # day and time, in words
    form: str = ""  # what a form brings back with it
    tz: str = "UTC"

    def say(self, key: str, **args: str) -> str:
        said = marked_up(self.texts.say(key, {"code": self.code, **args}, self.tz))
        return said.replace(self.code, f"<b>{self.code}</b>") if self.code else said


def marked_up(text: str) -> str:
    """A text of the catalogue as HTML: bold words and line breaks are all it knows."""
    return _BOLD.sub(r"<b>\1</b>", escape(text)).replace("\n", "<br>")


@cache
def style() -> str:
    return _file("style.css")


@cache
def script() -> str:
    return _file("script.js")


def _file(name: str) -> str:
    return resources.files("handlers.page").joinpath(name).read_text(encoding="utf-8")


@cache
def policy() -> str:
    """The content security policy (CSP level 3): our own style and script, and nothing else."""

    def digest(text: str) -> str:
        found = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        return f"'sha256-{found}'"

    return "; ".join(
        (
            "default-src 'none'",
            f"style-src {digest(style())}",
            f"script-src {digest(script())}",
            "connect-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        )
    )


# --- whole pages -----------------------------------------------------------------------


def page(
    frame: Frame, inside: str, *, attributes: str = "", notes: bool = False, title: str = ""
) -> str:
    begins, ends = top(frame, notes=notes, title=title), bottom(notes=notes)
    return f"{begins}<main{attributes}>{inside}</main>{ends}"


def top(frame: Frame, *, notes: bool = False, stop: Sequence[Texts] = (), title: str = "") -> str:
    """``title``: where the page says nothing of a site. ``stop``: the fixed answer to danger is
    shown, in these languages."""
    start = f'<p class="soft">{escape(frame.start)}</p>' if frame.start else ""
    head = f"<header><h1>{escape(frame.site)}</h1>{start}</header>" if frame.site else ""
    return (
        f'<!doctype html><html lang="{escape(frame.texts.lang)}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        '<meta name="robots" content="noindex">'
        '<meta name="format-detection" content="telephone=no">'
        f"<title>{escape(frame.site or title)}</title><style>{style()}</style></head><body>{head}"
        + (_notes(frame, stop=stop) if notes else "")
    )


def bottom(*, notes: bool) -> str:
    return (f"<script>{script()}</script>" if notes else "") + "</body></html>"


def _notes(frame: Frame, *, stop: Sequence[Texts]) -> str:
    """What the script says by itself, and the fixed answer, there before it is needed."""
    said = "".join(
        f' data-{name}="{escape(frame.texts.say(f"page_{name}", {}))}"'
        for name in ("kept", "sends", "sent")
    )
    hidden = "" if stop else " hidden"
    told = dict.fromkeys(marked_up(texts.say("danger", {})) for texts in stop or (frame.texts,))
    return (
        f'<div id="stop" class="stop" role="alert"{hidden}>{"<br><br>".join(told)}</div>'
        f'<p id="note" class="card" role="status" hidden{said}></p>'
    )


def gate(frame: Frame) -> str:
    """Before anything else the contact sees that we are who they were told of."""
    return page(
        frame,
        f'<p class="code">{frame.say("page_gate")}</p><p>{frame.say("page_gate_ask")}</p>'
        f'<form method="post">{_hidden(frame)}'
        f'<button class="go" name="gate" value="same">{frame.say("b_page_same")}</button>'
        f'<button class="no" name="gate" value="other">{frame.say("b_page_other")}</button></form>',
    )


def notice(frame: Frame, key: str, *, again: bool = False) -> str:
    """One sentence and, where it helps, a way to look once more."""
    link = f'<a class="link" href="">{frame.say("b_page_news")}</a>' if again else ""
    title = frame.texts.say(key, {}).partition(".")[0]
    return page(frame, f'<p class="card">{frame.say(key)}</p>{link}', title=title)


async def conversation(
    frame: Frame, view: View, catalogue: Catalogue, person: Resolve, note: str = ""
) -> str:
    """The page itself: what is open now, the way to write, and what was said before."""
    return page(
        frame,
        await inside(frame, view, catalogue, person, note),
        attributes=f' data-form="{frame.form}" data-mark="{escape(view.mark)}" data-kept="yes"',
        notes=True,
    )


async def inside(
    frame: Frame,
    view: View,
    catalogue: Catalogue,
    person: Resolve,
    note: str = "",
    *,
    stop: bool = False,
) -> str:
    """``stop``: the fixed answer to danger stands above already."""
    said = f'<p class="card">{frame.say(note)}</p>' if note else ""
    shown = [one for one in view.now if not (stop and is_stop(one))]
    now = [await _open(frame, view, one, catalogue, person) for one in shown]
    if not now and not stop:
        quiet = "page_waits" if view.waiting else "page_quiet"
        now = [f"<p>{frame.say(quiet)}</p>"]
    earlier = [await _line(one, catalogue, person) for one in reversed(view.earlier)]
    before = f"<h2>{frame.say('page_earlier')}</h2><ol>{''.join(earlier)}</ol>" if earlier else ""
    return (
        f'{said}<section id="now" class="card" tabindex="-1" aria-live="polite">'
        f"{''.join(now)}</section>"
        f"<noscript>{_news(frame)}</noscript>{_write(frame)}"
        f'<section id="earlier">{before}<p class="code soft">{frame.say("page_code")}</p></section>'
    )


def _news(frame: Frame) -> str:
    return f'<a class="link" href="?">{frame.say("b_page_news")}</a>'


def _write(frame: Frame) -> str:
    return (
        f"<h2>{frame.say('page_write')}</h2>"
        f'<form method="post" enctype="multipart/form-data" data-answer="1">{_hidden(frame)}'
        f'<label for="words">{frame.say("page_words")}</label>'
        '<textarea id="words" name="words" rows="2" maxlength="2000"></textarea>'
        f'<label for="photo">{frame.say("page_photo")}</label>'
        '<input id="photo" name="photo" type="file" accept="image/*">'
        f"<button>{frame.say('b_page_send')}</button></form>"
    )


def send_again(frame: Frame, fields: dict[str, str]) -> str:
    """What could not be noted down, ready to be sent once more under its own id."""
    kept = "".join(
        f'<input type="hidden" name="{escape(name)}" value="{escape(value)}">'
        for name, value in fields.items()
    )
    return (
        f'<p>{frame.say("page_again")}</p><form method="post" data-answer="">{kept}'
        f'<button class="go">{frame.say("b_page_again")}</button></form>'
    )


def _hidden(frame: Frame) -> str:
    """The form's mark and an id of its own: sent twice, an answer counts once."""
    return (
        f'<input type="hidden" name="form" value="{frame.form}">'
        f'<input type="hidden" name="id" value="{secrets.token_hex(16)}">'
    )


# --- messages --------------------------------------------------------------------------


def is_stop(message: Message) -> bool:
    """Whether it is the fixed answer to danger."""
    return message.template == DANGER


async def _open(
    frame: Frame, view: View, message: Message, catalogue: Catalogue, person: Resolve
) -> str:
    text, args = await words(message, catalogue, person)
    if is_stop(message):
        return f'<p class="stop">{text}</p>'
    buttons = view.buttons(message)
    if not buttons:
        return f"<p>{text}</p>"
    texts = catalogue.best(message.lang)
    made = "".join(_button(button, texts, args, message) for button in buttons)
    return f'<p>{text}</p><form method="post" data-answer="1">{_hidden(frame)}{made}</form>'


def _button(button: Button, texts: Texts, args: dict[str, str], message: Message) -> str:
    label = texts.say(button.label, args, message.tz, lenient=True)
    kind = f' class="{_STYLES[button.style]}"' if button.style else ""
    return f'<button{kind} name="action" value="{escape(button.action)}">{escape(label)}</button>'


async def _line(message: Message, catalogue: Catalogue, person: Resolve) -> str:
    text, _ = await words(message, catalogue, person)
    mine = ' class="mine"' if message.template.startswith("page_") else ""
    clock = timewords.time_of_day(str(message.made_at), message.tz)
    return f"<li{mine}><time>{escape(clock)}</time> {text}</li>"


async def words(
    message: Message, catalogue: Catalogue, person: Resolve
) -> tuple[str, dict[str, str]]:
    """A message's text as HTML, and its arguments looked up."""
    args = await resolved(message, catalogue, person)
    texts = catalogue.best(message.lang)
    said = [
        texts.say(key, args, message.tz, lenient=True, now=message.made_at)
        for key in (message.template, *message.beside)
    ]
    return "<br>".join(map(marked_up, said)), args
