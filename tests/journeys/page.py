"""A contact at their page: what a browser does there, over real HTTP; and the mail to them.

It does what the page's script does: looks again while it is open, and keeps an answer while there
is no signal, under an id made here, to send it later. ``tests/browser`` tries the script itself.
"""

import asyncio
import email
import email.policy
import re
from dataclasses import dataclass, field
from html import unescape
from typing import Any

import aiohttp
from aiosmtpd.smtp import SMTP, Envelope

SECRET = "practice-of-private-links-and-codes"
BASE = "http://127.0.0.1"
_FORM = re.compile(r"<form[^>]*>(.*?)</form>", re.DOTALL)
_HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')
_BUTTON = re.compile(r'<button[^>]*?(?: name="(\w+)" value="([^"]*)")?>([^<]*)</button>')


@dataclass
class Mail:
    """What the mail server took. ``at`` is wave time."""

    to: str
    subject: str
    text: str
    link: str


class MailHouse:
    """A real SMTP server on this machine."""

    def __init__(self) -> None:
        self.mails: list[Mail] = []
        self._server: asyncio.Server | None = None

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Envelope) -> str:  # noqa: N802
        content = envelope.content
        assert isinstance(content, bytes)
        mail = email.message_from_bytes(content, policy=email.policy.default)
        text = mail.get_content()
        found = re.search(r"https?://\S+/v/\S+", text)
        to = envelope.rcpt_tos[0]
        self.mails.append(Mail(to, str(mail["Subject"]), text, found[0] if found else ""))
        return "250 OK"

    async def start(self) -> int:
        """Gives the port."""
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: SMTP(self), "127.0.0.1", 0)
        return int(self._server.sockets[0].getsockname()[1])

    async def stop(self) -> None:
        if self._server is not None:
            self._server.close()
            await self._server.wait_closed()


@dataclass
class Page:
    """One browser on one page. ``path`` is that of the link."""

    session: aiohttp.ClientSession
    path: str
    port: int
    open: bool = False
    signal: bool = True
    html: str = ""
    status: int = 0
    cookie: str = ""
    kept: list[tuple[dict[str, str], int]] = field(default_factory=list)
    _made: int = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}{self.path}"

    @property
    def text(self) -> str:
        """What a person reads there."""
        inside = re.sub(
            r"<(style|script|title)>.*?</\1>|<(div|p)[^>]* hidden[^>]*>.*?</\2>",
            "",
            self.html,
            flags=re.DOTALL,
        )
        return unescape(" ".join(re.sub(r"<[^>]+>", " ", inside).split()))

    async def look(self) -> None:
        headers = {"Cookie": self.cookie} if self.cookie else {}
        async with self.session.get(self.url, headers=headers) as answer:
            self.status, self.html = answer.status, await answer.text()

    async def opens(self) -> None:
        """From the mail or the sheet: the gate, whose code is compared, then the page."""
        self.open = True
        await self.look()
        if 'name="gate"' in self.html:
            await self._post({**self._fields('name="gate"'), "gate": "same"})

    async def presses(self, label: str, now: int) -> None:
        form = next((f for f in _FORM.findall(self.html) if f">{label}<" in f), "")
        for name, value, text in _BUTTON.findall(form):
            if unescape(text) == label and name == "action":
                await self._answer({"action": unescape(value)}, now)
                return
        raise LookupError(f"the page has no button {label!r}: {self.text}")

    async def says(self, words: str, now: int) -> None:
        await self._answer({"words": words}, now)

    async def gets_signal(self, now: int) -> None:
        """All that was kept goes out, as the script sends it."""
        self.signal = True
        waiting, self.kept = self.kept, []
        for fields, at in waiting:
            await self._post({**fields, "waited": str(now - at)})

    async def _answer(self, what: dict[str, str], now: int) -> None:
        self._made += 1
        fields = {**self._fields('data-answer="1"'), **what, "id": f"{self._made:032x}"}
        if self.signal:
            await self._post(fields)
        else:
            self.kept.append((fields, now))

    def _fields(self, mark: str) -> dict[str, str]:
        """The hidden fields of the form that has this in it."""
        forms = re.findall(r"<form[^>]*>.*?</form>", self.html, re.DOTALL)
        form = next((f for f in forms if mark in f), None)
        if form is None:
            raise LookupError(f"the page has no such form: {self.text}")
        return dict(_HIDDEN.findall(form))

    async def _post(self, fields: dict[str, str]) -> None:
        headers = {"Cookie": self.cookie} if self.cookie else {}
        async with self.session.post(
            self.url, data=fields, headers=headers, allow_redirects=False
        ) as answer:
            self.status = answer.status
            if "seen" in answer.cookies:
                self.cookie = f"seen={answer.cookies['seen'].value}"
            if answer.status != 303:
                self.html = await answer.text()
                return
        await self.look()
