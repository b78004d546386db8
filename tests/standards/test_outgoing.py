"""What we send to gateways and by mail, read by the libraries of those who wrote the standards.

Sources: Standard Webhooks 1.0.0 and its reference library for Python (``standardwebhooks``);
ed25519 of RFC 8032, checked by ``cryptography``, in the form of that specification's "Asymmetric"
section (``v1a``); CloudEvents 1.0.2, read by the project's own library for Python
(``cloudevents``); RFC 5322 (message format) and RFC 2045 (MIME), read by the standard library's
parser after a real SMTP server (RFC 5321) took it.
"""

import base64
import re
import time
from collections.abc import AsyncIterator, Iterator

import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from standardwebhooks import Webhook, WebhookVerificationError

from bot.model.message import ESCALATION, Button, Message
from bot.press_links import PressLinks
from bot.send.deliver import Deliver, Hooks
from bot.send.mail import MailOut
from bot.send.signing import Signer
from bot.send.webhook import Target, WebhookOut
from bot.speak.catalogue import standard
from handlers.signing import Keys
from tests.send.gateway import Gateway
from tests.send.mailbox import MailBox, links, read

OLD = "whsec_" + base64.b64encode(b"an old key of twenty-four").decode()
NEW = "whsec_" + base64.b64encode(b"the new one, also long enough").decode()
SEED = bytes(range(32))
PRIVATE = "whsk_" + base64.b64encode(SEED).decode()
AT = 1_773_340_800_000  # 2026-03-12 18:40 UTC
DATA = {"say": "Größer: Störung in Alderbeck.", "call": "hollowmere-1/alderbeck/e1"}


@pytest.fixture
async def gateway() -> AsyncIterator[Gateway]:
    made = Gateway()
    await made.start()
    yield made
    await made.stop()


async def sent(gateway: Gateway, secrets: list[str], private: list[str]) -> None:
    target = Target("phone", gateway.url, Signer(secrets, private))
    out = WebhookOut([target], source="https://desk.example.org", types="org.example.desk")
    await out.send("phone", "call.raised", ident="w:hollowmere-1/v:a.b:3:1", at=AT, data=DATA)
    await out.close()


async def test_the_reference_library_verifies_both_keys_while_one_is_changed(
    gateway: Gateway,
) -> None:
    await sent(gateway, [OLD, NEW], [])
    (taken,) = gateway.taken
    for key in (OLD, NEW):
        assert Webhook(key).verify(taken.body, dict(taken.headers)) == taken.event
    other = "whsec_" + base64.b64encode(b"a key that was never used!").decode()
    with pytest.raises(WebhookVerificationError):
        Webhook(other).verify(taken.body, dict(taken.headers))
    with pytest.raises(WebhookVerificationError):
        Webhook(OLD).verify(taken.body + b" ", dict(taken.headers))


async def test_an_ed25519_signature_is_good_and_stands_beside_the_other(gateway: Gateway) -> None:
    await sent(gateway, [OLD], [PRIVATE])
    (taken,) = gateway.taken
    given = dict(part.split(",") for part in taken.headers["webhook-signature"].split(" "))
    assert sorted(given) == ["v1", "v1a"]
    said = f"{taken.headers['webhook-id']}.{taken.headers['webhook-timestamp']}.".encode()
    public = Ed25519PrivateKey.from_private_bytes(SEED).public_key()
    public.verify(base64.b64decode(given["v1a"]), said + taken.body)
    with pytest.raises(InvalidSignature):
        public.verify(base64.b64decode(given["v1a"]), said + taken.body + b" ")
    shown = "whpk_" + base64.b64encode(public.public_bytes_raw()).decode()
    assert Keys((), (shown,)).verify(taken.headers, taken.body, lambda _s: time.time(), 300)
    assert Webhook(OLD).verify(taken.body, dict(taken.headers))


async def test_the_id_has_no_dot_in_it(gateway: Gateway) -> None:
    """The specification, "Signature scheme": what is signed is cut at full stops."""
    await sent(gateway, [OLD], [])
    assert re.fullmatch(r"msg_[0-9a-f]{32}", gateway.taken[0].headers["webhook-id"])


async def test_the_library_of_cloudevents_reads_the_event(gateway: Gateway) -> None:
    await sent(gateway, [OLD], [])
    (taken,) = gateway.taken
    found = from_http_event(HTTPMessage(dict(taken.headers), taken.body))
    assert found.get_specversion() == "1.0"
    assert found.get_id() == taken.headers["webhook-id"]
    assert found.get_source() == "https://desk.example.org"
    assert found.get_type() == "org.example.desk.call.raised"
    assert found.get_subject() == DATA["call"]
    moment = found.get_time()
    assert moment is not None
    assert round(moment.timestamp() * 1000) == AT
    assert found.get_data() == DATA


# --- mail ----------------------------------------------------------------------------------------


@pytest.fixture
def box() -> Iterator[MailBox]:
    made = MailBox()
    made.start()
    yield made
    made.stop()


@pytest.mark.parametrize("template", ["call_mail_link", "wave_call_mail_link", "way_test_mail"])
@pytest.mark.parametrize("lang", ["en", "de"])
async def test_a_mail_to_the_team_is_plain_and_has_one_link(
    box: MailBox, template: str, lang: str
) -> None:
    made = PressLinks(b"practice-of-links-practice-of-links", "https://desk.example.org")
    message = Message(
        id="w:hollowmere-1/v:alderbeck:12:3",
        way="mail",
        thread="mail:ines@example.org",
        template=template,
        args={"site": "Alderbeck Library – Lesesaal", "until": str(AT), "now": str(AT)},
        buttons=(Button("e:e1:take", "b_take"),),
        lang=lang,
        urgency=ESCALATION,
        made_at=AT,
        to="U0002",
    )
    deliver = Deliver(
        None,  # type: ignore[arg-type]  # no thread is looked up
        None,  # type: ignore[arg-type]
        standard(),
        _nobody,
        MailOut(box.settings),
        lambda _point: None,
        hooks=Hooks(None, made),
    )
    await deliver.mail(message)
    (raw,) = box.raw
    mail = read(raw)
    assert mail.defects == []
    assert (mail["MIME-Version"], mail.get_content_type()) == ("1.0", "text/plain")
    assert mail["To"] == "ines@example.org"
    assert [len(mail.get_all(name, [])) for name in ("From", "Date", "Message-ID", "Subject")] == [
        1
    ] * 4
    assert max(len(line) for line in raw.split(b"\r\n")) <= 78
    raw.decode("ascii")
    (link,) = links(mail.get_content())
    press = made.read(link.rpartition("/")[2])
    assert press is not None
    assert (press.user, press.way, press.action) == ("U0002", "mail", "e:e1:take")


async def _nobody(_key: str) -> None:
    return None
