"""Mail to a real SMTP server.

Sources: RFC 5322 (message format), RFC 3834 section 5 (Auto-Submitted), RFC 5321 section 4.2.1
(reply codes: 4yz passing, 5yz permanent), RFC 3207 (STARTTLS).
"""

import asyncio
import email
import email.policy
import re
import shutil
import socket
import ssl
import subprocess
from collections.abc import Iterator
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller

from bot.model.message import ESCALATION
from bot.send.errors import ChannelAway, MessageRefused, Passing, PersonAway, SendError
from bot.send.mail import MailOut, MailSettings, compose, message_id
from bot.speak.catalogue import Catalogue
from tests.send.conftest import HOME, START, Bench, message

SENDER = "Install desk <desk@example.org>"


class Box:
    """Takes mail in, or answers with the reply it is told."""

    def __init__(self) -> None:
        self.mails: list[EmailMessage] = []
        self.reply: dict[str, str] = {}

    async def handle_RCPT(  # noqa: N802
        self, server: Any, session: Any, envelope: Any, address: str, options: Any
    ) -> str:
        envelope.rcpt_tos.append(address)
        return self.reply.get("rcpt", "250 OK")

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        if "data" in self.reply:
            return self.reply["data"]
        parsed = email.message_from_bytes(envelope.content, policy=email.policy.default)
        assert isinstance(parsed, EmailMessage)
        self.mails.append(parsed)
        return "250 taken"


@pytest.fixture
def box() -> Box:
    return Box()


@pytest.fixture
def plain(box: Box) -> Iterator[MailSettings]:
    port = _free_port()
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    yield MailSettings("127.0.0.1", SENDER, port=port, security="none")
    controller.stop()


def _free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port: int = asked.getsockname()[1]
        return port


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for localhost that nobody trusts but who is told to."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("openssl is not installed: no certificate to test with")
    path = tmp_path_factory.mktemp("tls") / "both.pem"
    command = [openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"]
    command += ["-nodes", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
    command += ["-days", "2", "-keyout", str(path), "-out", f"{path}.crt"]
    subprocess.run(command, check=True, capture_output=True)
    return path


@pytest.fixture
def secure(box: Box, certificate: Path) -> Iterator[MailSettings]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(f"{certificate}.crt", certificate)
    port = _free_port()
    controller = Controller(
        box, hostname="localhost", port=port, tls_context=context, require_starttls=True
    )
    controller.start()
    yield MailSettings("localhost", SENDER, port=port, ca_file=f"{certificate}.crt")
    controller.stop()


async def send(settings: MailSettings, **more: Any) -> str:
    given: dict[str, Any] = {
        "to": "mara@example.org",
        "subject": "Call",
        "body": "Unit HML-4F7K2Q",
        "ident": "w:x/v:y:3:1",
        "at": START,
    }
    return await MailOut(settings, deadline=5.0).send(**(given | more))


async def test_it_arrives_as_plain_text_that_answers_nobody(box: Box, plain: MailSettings) -> None:
    ident = await send(plain, body="Grüße — it is\nout & about <now>\n.\nend")
    (mail,) = box.mails
    assert mail["Message-ID"] == ident
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["From"] == SENDER
    assert mail["Date"] == "Thu, 12 Mar 2026 18:40:00 +0000"
    assert mail.get_content_type() == "text/plain"
    assert mail.get_content().splitlines() == ["Grüße — it is", "out & about <now>", ".", "end"]


async def test_a_second_copy_has_the_same_name(box: Box, plain: MailSettings) -> None:
    await send(plain)
    await send(plain)
    await send(plain, ident="w:x/v:y:3:2")
    names = [str(mail["Message-ID"]) for mail in box.mails]
    assert names[0] == names[1] != names[2]
    assert all(re.fullmatch(r"<[0-9a-f]{32}@example\.org>", name) for name in names)
    assert message_id("a", "example.org") == message_id("a", "example.org")


def test_long_subjects_and_lines_stay_within_rfc_5322() -> None:
    mail = compose(
        MailSettings("localhost", SENDER),
        to="mara@example.org",
        subject="é" * 200 + "\nBcc: other@example.org",
        body="x" * 3000 + "\n" + "é" * 1000,
        ident="1",
        at=START,
    )
    assert len(str(mail["Subject"])) == 78
    assert mail["Bcc"] is None
    raw = mail.as_bytes()
    assert max(len(line) for line in raw.split(b"\r\n")) <= 78
    raw.decode("ascii")


@pytest.mark.parametrize(
    "address", ["", "nobody", "a@", "@b", "\N{EN DASH}", "a b@example.org\nBcc: c"]
)
def test_what_is_no_address_is_of_the_person(address: str) -> None:
    with pytest.raises(PersonAway, match="not a mail address"):
        compose(
            MailSettings("localhost", SENDER), to=address, subject="s", body="b", ident="1", at=0
        )


@pytest.mark.parametrize(
    ("reply", "kind"),
    [
        ({"rcpt": "550 no such mailbox"}, PersonAway),
        ({"rcpt": "451 try later"}, Passing),
        ({"data": "554 not taken"}, MessageRefused),
        ({"data": "452 full"}, Passing),
    ],
)
async def test_refusals_are_sorted_by_their_code(
    box: Box, plain: MailSettings, reply: dict[str, str], kind: type[SendError]
) -> None:
    box.reply = reply
    with pytest.raises(SendError) as raised:
        await send(plain)
    assert type(raised.value) is kind
    assert raised.value.why.startswith("mail: ")


async def test_a_server_that_is_away_or_silent_is_passing() -> None:
    with pytest.raises(Passing):
        await send(MailSettings("127.0.0.1", SENDER, port=9, security="none"))

    async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read()
        writer.close()

    server = await asyncio.start_server(silent, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    settings = MailSettings("127.0.0.1", SENDER, port=port, security="none")
    with pytest.raises(Passing):
        await MailOut(settings, deadline=0.2).send(
            to="mara@example.org", subject="s", body="b", ident="1", at=0
        )
    server.close()


async def test_starttls_is_used_and_demanded(
    box: Box, secure: MailSettings, plain: MailSettings
) -> None:
    await send(secure)
    assert len(box.mails) == 1
    # The library's default would upgrade only where it is offered; here it is not offered.
    stripped = MailSettings("127.0.0.1", SENDER, port=plain.port)
    with pytest.raises(ChannelAway):
        await send(stripped)
    assert len(box.mails) == 1


async def test_a_certificate_that_nobody_vouches_for_is_refused(
    box: Box, secure: MailSettings
) -> None:
    with pytest.raises(SendError):
        await send(MailSettings("localhost", SENDER, port=secure.port))
    assert box.mails == []


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"sender": "nobody"}, "not an address"),
        ({"security": "none", "user": "u", "password": "p"}, "show the password"),
        ({"user": "u"}, "both user and password"),
    ],
)
def test_settings_that_cannot_work_are_told(more: dict[str, Any], says: str) -> None:
    settings = MailSettings(**({"host": "localhost", "sender": SENDER} | more))
    assert says in " ".join(settings.faults())
    assert MailSettings("localhost", SENDER).faults() == []
    assert "secret" not in repr(MailSettings("h", SENDER, password="secret"))


