"""What is odd about a registration comes to the admins, and nothing is done without one of them."""

import logging
from typing import Any

import pytest
from pydantic import SecretStr

from bot.model.fact import Actor, Ordered
from bot.model.subject import ASIDE, of_wave
from bot.plan.rows import SiteRow
from bot.practice import scene
from handlers.intake.places import distance, within
from tests.handlers.intake_kit import (
    CLOUD,
    PASSWORD,
    SERIAL,
    TOKEN,
    basic,
    call,
    event,
    post,
    report,
    signed,
    source,
    sources,
    units,
)
from tests.handlers.kit import ADMIN, ONCALL, ROWS, WAVE, Room, actions, open_room, template

OTHER = "HML-MTHE79"
TEAM = scene.TEAM_CHANNEL


def listed() -> list[SiteRow]:
    """The two sites, each with a network of its own."""
    networks = (["192.0.2.0/25"], ["192.0.2.128/25"])
    return [
        row.model_copy(update={"networks": own}) for row, own in zip(ROWS, networks, strict=True)
    ]


def notes(room: Room) -> list[dict[str, Any]]:
    """What the team was told of things kept aside, oldest first."""
    return [m for m in room.server.messages(TEAM) if template(m).startswith("kept_")]


async def press(room: Room, verb: str, user: str = ADMIN) -> None:
    """The newest button for that."""
    for message in reversed(notes(room)):
        for action in actions(message):
            if action.endswith(f":{verb}"):
                await room.server.press(user, TEAM, str(message["ts"]), action)
                await room.rest()
                return
    raise LookupError(f"no button {verb}")


def from_address(number: int, serial: str, address: str) -> dict[str, Any]:
    return event(number, serial, data={"serial": serial, "address": address})


# --- a serial nobody expects -------------------------------------------------------------------


async def test_a_mistyped_serial_is_proposed_and_counts_once_an_admin_says_so(room: Room) -> None:
    await post(room, event(1, "HML-4F7K2G"))
    await room.rest()
    (note,) = notes(room)
    assert template(note) == "kept_aside_likely"
    labels = [e["text"]["text"] for b in note["blocks"][1:] for e in b.get("elements", [])]
    assert labels == ["For HML-4F7K2Q at Alderbeck Library", "Leave it"]
    assert not (await room.visit("alderbeck")).units[0].online

    await press(room, "assign1", ONCALL)
    assert not (await room.visit("alderbeck")).units[0].online  # not theirs to decide

    await press(room, "assign1")
    (unit,) = (await room.visit("alderbeck")).units
    assert (unit.serial, unit.online) == ("HML-4F7K2G", True)
    assert template(notes(room)[-1]) == "kept_done_assign"
    assert "online_thanks" in await room.templates("alderbeck")
    # From now on it is the unit that is expected there.
    lost = await post(room, event(2, "hml 4f7k2g", type="org.example.unit.lost"))
    assert lost.json == {"outcome": "ok"}
    await press(room, "assign1")  # the same button again
    assert len(notes(room)) == 2


async def test_what_is_left_aside_stays_there(room: Room) -> None:
    await post(room, event(1, "HML-4F7K2G"))
    await room.rest()
    await press(room, "ignore")
    assert template(notes(room)[-1]) == "kept_done_ignore"
    assert not (await room.visit("alderbeck")).units[0].online
    kept = await room.bot.desk.state(ASIDE)
    assert [item.settled for item in kept.items] == ["ignore"]


async def test_signs_of_life_of_an_unknown_unit_are_one_line_not_a_thousand(room: Room) -> None:
    for number in range(5):
        await post(room, event(number, "HML-NOBODY", type="org.example.unit.alive"))
    await room.rest()
    assert len(notes(room)) == 1
    assert (await room.bot.desk.state(ASIDE)).count == 1


async def test_a_serial_that_looks_like_a_reference_stays_text(room: Room) -> None:
    await post(room, event(1, "@p:k1:mobile"))
    await room.rest()
    assert "@p:k1:mobile (from registry)" in notes(room)[0]["text"]


# --- a wave that is over -----------------------------------------------------------------------


async def test_a_unit_of_a_closed_wave_is_kept_until_an_admin_counts_it(room: Room) -> None:
    order = Ordered(
        id="close",
        subject=of_wave(WAVE),
        received_at=room.clock.now(),
        actor=Actor(ADMIN, admin=True),
        order="close",
    )
    await room.bot.desk.receive(order)
    assert (await post(room, event(1))).json == {"outcome": "kept"}
    await room.rest()
    assert template(notes(room)[-1]) == "kept_closed"
    assert not (await room.visit("alderbeck")).units[0].online
    await press(room, "assign1")
    assert (await room.visit("alderbeck")).units[0].online


# --- from elsewhere ----------------------------------------------------------------------------


async def test_from_the_sites_own_network_nothing_is_odd(store_url: str) -> None:
    async with open_room(store_url, listed()) as room:
        await post(room, from_address(1, SERIAL, "192.0.2.5"))
        await room.rest()
        assert (await room.visit("alderbeck")).units[0].online
        assert notes(room) == []


