"""A mail server of our own, as far as we see it: a real one, that keeps what it takes."""

import email
import email.policy
import re
import socket
from dataclasses import dataclass, field
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller

from bot.send.mail import MailSettings

SENDER = "Install desk <desk@example.org>"


@dataclass
class MailBox:
    """``refuses``: it takes no mail for anybody."""

    refuses: bool = False
    raw: list[bytes] = field(default_factory=list)

    def start(self) -> None:
        with socket.socket() as asked:
            asked.bind(("127.0.0.1", 0))
            self.port = int(asked.getsockname()[1])
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self._controller.start()

    def stop(self) -> None:
        self._controller.stop()

    @property
    def settings(self) -> MailSettings:
        return MailSettings("127.0.0.1", SENDER, port=self.port, security="none")

    @property
    def mails(self) -> list[EmailMessage]:
        return [read(raw) for raw in self.raw]

    async def handle_RCPT(  # noqa: N802
        self, server: Any, session: Any, envelope: Any, address: str, options: Any
    ) -> str:
        if self.refuses:
            return "550 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        self.raw.append(envelope.content)
        return "250 taken"


def read(raw: bytes) -> EmailMessage:
    made = email.message_from_bytes(raw, policy=email.policy.default)
    assert isinstance(made, EmailMessage)
    return made


def links(text: str) -> list[str]:
    return re.findall(r"https?://\S+", text)
