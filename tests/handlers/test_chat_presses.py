"""Buttons, the chat command and accounts, through the real framework."""

from bot.practice import scene
from tests.handlers.kit import ADMIN, ONCALL, STRANGER, Room, open_room

CONTACT, OTHER = "U0101", "U0102"


async def test_a_press_is_acknowledged_after_its_commit(room: Room) -> None:
    done = await room.press(CONTACT, "alderbeck", "yes")
    assert done.status == 200
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_stale_press_is_told_to_the_one_who_pressed_alone(room: Room) -> None:
    stamp, action = await room.button("alderbeck", "yes")
    await room.server.press(CONTACT, room.channel, stamp, action)
    await room.rest()
    before = len(room.server.messages(room.channel))
    await room.server.press(CONTACT, room.channel, stamp, action)
    assert "earlier question" in room.hints(room.channel, CONTACT)[-1]
    await room.rest()
    assert len(room.server.messages(room.channel)) == before


async def test_the_wrong_person_is_told_and_nothing_happens(room: Room) -> None:
    await room.press(OTHER, "alderbeck", "yes")
    assert "someone else" in room.hints(room.channel, OTHER)[-1]
    assert (await room.visit("alderbeck")).state == "invited"


async def test_the_same_press_sent_twice_counts_once(room: Room) -> None:
    stamp, action = await room.button("alderbeck", "yes")
    await room.server.press(CONTACT, room.channel, stamp, action)
    payload = room.server.deliveries[-1].payload
    again = await room.server.sender.send("interactive", payload)
    assert again.ok
    assert len(await room.heard("alderbeck")) == 1
    assert room.hints(room.channel, CONTACT) == []


async def test_a_button_of_no_visit_is_called_old(room: Room) -> None:
    stamp, action = await room.button("alderbeck", "yes")
    message = room.server.workspace.channels[room.channel].messages[stamp]
    for block in message["blocks"]:
        for element in block.get("elements", []):
            element["value"] = "w:gone/v:nowhere"
    assert (await room.server.press(CONTACT, room.channel, stamp, action)).ok
    assert "earlier question" in room.hints(room.channel, CONTACT)[-1]


async def test_a_call_is_taken_by_one_of_the_team(room: Room) -> None:
    await room.to_start()
    await room.say(CONTACT, "alderbeck", "help")
    await room.rest()
    (call,) = room.posts(scene.TEAM_CHANNEL, "call")
    take = next(b["action_id"] for b in call["blocks"][-1]["elements"])
    await room.server.press(ONCALL, scene.TEAM_CHANNEL, str(call["ts"]), take)
    await room.rest()
    assert (await room.visit("alderbeck")).calls[0].taken_by == ONCALL
    await room.server.press("U0003", scene.TEAM_CHANNEL, str(call["ts"]), take)
    assert "already taken" in room.hints(scene.TEAM_CHANNEL, "U0003")[-1]


# --- the command ------------------------------------------------------------------------------


async def order(room: Room, user: str, text: str, channel: str = "") -> str:
    done = await room.server.command(user, channel or room.channel, "/wave", text)
    assert done.status == 200
    return done.body


async def test_status_is_shown_to_the_team_and_to_nobody_else(room: Room) -> None:
    assert "0 of 2 units online" in await order(room, ONCALL, "")
    assert "0 of 2 units online" in await order(room, ADMIN, "status")
    refused = await order(room, CONTACT, "status")
    assert "only the team" in refused
    assert "units" not in refused


async def test_only_an_admin_holds_and_resumes(room: Room) -> None:
    assert "Only an admin" in await order(room, ONCALL, "hold")
    assert not (await room.wave()).held
    assert "are held" in await order(room, ADMIN, "hold")
    assert (await room.wave()).holds == ("ordered",)
    assert "held already" in await order(room, ADMIN, "hold")
    assert "go on" in await order(room, ADMIN, "resume")
    assert not (await room.wave()).held
    assert "was not held" in await order(room, ADMIN, "resume")


async def test_one_site_and_one_unit_are_shown(room: Room) -> None:
    assert "Alderbeck Library" in await order(room, ONCALL, "site Alderbeck Library")
    assert "Alderbeck Library" in await order(room, ONCALL, "site alderbeck")
    assert "no site" in await order(room, ONCALL, "site nowhere")
    assert "Which site" in await order(room, ONCALL, "site")
    assert "Alderbeck Library" in await order(room, ONCALL, "unit hml 4f7k2q")
    assert "No wave expects" in await order(room, ONCALL, "unit HML-AAAAAA")
    assert "Which unit" in await order(room, ONCALL, "unit")


async def test_help_and_what_is_not_known(room: Room) -> None:
    assert "/wave hold" in await order(room, ONCALL, "help")
    assert "dance" in await order(room, ONCALL, "dance")


async def test_the_wave_may_be_named_in_another_channel(room: Room) -> None:
    other = room.server.add_channel("elsewhere", members=[ADMIN])
    assert "units online" in await order(room, ADMIN, "status hollowmere-1", other)
    assert "units online" in await order(room, ADMIN, "status", other)  # the only one there is


async def test_the_command_has_the_name_of_the_settings(store_url: str) -> None:
    async with open_room(store_url, command="/rollout") as room:
        done = await room.server.command(ONCALL, room.channel, "/rollout", "help")
        assert "/rollout hold" in done.body
        unknown = await room.server.command(ONCALL, room.channel, "/wave", "help")
        assert not unknown.ok


# --- accounts -----------------------------------------------------------------------------------


async def test_a_contact_whose_account_is_disabled_is_noticed(room: Room) -> None:
    await room.to_start()
    await room.server.change_user(CONTACT, deleted=True)
    await room.pass_time(5)
    visit = await room.visit("alderbeck")
    assert visit.contact.disabled
    assert [c.cause for c in visit.open_calls] == ["unreachable"]
    await room.server.change_user(CONTACT, deleted=False)
    assert not (await room.visit("alderbeck")).contact.disabled


async def test_a_new_name_is_noticed_and_changes_nothing(room: Room) -> None:
    await room.server.change_user(CONTACT, name="Another Name")
    assert any('"account_renamed"' in event for _, _, event in await room.journal())
    assert (await room.visit("alderbeck")).state == "invited"


async def test_a_person_on_call_whose_account_is_disabled_is_not_called(room: Room) -> None:
    await room.server.change_user(ONCALL, deleted=True)
    told = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
    assert "Ines Calloway is disabled" in told[-1]
    await room.to_start()
    await room.say(CONTACT, "alderbeck", "help")
    await room.rest()
    (call,) = room.posts(scene.TEAM_CHANNEL, "call")
    assert "<@U0003>" in call["text"]
    await room.server.change_user(ONCALL, deleted=False)
    assert room.bot.desk.surroundings.roster.find(ONCALL) is not None


async def test_strangers_accounts_are_no_concern(room: Room) -> None:
    await room.server.change_user(STRANGER, deleted=True)
    assert room.server.deliveries[-1].ok
