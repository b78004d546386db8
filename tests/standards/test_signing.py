"""Webhook signatures against what the Standard Webhooks project has published.

Source: the specification 1.0.0, https://github.com/standard-webhooks/standard-webhooks
(spec/standard-webhooks.md: the three headers, the signed content, several signatures in one
header, secrets of 24 to 64 bytes), the vector of its libraries' own tests
(libraries/go/webhook_test.go, TestWebhookSign, and the header example in the specification), and
its reference library for Python.
"""

import base64
import time
from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from standardwebhooks import Webhook

from handlers.signing import BadSignature, Keys, sign

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
MESSAGE = "msg_p5jXN8AQM9LWM0D4loKWxJek"
STAMP = 1614265330
BODY = b'{"test": 2432232314}'
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
OTHER = "whsec_" + "QUJD" * 10
# The header as the specification shows it: two more signatures, one of another version.
SEVERAL = f"{SIGNATURE} v1,bm9ldHUjKzFob2VudXRob2VodWUzMjRvdWVvdW9ldQo= v2,MzJsNDk4MzI0K2VvdSM="


def at_once(stamp: int) -> float:
    """The clock of whoever gets it as soon as it is signed."""
    return stamp


def headers(signature: str = SIGNATURE, stamp: str = str(STAMP)) -> dict[str, str]:
    return {
        "webhook-id": MESSAGE,
        "webhook-timestamp": stamp,
        "webhook-signature": signature,
    }


def checked(given: dict[str, str], body: bytes = BODY, *secrets: str, now: float = STAMP) -> str:
    return Keys(secrets or (SECRET,)).verify(given, body, lambda _stamp: now, 300)


def test_the_published_vector_is_signed_alike() -> None:
    assert sign(SECRET, MESSAGE, STAMP, BODY) == SIGNATURE


def test_the_published_vector_is_accepted() -> None:
    assert checked(headers()) == MESSAGE
    assert checked(headers(SEVERAL)) == MESSAGE


@pytest.mark.parametrize("now", [STAMP - 300, STAMP, STAMP + 300])
def test_five_minutes_are_tolerated(now: float) -> None:
    assert checked(headers(), now=now) == MESSAGE


@pytest.mark.parametrize("now", [STAMP - 301, STAMP + 301])
def test_more_is_not(now: float) -> None:
    with pytest.raises(BadSignature, match="too far"):
        checked(headers(), now=now)


def test_two_secrets_may_stand_side_by_side() -> None:
    assert checked(headers(), BODY, OTHER, SECRET) == MESSAGE
    assert checked(headers(), BODY, SECRET, OTHER) == MESSAGE


@pytest.mark.parametrize(
    "given",
    [
        {k: v for k, v in headers().items() if k != missing}
        for missing in ("webhook-id", "webhook-timestamp", "webhook-signature")
    ]
    + [
        headers("v1,Ceo5qEr07ixe2NLpvHk3FH9bwy/WavXrAFQ/9tdO6mc="),  # of the published tests
        headers(SIGNATURE.replace("v1,", "v2,")),
        headers(SIGNATURE.removeprefix("v1,")),
        headers("v1,"),
        headers(stamp="yesterday"),
        headers(stamp="-1614265330"),
        headers(stamp="1614265330.5"),
        headers(stamp="\N{ARABIC-INDIC DIGIT ONE}"),
        headers(stamp="9" * 400),
        {**headers(), "webhook-id": "msg_another"},
    ],
)
def test_anything_else_is_refused(given: dict[str, str]) -> None:
    with pytest.raises(BadSignature):
        checked(given)


def test_another_body_or_secret_is_refused() -> None:
    with pytest.raises(BadSignature):
        checked(headers(), BODY + b" ")
    with pytest.raises(BadSignature):
        checked(headers(), BODY, OTHER)


