"""The desk on a real store: counts once, retries, keeps aside, follows up, can be replayed."""

import asyncio
from typing import Any

import msgspec
import pytest

from bot.desk import Desk
from bot.desk import desk as desk_module
from bot.desk.kinds import KINDS, TooNew
from bot.desk.replay import verify
from bot.model.fact import Actor, Delivered, Due, Ordered, Pressed, Registered, Said, Told
from bot.model.people import person_key, text_key
from bot.model.subject import ASIDE, of_visit, of_wave
from bot.model.visit.state import Visit
from bot.plan.live import go_live
from bot.plan.rows import SiteRow
from bot.store.commit import Commit, Result
from bot.store.errors import PartRefused, StoreAway, StoreError, StoreRefused
from handlers.clock import Sweep
from tests.desk.conftest import ADMIN, NOW, planned, relay

WAVE = of_wave("hollowmere-1")


def hold(fact_id: str, at: int = NOW) -> Ordered:
    return Ordered(
        id=fact_id, subject=WAVE, received_at=at, actor=Actor(ADMIN, admin=True), order="hold"
    )


async def test_an_import_makes_every_visit(desk: Desk, rows: list[SiteRow]) -> None:
    await planned(desk, rows)
    visits = await desk.surroundings.visits(desk.store, WAVE.home)
    assert {v.id for v in visits} == {row.site for row in rows}
    assert {v.state for v in visits} == {"planned"}
    for row in rows:
        found = await desk.store.find("serial", row.units[0].serial)
        assert found == [of_visit(row.wave, row.site)]


async def test_the_same_import_again_changes_nothing_but_is_recorded(
    desk: Desk, rows: list[SiteRow]
) -> None:
    await planned(desk, rows)
    before = await desk.surroundings.visits(desk.store, WAVE.home)
    notes = await go_live(desk, rows, channels=["CWAVE01"], now=NOW)
    await relay(desk, WAVE.home)
    assert {note.what for note in notes} == {"same"}
    assert await desk.surroundings.visits(desk.store, WAVE.home) == before


