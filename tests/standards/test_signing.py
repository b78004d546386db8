"""Webhook signatures against what the Standard Webhooks project has published.

Source: the specification 1.0.0, https://github.com/standard-webhooks/standard-webhooks
(spec/standard-webhooks.md: the three headers, the signed content, several signatures in one
header, secrets of 24 to 64 bytes), the vector of its libraries' own tests
(libraries/go/webhook_test.go, TestWebhookSign, and the header example in the specification), and
its reference library for Python.
"""

import time
from datetime import UTC, datetime

import pytest
from standardwebhooks import Webhook

from handlers.signing import BadSignature, sign, verify

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
MESSAGE = "msg_p5jXN8AQM9LWM0D4loKWxJek"
STAMP = 1614265330
BODY = b'{"test": 2432232314}'
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
OTHER = "whsec_" + "QUJD" * 10
# The header as the specification shows it: two more signatures, one of another version.
SEVERAL = f"{SIGNATURE} v1,bm9ldHUjKzFob2VudXRob2VodWUzMjRvdWVvdW9ldQo= v2,MzJsNDk4MzI0K2VvdSM="


def headers(signature: str = SIGNATURE, stamp: str = str(STAMP)) -> dict[str, str]:
    return {
        "webhook-id": MESSAGE,
        "webhook-timestamp": stamp,
        "webhook-signature": signature,
    }


def checked(given: dict[str, str], body: bytes = BODY, *secrets: str, now: float = STAMP) -> str:
    return verify(given, body, secrets or (SECRET,), now, 300)


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