def test_the_reference_library_and_we_agree_both_ways() -> None:
    now = int(time.time())
    reference = Webhook(SECRET)
    theirs = reference.sign(MESSAGE, datetime.fromtimestamp(now, UTC), BODY.decode())
    assert checked(headers(theirs, str(now)), now=now) == MESSAGE
    ours = headers(sign(SECRET, MESSAGE, now, BODY), str(now))
    assert reference.verify(BODY, ours) == {"test": 2432232314}


def test_a_secret_without_padding_is_the_same_secret() -> None:
    # The reference library takes a secret without its padding too.
    padded = "whsec_cHJhY3RpY2UtcHJhY3RpY2UtcHJhY3RpY2U="
    assert sign(padded, MESSAGE, STAMP, BODY) == sign(padded.rstrip("="), MESSAGE, STAMP, BODY)
    theirs = Webhook(padded.rstrip("=")).sign(
        MESSAGE, datetime.fromtimestamp(STAMP, UTC), BODY.decode()
    )
    assert sign(padded, MESSAGE, STAMP, BODY) == theirs


# --- asymmetric --------------------------------------------------------------------------------

# Source: libraries/go/webhook_asymmetric_test.go of the same repository
# (TestAsymmetricWebhookSign): the seed of an ed25519 key, and what it signs of the message above.
SEED = "VEVTVFNJR05JTkdLRVlET05PVFVTRVRISVNGT1JBTlk="
SIGNED = (
    "v1a,tQ9V2XOqn7jL/DQenEFpqIugdBVtiMmER5mhSkXBNwM0mkATuDe6KYYUuxqtaiHeYGb7KaaBRdM5WqyeFiL8Ag=="
)


def public_key(seed: str) -> str:
    private = Ed25519PrivateKey.from_private_bytes(base64.b64decode(seed))
    return "whpk_" + base64.b64encode(private.public_key().public_bytes_raw()).decode()


def test_the_published_asymmetric_vector_is_accepted() -> None:
    keys = Keys((), (public_key(SEED),))
    assert keys.verify(headers(SIGNED), BODY, at_once, 300) == MESSAGE
    # Beside signatures of other versions, as the specification has it ("Webhook Headers").
    several = f"{SIGNATURE.replace('g', 'h')} {SIGNED} v2,AAAA"
    assert keys.verify(headers(several), BODY, at_once, 300) == MESSAGE


def test_both_kinds_and_two_of_a_kind_may_stand_side_by_side() -> None:
    other = public_key("V0VCSE9PS0FTWU1NRVRSSUNURVNUUFJJVkFURUtFWTE=")  # of the same tests
    keys = Keys((SECRET, OTHER), (other, public_key(SEED)))
    for given in (SIGNED, SIGNATURE):
        assert keys.verify(headers(given), BODY, at_once, 300) == MESSAGE


@pytest.mark.parametrize(
    "signature",
    [
        "v1a,",  # of the published tests, as the next one
        "v1a,Ceo5qEr07ixe2NLpvHk3FH9bwy/WavXrAFQ/9tdO6mc=",
        SIGNED.replace("v1a,", "v1,"),
        SIGNED.replace("tQ9V", "tQ9W"),
        SIGNED.rstrip("="),
        "v1a,\udcff\udcfe",  # what a header that is no UTF-8 comes as
        SIGNATURE,  # symmetric, and no such secret is known
    ],
)
def test_any_other_asymmetric_signature_is_refused(signature: str) -> None:
    with pytest.raises(BadSignature):
        Keys((), (public_key(SEED),)).verify(headers(signature), BODY, at_once, 300)


@pytest.mark.parametrize(
    ("secrets", "public"),
    [
        (("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",), ()),
        (("whsec_*",), ()),
        ((), ("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",)),
        ((), ("whpk_QUJD",)),
    ],
)
def test_what_is_no_key_is_refused_at_the_start(
    secrets: tuple[str, ...], public: tuple[str, ...]
) -> None:
    with pytest.raises(ValueError, match=r"webhook key|32 bytes"):
        Keys(secrets, public)
