"""Outgoing webhooks against a real server that is well, slow, away, or wants nothing.

Sources: Standard Webhooks 1.0.0 (2xx alone is a success; redirects are not followed; 410 Gone),
RFC 9110 (10.2.3 Retry-After).
"""

import logging
from collections.abc import AsyncIterator
from typing import Any

import pytest

from bot.model.message import ESCALATION, Button, Message
from bot.press_links import PressLinks
from bot.send.deliver import Hooks
from bot.send.errors import Passing, PersonAway
from bot.send.sender import SenderSettings
from bot.send.signing import Signer
from bot.send.webhook import Target, WebhookOut
from bot.speak.catalogue import Catalogue, standard
from tests.send.conftest import HOME, START, Bench, message
from tests.send.gateway import SECRET, Gateway

LINKS = PressLinks(b"practice-of-links-practice-of-links", "https://desk.example.org")
PERSON = {"U0002": {"name": "Ines Calloway", "phone": "07700 900123"}}
ARGS = {
    "severity": "@x:severity_major",
    "cause": "@x:cause_fault",
    "site": "Alder Green Library",
    "wave": "hollowmere",
    "call": "e1",
    "now": str(START),
}


@pytest.fixture
async def gateway() -> AsyncIterator[Gateway]:
    made = Gateway()
    await made.start()
    yield made
    await made.stop()


@pytest.fixture
def texts() -> Catalogue:
    return standard()


def out(gateway: Gateway, **more: Any) -> WebhookOut:
    target = Target("phone", more.pop("url", gateway.url), Signer([SECRET]))
    return WebhookOut([target], source="https://desk.example.org", types="org.example.desk", **more)


def ringing(number: int, **more: Any) -> Message:
    more.setdefault("not_after", START + 3_600_000)
    return message(
        number,
        f"hook:phone:U0002:alder-green:e{number}",
        way="webhook",
        template="call_hook",
        args=ARGS | {"call": f"e{number}"},
        buttons=(Button(f"e:e{number}:take", "b_take"),),
        urgency=ESCALATION,
        to="U0002",
        catalogue=standard().texts("en").version,
        **more,
    )


async def send(out: WebhookOut, name: str = "phone") -> str:
    data = {"say": "Major: the unit shows a fault.", "call": "w/s/e1"}
    try:
        return await out.send(name, "call.raised", ident="w:a/v:b.c:3:1", at=START, data=data)
    finally:
        await out.close()


async def test_what_arrives_says_who_is_called_for_what_and_where_to_take_it(
    bench: Bench, texts: Catalogue, gateway: Gateway
) -> None:
    hooks = Hooks(out(gateway), LINKS, PERSON)
    await bench.queue(ringing(1))
    await bench.drain(bench.sender(texts, hooks=hooks))
    (taken,) = gateway.taken
    event, data = taken.event, taken.data
    assert (event["specversion"], event["type"]) == ("1.0", "org.example.desk.call.raised")
    assert (event["source"], event["subject"]) == (
        "https://desk.example.org",
        "hollowmere/alder-green/e1",
    )
    assert event["id"] == taken.headers["webhook-id"]
    assert taken.headers["content-type"].startswith("application/cloudevents+json")
    assert data["say"].startswith(
        "Major: the unit shows a fault at Alder Green Library. It is 18:40"
    )
    assert data["person"] == {"user": "U0002", **PERSON["U0002"]}
    assert (data["severity"], data["cause"]) == ("major", "fault")
    press = LINKS.read(data["press"].rpartition("/")[2])
    assert press is not None
    assert (press.action, press.user, press.way) == ("e:e1:take", "U0002", "webhook:phone")
    assert str(press.subject) == "w:hollowmere/v:alder-green"
    assert [fact.stamp for fact in bench.desk.delivered] == [event["id"]]
    assert await bench.store.waiting(HOME) == 0
    await hooks.out.close()  # type: ignore[union-attr]


@pytest.mark.parametrize("status", [300, 301, 302, 307, 308, 400, 401, 403, 404, 410, 422])
async def test_what_will_not_change_is_a_dead_letter(gateway: Gateway, status: int) -> None:
    gateway.status = status
    gateway.headers = {"Location": gateway.url + "/elsewhere"}
    with pytest.raises(PersonAway, match=str(status)):
        await send(out(gateway))
    assert len(gateway.tried) == 1  # and no redirect was followed


@pytest.mark.parametrize(
    ("status", "asked", "wait"),
    [
        (500, "", None),
        (503, "7", 7_000),
        (503, "999999", 60_000),
        (503, "Thu, 12 Mar 2026 18:00:00 GMT", None),
        (429, "2", 2_000),
        (408, "", None),
    ],
)
async def test_what_may_pass_is_tried_again_when_they_ask(
    gateway: Gateway, status: int, asked: str, wait: int | None
) -> None:
    gateway.status, gateway.headers = status, {"Retry-After": asked} if asked else {}
    with pytest.raises(Passing) as raised:
        await send(out(gateway))
    assert raised.value.wait == wait