async def test_a_call_goes_by_mail_through_the_sender(
    bench: Bench, catalogue: Catalogue, box: Box, plain: MailSettings
) -> None:
    args = {
        "serial": "HML-4F7K2Q",
        "since": str(START),
        "contact": "@p:p1:name",
        "phone": "07700 900123",
        "where": "@t:w:hollowmere/site:alder-green",
    }
    sender = bench.sender(catalogue, mail=MailOut(plain))
    await bench.queue(message(0, root=True))
    await bench.drain(sender)
    made = message(
        1,
        "mail:mara@example.org",
        way="mail",
        template="call",
        args=args,
        urgency=ESCALATION,
        tz="Europe/London",
    )
    await bench.queue(made, message(2, "mail:nobody", way="mail"))
    await bench.drain(sender)
    (mail,) = box.mails
    assert mail["Subject"] == "Call: unit HML-4F7K2Q"
    (root,) = bench.server.messages("C0WAVE0001")
    link = bench.server.workspace
    assert "Ask Mara Venn, 07700 900123." in mail.get_content()
    assert "silent since 18:40" in mail.get_content()
    assert f"p{root['ts'].replace('.', '')}" in mail.get_content()
    assert link.team_domain in mail.get_content()
    sent = [fact for fact in bench.desk.delivered if fact.message == made.id]
    assert [fact.stamp for fact in sent] == [str(mail["Message-ID"])]
    assert [fact.why for fact in bench.desk.dead] == ["person: not a mail address: 'nobody'"]
    assert await bench.store.waiting(HOME) == 0


async def test_without_a_mail_server_the_next_way_is_due(
    bench: Bench, catalogue: Catalogue
) -> None:
    await bench.queue(message(1, "mail:mara@example.org", way="mail"))
    await bench.drain(bench.sender(catalogue))
    assert [fact.why for fact in bench.desk.dead] == ["person: no mail server is set"]


async def test_a_mail_server_that_is_away_is_tried_again_under_the_same_name(
    bench: Bench, catalogue: Catalogue, box: Box, plain: MailSettings
) -> None:
    box.reply = {"data": "452 full"}
    await bench.queue(message(1, "mail:mara@example.org", way="mail"))
    sender = bench.sender(catalogue, mail=MailOut(plain))
    swept = await sender.run_once(bench.time.wave)
    assert (swept.sent, swept.busy) == (0, False)
    assert swept.next_at is not None
    box.reply = {}
    await bench.drain(sender)
    assert len(box.mails) == 1
