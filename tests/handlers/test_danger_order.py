"""The order is fixed: the safety answer arrives first, then the stop is written, then people.

Proven by what arrives at the stand-in, and at the store, in one list.
"""

from collections.abc import Awaitable, Callable, Sequence

import pytest

from bot.practice import scene
from bot.practice.chatserver.web import ApiCall
from bot.speak.catalogue import Catalogue
from bot.speak.lexicon import languages
from bot.store.commit import Commit, Done, Known, Stale
from tests.handlers.kit import ONCALL, STRANGER, Json, OwnStore, Room, open_room, template
from tests.handlers.test_readback import away

CONTACT = "U0101"
TEXTS = Catalogue.load()
ENGLISH = TEXTS.best("en").say("danger", {})
GERMAN = TEXTS.best("de").say("danger", {})
STOP = "the stop is written"
needs_german = pytest.mark.skipif("de" not in languages(), reason="needs the German words")


async def in_thread(room: Room, words: str) -> str:
    await room.say(CONTACT, "alderbeck", words)
    return room.channel


async def in_the_channel(room: Room, words: str) -> str:
    await room.server.say(CONTACT, room.channel, words)
    return room.channel


async def directly(room: Room, words: str) -> str:
    await room.server.dm(CONTACT, words)
    return room.server.workspace.dm_with(CONTACT).id


async def by_an_edit(room: Room, words: str) -> str:
    stamp = await room.say(CONTACT, "alderbeck", "one moment please")
    await room.settle()
    room.server.calls.clear()
    await room.server.edit(CONTACT, room.channel, stamp, words)
    return room.channel


async def _with_file(room: Room, text: str, file: Json) -> str:
    root = await room.root("alderbeck")
    whole = {"id": "F0001", "name": "IMG_0001.jpg", **file}
    await room.server.say(CONTACT, room.channel, text, thread_ts=root, files=[whole])
    return room.channel


async def in_a_file_title(room: Room, words: str) -> str:
    return await _with_file(room, "look", {"title": words})


async def in_a_file_name(room: Room, words: str) -> str:
    return await _with_file(room, "look", {"name": words.replace(" ", "_") + ".jpg"})


async def under_a_picture(room: Room, words: str) -> str:
    return await _with_file(room, words, {"title": "IMG_0001.jpg"})


async def in_a_pictures_comment(room: Room, words: str) -> str:
    return await _with_file(room, "", {"initial_comment": {"comment": words}})


async def by_mention(room: Room, words: str) -> str:
    root = await room.root("alderbeck")
    await room.server.mention(CONTACT, room.channel, words, thread_ts=root)
    return room.channel


Way = Callable[[Room, str], Awaitable[str]]
WAYS: tuple[Way, ...] = (
    in_thread,
    in_the_channel,
    directly,
    by_an_edit,
    in_a_file_title,
    in_a_file_name,
    under_a_picture,
    in_a_pictures_comment,
    by_mention,
)