async def test_from_nowhere_known_it_counts_and_is_flagged_once(store_url: str) -> None:
    async with open_room(store_url, listed()) as room:
        for number in range(2):
            await post(room, from_address(number, SERIAL, "198.51.100.5"))
        await room.rest()
        assert (await room.visit("alderbeck")).units[0].online
        assert [template(note) for note in notes(room)] == ["kept_outside"]


async def test_swapped_boxes_are_swapped_in_the_plan_by_an_admin(store_url: str) -> None:
    async with open_room(store_url, listed()) as room:
        await room.to_start()
        await post(room, from_address(1, SERIAL, "192.0.2.200"))  # at the other site
        await room.rest()
        assert template(notes(room)[-1]) == "kept_swapped"
        assert "HML-4F7K2Q of Alderbeck Library" in notes(room)[-1]["text"]
        assert (await room.visit("alderbeck")).units[0].online
        await press(room, "swap")
        here, there = await room.visit("alderbeck"), await room.visit("ambermere")
        assert (here.units[0].serial, here.units[0].online) == (OTHER, False)
        assert (there.units[0].serial, there.units[0].online) == (SERIAL, True)
        # The box that lies at Alderbeck registers from there, and all is well.
        answer = await post(room, from_address(2, OTHER, "192.0.2.5"))
        assert answer.json == {"outcome": "ok"}
        assert (await room.visit("alderbeck")).units[0].online
        await room.rest()
        assert template(notes(room)[-1]) == "kept_done_swap"


async def test_a_unit_that_comes_and_goes_is_told_once(room: Room) -> None:
    for number in range(4):
        kind = "lost" if number % 2 else "registered"
        await post(room, event(number, type=f"org.example.unit.{kind}"))
    await post(room, event(9))
    await room.rest()
    assert [template(note) for note in notes(room)] == ["kept_flapping"]


async def test_the_record_of_all_that_can_be_checked(room: Room) -> None:
    from bot.desk.replay import verify

    await post(room, event(1, "HML-4F7K2G"))
    await room.rest()
    await press(room, "assign1")
    await post(room, event(2, "HML-NOBODY"))
    await room.rest()
    await press(room, "ignore")
    assert (await verify(room.bot.store)).problems == []


# --- limits and secrets ------------------------------------------------------------------------


async def test_more_than_the_limits_is_refused(room: Room) -> None:
    body = b"{}"
    many = {f"x-{n}": "1" for n in range(70)}
    headers = {"Content-Type": CLOUD, **signed(body), **many}
    assert (await call(room, "POST", "/registrations/registry", body, headers)).status == 431
    nested: Any = 1
    for _ in range(40):
        nested = {"a": nested}
    assert (await post(room, event(1, data={"serial": SERIAL, "more": nested}))).status == 400
    assert not (await room.visit("alderbeck")).units[0].online


async def test_nothing_secret_stands_in_answers_or_logs(
    store_url: str, caplog: pytest.LogCaptureFixture
) -> None:
    chosen = sources(source(tokens=(SecretStr(TOKEN),)), units())
    caplog.set_level(logging.DEBUG)
    async with open_room(store_url, registration=chosen) as room:
        path, body = "/registrations/registry", b"{}"
        found = [
            await post(room, b"{}"),
            await call(room, "POST", path, body, {"Authorization": f"Bearer {TOKEN}x"}),
            await call(room, "POST", f"{path}?access_token={TOKEN}", body),
            await call(room, "POST", path, body, {"Authorization": f"Bearer {TOKEN}"}),
            await report(room, "informational", headers=basic(SERIAL, PASSWORD + "x")),
            await report(room, "informational"),
        ]
        assert [one.status for one in found] == [400, 401, 415, 415, 401, 204]
        said = " ".join(str((one.body, dict(one.headers))) for one in found)
    secret = scene.WEBHOOK_SECRET.removeprefix("whsec_")
    for hidden in (TOKEN, PASSWORD, secret, basic(SERIAL, PASSWORD)["Authorization"]):
        assert hidden not in said
        assert hidden not in caplog.text
    assert TOKEN not in repr(chosen)


async def test_without_a_source_it_is_closed_and_says_so(
    store_url: str, caplog: pytest.LogCaptureFixture
) -> None:
    from bot.intake_settings import RegistrationSettings

    async with open_room(store_url, registration=RegistrationSettings()) as room:
        assert "no registration is taken: there are no registration.sources" in caplog.text
        assert (await post(room, event(1))).status == 404
        assert (await report(room, "informational")).status == 404


# --- parts -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "other", "most", "typos"),
    [
        ("HML4F7K2Q", "HML4F7K2Q", 2, 0),
        ("HML4F7K2Q", "HML4F7K2G", 2, 1),
        ("HML4F7K2Q", "HM4F7K2Q", 2, 1),
        ("HML4F7K2Q", "HML4F7KQ2", 2, 2),
        ("HML4F7K2Q", "HMLMTHE79", 2, 3),
        ("A", "ABCDE", 2, 3),
    ],
)
def test_how_much_two_serials_differ(one: str, other: str, most: int, typos: int) -> None:
    assert distance(one, other, most) == distance(other, one, most) == typos


def test_an_address_that_is_none_is_not_outside() -> None:
    assert within("192.0.2.7", ("192.0.2.0/24",))
    assert not within("198.51.100.7", ("192.0.2.0/24", "not a network"))
    assert within("somewhere", ("192.0.2.0/24",))