async def test_an_import_half_done_goes_on_where_it_was(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The follow-up to every visit fails in the middle; brought again, none is doubled."""
    await go_live(desk, rows, channels=["CWAVE01"], now=NOW)
    receive, seen = desk.receive, 0

    async def failing(fact: Any) -> Any:
        nonlocal seen
        if fact.subject.site and fact.subject.site != "*":
            seen += 1
            if seen == 2:
                raise StoreAway("gone in the middle")
        return await receive(fact)

    monkeypatch.setattr(desk, "receive", failing)
    with pytest.raises(StoreAway):
        await relay(desk, WAVE.home)
    monkeypatch.undo()
    await relay(desk, WAVE.home)
    assert len(await desk.surroundings.visits(desk.store, WAVE.home)) == len(rows)
    journal = [line async for line in desk.store.journal(WAVE.home)]
    assert len({line.fact_id for line in journal}) == len(journal)


async def test_a_fact_counts_once(desk: Desk, rows: list[SiteRow]) -> None:
    await planned(desk, rows)
    first = await desk.receive(hold("one"))
    again = await desk.receive(hold("one", NOW + 5))
    assert (first.answer, first.again) == ("ok", False)
    assert (again.answer, again.again) == ("ok", True)
    wave = await desk.state(WAVE)
    assert wave.holds == ("ordered",)


async def test_facts_that_meet_are_decided_one_after_the_other(
    desk: Desk, rows: list[SiteRow]
) -> None:
    await planned(desk, rows)
    told = [
        Told(id=f"t{n}", subject=WAVE, received_at=NOW, source=WAVE, what=what)
        for n, what in enumerate(("danger", "without_service", "unanswered"))
    ]
    outcomes = await asyncio.gather(*(desk.receive(fact) for fact in told))
    assert {outcome.answer for outcome in outcomes} <= {"ok", "nothing"}
    wave = await desk.state(WAVE)
    assert set(wave.holds) == {"danger", "without_service", "unanswered"}


async def test_a_fact_that_loses_every_time_is_kept_aside_with_its_trace(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await planned(desk, rows)
    commit = desk.store.commit
    replica = Desk(desk.store, desk.surroundings)

    async def always_late(c: Commit) -> Result:
        if c.subject == WAVE:
            other = Told(id=f"x{c.version}", subject=WAVE, received_at=NOW, source=WAVE, what="x")
            monkeypatch.setattr(desk.store, "commit", commit)
            await replica.receive(other)
            monkeypatch.setattr(desk.store, "commit", always_late)
        return await commit(c)

    monkeypatch.setattr(desk.store, "commit", always_late)
    outcome = await desk.receive(hold("late"))
    assert outcome.answer == "kept"
    kept = await desk.state(ASIDE)
    assert "late" in kept.items[-1].detail


async def test_a_fact_that_cannot_be_decided_blocks_nothing(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await planned(desk, rows)

    def broken(*_: Any) -> None:
        raise ZeroDivisionError("a mistake of ours")

    monkeypatch.setattr(KINDS["wave"], "decide", broken)
    assert (await desk.receive(hold("bad"))).answer == "kept"
    monkeypatch.undo()
    kept = await desk.state(ASIDE)
    assert "ZeroDivisionError" in kept.items[-1].detail
    assert (await desk.receive(hold("good"))).answer == "ok"


async def test_with_the_store_away_the_fate_is_unknown_and_said_so(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await planned(desk, rows)
    tries = 0

    async def away(_: Commit) -> Result:
        nonlocal tries
        tries += 1
        raise StoreAway("no answer")

    monkeypatch.setattr(desk_module, "PATIENCE", 0.2)
    monkeypatch.setattr(desk.store, "commit", away)
    with pytest.raises(StoreAway):
        await desk.receive(hold("away"))
    assert 1 < tries <= desk_module.TRIES
    monkeypatch.undo()
    assert (await desk.receive(hold("away"))).answer == "ok"


async def test_an_unknown_serial_is_kept_aside_and_never_acted_on(
    desk: Desk, rows: list[SiteRow]
) -> None:
    await planned(desk, rows)
    fact = Registered(
        id="reg:1", subject=ASIDE, received_at=NOW, serial="HML-NOBODY", source="registry"
    )
    assert (await desk.receive(fact)).answer == "kept"
    wrong = msgspec.structs.replace(fact, id="reg:2", subject=of_visit("hollowmere-1", "nowhere"))
    assert (await desk.receive(wrong)).answer == "kept"
    kept = await desk.state(ASIDE)
    assert [item.serial for item in kept.items] == ["HML-NOBODY", "HML-NOBODY"]


async def test_a_hold_reaches_every_visit_once(desk: Desk, rows: list[SiteRow]) -> None:
    await planned(desk, rows)
    await desk.receive(hold("h"))
    await relay(desk, WAVE.home)
    assert await desk.store.held(WAVE.home)
    await relay(desk, WAVE.home)
    for row in rows:
        again = Told(
            id=f"h/held/{row.site}",
            subject=of_visit(row.wave, row.site),
            received_at=NOW,
            source=WAVE,
            what="held",
        )
        assert (await desk.receive(again)).again


async def test_words_lie_with_the_person_and_not_in_the_journal(
    desk: Desk, rows: list[SiteRow]
) -> None:
    await planned(desk, rows)
    row = rows[0]
    fact = Said(
        id="chat:T:C:1.2",
        subject=of_visit(row.wave, row.site),
        received_at=NOW,
        actor=Actor(row.contact.user),
        words="my very own words",
    )
    await desk.receive(fact)
    person = await desk.store.person_get(person_key(row.contact.user))
    assert person[text_key(fact.id)] == "my very own words"
    raw = b"".join([line.raw async for line in desk.store.journal(WAVE.home)])
    assert b"my very own words" not in raw
    assert row.contact.name.encode() not in raw
    assert row.contact.mobile.encode() not in raw
    await desk.store.person_erase(person_key(row.contact.user))
    assert (await verify(desk.store)).problems == []


async def test_a_deadline_that_is_not_due_yet_is_set_again(desk: Desk, rows: list[SiteRow]) -> None:
    await planned(desk, rows)
    subject = of_visit(rows[0].wave, rows[0].site)
    entry = next(e for e in await desk.store.due(WAVE.home, NOW * 2, 99) if e.subject == subject)
    early = Due(
        id=entry.fact_id,
        subject=subject,
        received_at=entry.at - 1,
        kind=entry.kind,
        version=entry.version,
    )
    assert (await desk.receive(early)).answer == "nothing"
    now = {e.kind: e for e in await desk.store.due(WAVE.home, NOW * 2, 99) if e.subject == subject}
    assert now[entry.kind].at == entry.at
    assert now[entry.kind].fact_id != entry.fact_id, "it would be known, and never fire again"


async def test_the_journal_gives_the_snapshots_again(desk: Desk, rows: list[SiteRow]) -> None:
    await planned(desk, rows)
    await desk.receive(hold("h"))
    await relay(desk, WAVE.home)
    result = await verify(desk.store)
    assert result.problems == []
    assert result.subjects >= len(rows) + 1


async def test_tampering_shows(desk: Desk, rows: list[SiteRow], store_url: str) -> None:
    import redis

    await planned(desk, rows)
    subject = of_visit(rows[0].wave, rows[0].site)
    loaded = await desk.store.load(subject)
    visit = msgspec.json.decode(loaded.body, type=Visit)
    forged = msgspec.json.encode(msgspec.structs.replace(visit, nudges=7))
    with redis.Redis.from_url(store_url) as client:
        client.hset(f"{{{subject.home}}}:s:{subject.name}", "body", forged)
    assert [p for p in (await verify(desk.store)).problems if str(subject) in p]


async def test_a_deadline_that_is_refused_keeps_no_other_home_waiting(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await planned(desk, rows)
    others = [row.model_copy(update={"wave": "zz-last"}) for row in rows]
    await go_live(desk, others, channels=["CWAVE01"], now=NOW)
    await relay(desk, of_wave("zz-last").home)
    first, receive = of_visit(rows[0].wave, rows[0].site), desk.receive
    error: type[StoreError] = StoreRefused

    async def failing(fact: Any, loaded: Any = None) -> Any:
        if fact.subject == first and isinstance(fact, Due):
            raise error("not this one")
        return await receive(fact, loaded)

    monkeypatch.setattr(desk, "receive", failing)
    with pytest.raises(PartRefused, match="1 deadlines were refused: not this one"):
        await Sweep(desk).run(NOW)
    for row in (*rows[1:], *others):
        assert (await desk.state(of_visit(row.wave, row.site))).state == "invited"
    assert (await desk.state(first)).state == "planned"
    error = StoreAway
    with pytest.raises(StoreAway):
        await Sweep(desk).run(NOW)
    monkeypatch.undo()
    await Sweep(desk).run(NOW)
    assert (await desk.state(first)).state == "invited"


@pytest.mark.parametrize("kind", ["visit", "wave"])
async def test_a_snapshot_of_a_later_schema_is_refused(
    desk: Desk, rows: list[SiteRow], kind: str
) -> None:
    await planned(desk, rows)
    subject = WAVE if kind == "wave" else of_visit(rows[0].wave, rows[0].site)
    body = msgspec.json.decode((await desk.store.load(subject)).body)
    body["schema"] = 99
    with pytest.raises(TooNew, match="newer version"):
        KINDS[kind].read(msgspec.json.encode(body))


async def test_a_row_under_way_keeps_serial_stage_and_start_and_says_so(
    desk: Desk, rows: list[SiteRow]
) -> None:
    await planned(desk, rows)
    row = rows[0]
    subject = of_visit(row.wave, row.site)
    sweep = Sweep(desk)
    await sweep.run(NOW)
    question = (await desk.state(subject)).question
    contact = Actor(row.contact.user)
    yes = Pressed(
        id="p1", subject=subject, received_at=NOW, actor=contact, action=f"a:{question.id}:yes"
    )
    assert (await desk.receive(yes)).answer == "ok"
    assert row.start is not None
    await sweep.run(row.start)
    before = await desk.state(subject)
    assert before.state == "running"
    unit = row.units[0].model_copy(update={"serial": "HML-ZZZZ99", "label": "HML-ZZZZ99"})
    changed = row.model_copy(
        update={"start": row.start + 3_600_000, "units": [unit], "phone": "01632 960999"}
    )
    notes = await go_live(desk, [changed], channels=["CWAVE01"], now=NOW + 1)
    await relay(desk, WAVE.home)
    assert (notes[0].what, notes[0].kept) == ("under way", ("serials", "start"))
    after = await desk.state(subject)
    assert (after.start, after.units, after.step) == (before.start, before.units, before.step)
    assert after.site.phone == "01632 960999"


async def test_after_a_danger_stop_no_instruction_that_waits_is_said(
    desk: Desk, rows: list[SiteRow]
) -> None:
    """The contact was told to push the power lead in; before it left the outbox there is smoke."""
    await planned(desk, rows)
    row = rows[0]
    subject = of_visit(row.wave, row.site)
    await Sweep(desk).run(NOW)
    thread = f"site:{row.site}"
    await _delivered(desk, subject, thread)  # the root and the invitation are out
    question = (await desk.state(subject)).question
    yes = Pressed(
        id="p1",
        subject=subject,
        received_at=NOW,
        actor=Actor(row.contact.user),
        action=f"a:{question.id}:yes",
    )
    await desk.receive(yes)
    waiting = [q.message.template for q in await desk.store.unsent(WAVE.home, thread, 99)]
    assert waiting == ["agreed"]
    smoke = Said(
        id="chat:T:C:9.9",
        subject=subject,
        received_at=NOW + 1,
        actor=Actor(row.contact.user),
        words="there is smoke coming out of it",
    )
    assert (await desk.receive(smoke)).answer == "danger"
    assert await desk.store.unsent(WAVE.home, thread, 99) == []
    calls = await desk.store.ready(WAVE.home, 99, wave=NOW + 1, process=0)
    assert calls[0].message.template == "call", "and the call goes first"


async def _delivered(desk: Desk, subject: Any, thread: str) -> None:
    """Confirm everything that waits in a thread, as the sender would."""
    while queued := await desk.store.unsent(subject.home, thread, 99):
        message = queued[0].message
        await desk.receive(
            Delivered(
                id=f"sent:{message.id}",
                subject=subject,
                received_at=NOW,
                message=message.id,
                template=message.template,
                thread=thread,
                channel="CWAVE01",
                stamp=f"{len(message.id)}.{message.template}",
                root=message.root,
            )
        )