def watched(room: Room, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What happens from here on: each text that arrives, its channel before it, and the stop."""
    happened: list[str] = []
    calls, commit = room.server.calls, room.bot.store.commit

    async def writes(what: Commit) -> Done | Known | Stale:
        if b'"event":"stopped"' in b"".join(what.entries):
            happened.extend(_texts(calls))
            calls.clear()
            happened.append(STOP)
        return await commit(what)

    monkeypatch.setattr(room.bot.store, "commit", writes)
    calls.clear()
    return happened


def _texts(calls: Sequence[ApiCall]) -> list[str]:
    posts = [call.args for call in calls if call.method == "chat.postMessage"]
    return [f"{post['channel']}: {post.get('text', '')}" for post in posts]


@pytest.mark.parametrize("way", WAYS)
async def test_the_fixed_answer_then_the_stop_then_people(
    room: Room, monkeypatch: pytest.MonkeyPatch, way: Way
) -> None:
    await room.rest()
    happened = watched(room, monkeypatch)
    where = await way(room, "there is smoke coming out")
    await in_order(room, happened, f"{where}: {ENGLISH}")


@needs_german
@pytest.mark.parametrize("way", [in_thread, directly, by_an_edit, in_a_file_title])
async def test_german_words_from_an_english_site(
    room: Room, monkeypatch: pytest.MonkeyPatch, way: Way
) -> None:
    await room.rest()
    happened = watched(room, monkeypatch)
    where = await way(room, "da kommt Rauch raus")
    await in_order(room, happened, f"{where}: {GERMAN}")


async def test_an_edit_of_what_was_read_back_after_a_gap(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = await room.root("alderbeck")
    async with away(room):
        stamp = await room.server.say(CONTACT, room.channel, "one moment", thread_ts=root)
    happened = watched(room, monkeypatch)
    await room.server.edit(CONTACT, room.channel, stamp, "there is smoke coming out")
    await in_order(room, happened, f"{room.channel}: {ENGLISH}")


async def in_order(room: Room, happened: list[str], fixed: str) -> None:
    """First the fixed answer, then the stop, then people."""
    await room.rest()
    happened += _texts(room.server.calls)
    assert happened[:2] == [fixed, STOP]
    assert any(text.startswith(f"{scene.TEAM_CHANNEL}: ") for text in happened)
    assert (await room.visit("alderbeck")).stopped_at is not None


@needs_german
async def test_words_of_two_languages_are_answered_in_both(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "smoke! Rauch!")
    answers = [m for m in await room.thread("alderbeck") if template(m) == "danger"]
    texts = str(answers[0]["text"]).split("\n\n")
    assert sorted(texts) == sorted([ENGLISH, GERMAN])


@needs_german
async def test_german_words_from_an_english_site_are_said_in_the_sites_language_too(
    room: Room,
) -> None:
    await room.say(CONTACT, "alderbeck", "es brennt")
    await room.rest()
    texts = [str(m["text"]) for m in await room.thread("alderbeck") if template(m) == "danger"]
    assert texts == [GERMAN, ENGLISH]


@needs_german
async def test_german_words_are_answered_with_the_store_dead(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        thread = await room.root("alderbeck")
        await own_store.kill()
        room.server.sender.ack_seconds = 10
        await room.server.say(CONTACT, room.channel, "es brennt", thread_ts=thread)
        (answer,) = [m for m in room.server.thread(room.channel, thread) if template(m) == "danger"]
        assert answer["text"] == GERMAN
        await own_store.start()


@pytest.mark.parametrize("user", [CONTACT, STRANGER])
async def test_a_denial_gets_no_fixed_answer_and_stops_nothing(room: Room, user: str) -> None:
    await room.say(user, "alderbeck", "no smoke here")
    await room.rest()
    visit = await room.visit("alderbeck")
    assert visit.stopped_at is None
    assert visit.danger_ask is not None
    assert "danger" not in await room.templates("alderbeck")
    assert (await room.templates("alderbeck"))[-1] == "ask_danger"


async def test_a_denial_of_a_stranger_elsewhere_holds_no_wave(room: Room) -> None:
    await room.server.say(STRANGER, room.channel, "no smoke here")
    await room.server.dm(STRANGER, "no smoke here")
    await room.rest()
    assert (await room.wave()).holds == ()
    assert not room.posts(room.channel, "danger")


@pytest.mark.parametrize("words", ["no smoke then?", "no smoke then", "any smoke?"])
async def test_the_team_may_ask_and_deny_in_the_thread(room: Room, words: str) -> None:
    await room.say(ONCALL, "alderbeck", words)
    await room.rest()
    assert "danger" not in await room.templates("alderbeck")
    assert (await room.visit("alderbeck")).stopped_at is None


async def test_a_yes_by_its_button_is_answered_first_too(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    await room.say(CONTACT, "alderbeck", "no smoke here")
    await room.rest()
    happened = watched(room, monkeypatch)
    await room.press(CONTACT, "alderbeck", "danger_yes")
    await room.rest()
    assert ENGLISH in happened[0]
    assert happened[1] == STOP


async def test_a_yes_by_its_button_is_answered_with_the_store_dead(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        await room.say(CONTACT, "alderbeck", "no smoke here")
        await room.rest()
        stamp, action = await room.button("alderbeck", "danger_yes")
        thread = await room.root("alderbeck")
        await own_store.kill()
        await room.server.press(CONTACT, room.channel, stamp, action)
        said = [template(message) for message in room.server.thread(room.channel, thread)]
        assert "danger" in said
        await own_store.start()


async def test_doubt_is_answered_like_danger_and_then_asked_about(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "could that be smoke?")
    await room.rest()
    said = await room.templates("alderbeck")
    assert said.index("danger") < said.index("danger_doubt")
    await room.press(CONTACT, "alderbeck", "danger_no")
    await room.rest()
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert any("nothing like that" in str(m["text"]) for m in _team(room))


def _team(room: Room) -> list[Json]:
    return [
        reply
        for root in room.posts(scene.TEAM_CHANNEL, "call")
        for reply in room.server.thread(scene.TEAM_CHANNEL, str(root["ts"]))
    ]