async def test_a_silent_one_is_given_up_in_its_time(gateway: Gateway) -> None:
    gateway.silent = True
    with pytest.raises(Passing, match="TimeoutError"):
        await send(out(gateway, deadline=0.1))


async def test_nobody_there_is_passing_and_no_address_is_shown(gateway: Gateway) -> None:
    with pytest.raises(Passing) as raised:
        await send(out(gateway, url="http://127.0.0.1:9/calls/of-a-secret"))
    assert "of-a-secret" not in raised.value.why


async def test_a_target_that_is_not_set_is_a_dead_letter(gateway: Gateway) -> None:
    with pytest.raises(PersonAway, match="no webhook fax"):
        await send(out(gateway), "fax")


async def test_an_answer_of_500_is_tried_again_under_the_same_id_until_it_is_taken(
    bench: Bench, texts: Catalogue, gateway: Gateway, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    gateway.status = 500
    hooks = Hooks(out(gateway), LINKS, PERSON)
    sender = bench.sender(texts, hooks=hooks)
    await bench.queue(ringing(1))
    for _ in range(4):
        swept = await sender.run_once(bench.time.wave)
        assert swept.next_at is not None
        bench.time.wave = swept.next_at
    gateway.status = 200
    await bench.drain(sender)
    assert len(gateway.tried) == 5
    assert len({one.headers["webhook-id"] for one in gateway.tried}) == 1
    assert len(gateway.taken) == 1
    shown = caplog.text
    assert SECRET.removeprefix("whsec_") not in shown
    assert gateway.url not in shown
    assert gateway.taken[0].data["press"] not in shown
    await hooks.out.close()  # type: ignore[union-attr]


async def test_killed_between_attempt_and_record_the_same_id_goes_out_again(
    bench: Bench, texts: Catalogue, gateway: Gateway
) -> None:
    class Killed(BaseException):
        pass

    def probe(point: str) -> None:
        if point == "post.after":
            raise Killed

    hooks = Hooks(out(gateway), LINKS, PERSON)
    await bench.queue(ringing(1))
    with pytest.raises(Killed):
        await bench.sender(texts, hooks=hooks, probe=probe).run_once(bench.time.wave)
    assert len(gateway.taken) == 1
    assert bench.desk.delivered == []
    await bench.drain(bench.sender(texts, hooks=hooks))
    first, second = gateway.taken
    assert first.headers["webhook-id"] == second.headers["webhook-id"]
    assert first.body == second.body
    assert len(bench.desk.delivered) == 1
    assert await bench.store.waiting(HOME) == 0
    await hooks.out.close()  # type: ignore[union-attr]


async def test_a_slow_gateway_delays_no_chat_message(
    bench: Bench, texts: Catalogue, gateway: Gateway
) -> None:
    gateway.silent = True
    hooks = Hooks(out(gateway, deadline=0.3), LINKS, PERSON)
    settings = SenderSettings(lease=1000, in_doubt_wait=500, parallel=1, parallel_calls=0)
    sender = bench.sender(texts, hooks=hooks, settings=settings)
    card = {"who": "Ines Calloway", "reason": "solved"}
    chat = message(50, "esc:alder-green:e9", root=True, template="call_closed", args=card)
    await bench.queue(*(ringing(n) for n in range(1, 13)), chat)
    swept = await sender.run_once(bench.time.wave)
    assert swept.sent == 1
    assert len(bench.texts("C0CALLS001")) == 1
    assert 0 < len(gateway.tried) <= 12
    await hooks.out.close()  # type: ignore[union-attr]


async def test_after_its_time_nobody_is_rung_up_any_more(
    bench: Bench, texts: Catalogue, gateway: Gateway
) -> None:
    gateway.status = 500
    hooks = Hooks(out(gateway), LINKS, PERSON)
    await bench.queue(ringing(1, not_after=START + 5_000))
    await bench.drain(bench.sender(texts, hooks=hooks))
    assert await bench.store.waiting(HOME) == 0
    assert (bench.desk.delivered, bench.desk.dead) == ([], [])
    assert 2 <= len(gateway.tried) <= 5
    await hooks.out.close()  # type: ignore[union-attr]


async def test_that_it_is_over_takes_the_place_of_what_was_not_sent(
    bench: Bench, texts: Catalogue, gateway: Gateway
) -> None:
    hooks = Hooks(out(gateway), LINKS, PERSON)
    first, over = ringing(1, key="call"), ringing(1, key="call")
    over = Message(
        **{f: getattr(over, f) for f in over.__struct_fields__}
        | {
            "id": f"{over.id}0",
            "template": "call_over_hook",
        }
    )
    await bench.queue(first)
    await bench.queue(over)
    await bench.drain(bench.sender(texts, hooks=hooks))
    (taken,) = gateway.taken
    assert taken.event["type"] == "org.example.desk.call.over"
    assert "press" not in taken.data
    await hooks.out.close()  # type: ignore[union-attr]
