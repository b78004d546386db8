"""Who is let in: every key is tried, none ends the comparison early, each source has its own."""

import hmac
from typing import Any

import pytest
from aiohttp.test_utils import make_mocked_request
from pydantic import SecretStr

from bot.intake_settings import RegistrationSettings, WebhookSource
from handlers.intake.limits import Rate
from handlers.intake.problems import Refused
from handlers.intake.trust import Trust, basic, fits
from tests.handlers.intake_kit import PASSWORD, TOKEN, certificate, source, sources, units
from tests.handlers.intake_kit import basic as basic_header


def request(**headers: str) -> Any:
    """From this machine."""
    given = {name.replace("_", "-"): value for name, value in headers.items()}
    made = make_mocked_request("POST", "/", headers=given)
    return made.clone(remote="127.0.0.1")


def status_of(call: Any) -> int:
    with pytest.raises(Refused) as caught:
        call()
    return caught.value.status


@pytest.mark.parametrize("given", ["first-of-the-two-keys", "second-of-the-two-key", "none"])
def test_every_key_is_compared_whichever_fits(given: str, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[bytes] = []
    compare = hmac.compare_digest

    def counted(one: bytes, other: bytes) -> bool:
        seen.append(other)
        return compare(one, other)

    monkeypatch.setattr(hmac, "compare_digest", counted)
    keys = [b"first-of-the-two-keys", b"second-of-the-two-key"]
    assert fits(given, keys) == (given.encode() in keys)
    assert seen == keys


def test_units_of_two_sources_are_told_apart_by_what_lets_them_in() -> None:
    other = source("others", secrets=(), passwords=(SecretStr("another-password-yes"),))
    other = other.model_copy(update={"progress": True})
    trust = Trust(sources(units(client_cert=True), other))
    assert trust.unit(request(**basic_header("X1"))).source.name == "units"
    caller = trust.unit(request(**basic_header("X2", "another-password-yes")))
    assert (caller.source.name, caller.user) == ("others", "X2")
    assert status_of(lambda: trust.unit(request(**basic_header("X2", "x" * 20)))) == 401
    assert status_of(lambda: trust.unit(request(Client_Cert=certificate("X3")))) == 401


def test_the_key_of_one_source_opens_no_other() -> None:
    trust = Trust(sources(source("a", tokens=(SecretStr(TOKEN),)), source("b")))
    asked = request(Authorization=f"Bearer {TOKEN}")
    assert trust.caller(trust.source("a"), asked, b"").source.name == "a"
    assert status_of(lambda: trust.caller(trust.source("b"), asked, b"")) == 401
    assert status_of(lambda: trust.source("c")) == 404


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({}, "needs secrets"),
        ({"tokens": ["short"]}, "16 or more"),
        ({"passwords": ["with-a\nline-break-in-it"]}, "16 or more"),
        ({"secrets": ["whsec_QUJD"]}, "24 to 64 bytes"),
        ({"public_keys": ["whpk_QUJD"]}, "32 bytes"),
        ({"tokens": [TOKEN] * 3}, "at most 2 items"),
        ({"client_cert": True}, "goes with progress"),
        ({"tokens": [TOKEN], "rate": -1}, "greater than or equal to 0"),
    ],
)
def test_a_source_that_cannot_be_is_refused(more: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says) as caught:
        WebhookSource.model_validate({"name": "x", **more})
    assert TOKEN not in str(caught.value)


def test_two_sources_have_two_names() -> None:
    with pytest.raises(ValueError, match="same name"):
        RegistrationSettings(sources=(source("a"), source("a")))


@pytest.mark.parametrize(
    ("given", "found"),
    [
        # RFC 7617, section 2: the example of the user "Aladdin", and section 2.1 for UTF-8.
        ("QWxhZGRpbjpvcGVuIHNlc2FtZQ==", ("Aladdin", "open sesame")),
        ("dGVzdDoxMjPCow==", ("test", "123\N{POUND SIGN}")),
        ("YTpiOmM=", ("a", "b:c")),  # a colon may stand in the password
        ("YWJj", ("", "")),
        ("!", ("", "")),
        ("/////w==", ("", "")),
    ],
)
def test_names_and_passwords_of_basic(given: str, found: tuple[str, str]) -> None:
    assert basic(given) == found


def test_a_rate_lets_through_what_it_says_and_tells_when_to_come_again() -> None:
    now = [100.0]
    rate = Rate(60, lambda: now[0])
    for _ in range(6):  # a tenth of it at once
        rate.take()
    with pytest.raises(Refused) as caught:
        rate.take()
    assert caught.value.headers == {"Retry-After": "1"}
    now[0] += 1
    rate.take()
    assert status_of(rate.take) == 429
    now[0] += 3600
    for _ in range(6):
        rate.take()
    assert status_of(rate.take) == 429


def test_a_password_in_the_clear_is_not_taken_from_elsewhere() -> None:
    trust = Trust(sources(units()))
    asked = request(**basic_header("X1", PASSWORD)).clone(remote="198.51.100.7")
    assert status_of(lambda: trust.unit(asked)) == 403
    assert trust.unit(asked.clone(scheme="https")).user == "X1"
