"""Done is registered, checked and soaked; until then the visit is watched, and asks nobody."""

from msgspec.structs import replace

from bot.model.context import Context
from bot.model.fact import Told
from bot.model.policy import MINUTE
from bot.model.visit.finished import checks_passed, finished, registered, soak_passed
from bot.model.visit.turn import Turn
from bot.model.visit.watching import keep_watch
from tests.model.kit import SECOND_UNIT, SERIAL, START, UNIT, Walk, book, context, plan, soaked

SOAK = 60


def around(soak: int | None = SOAK, heartbeat: int | None = 10) -> Context:
    return context(book=soaked(book(), soak, heartbeat))


def ended(walk: Walk) -> Walk:
    """A walk that is over: the unit has registered and the last question is answered."""
    walk.to("registry.light")
    walk.register()
    walk.press("done")
    return walk


def let_go(walk: Walk) -> None:
    """Whatever lets the site's people go: nobody is asked any more."""
    fact = Told(
        id="let go", subject=walk.subject, received_at=walk.now, source=walk.subject, what="x"
    )
    turn = Turn(walk.state, fact, replace(walk.context, version=walk.version))
    keep_watch(turn, "released", signed=True)
    walk._take(fact, turn.decision())


def three(walk: Walk) -> tuple[bool, bool, bool]:
    visit, used = walk.visit, walk.context.book
    return registered(visit), checks_passed(visit, used), soak_passed(visit, used, walk.now)


def test_without_a_soak_the_end_of_the_walk_is_the_end() -> None:
    walk = ended(Walk(plan(), context=around(soak=None)))
    assert walk.visit.state == "done"
    assert three(walk) == (True, True, True)
    assert walk.messages[-1].template == "goodbye"


def test_the_soak_goes_on_after_the_goodbye_and_nobody_is_asked() -> None:
    walk = ended(Walk(plan(), context=around()))
    assert walk.visit.state == "watched"
    assert three(walk) == (True, True, False)
    assert walk.messages[-1].template == "goodbye_watched"
    assert walk.visit.question is None
    said = len(walk.messages)
    walk.advance(SOAK)
    assert walk.visit.state == "done"
    assert three(walk) == (True, True, True)
    assert len(walk.messages) == said  # nothing is said when the soak is over
    assert set(walk.deadlines) == {"morning"}  # the next day, and nothing before it


def test_a_unit_that_goes_silent_within_the_soak_is_called_for_and_the_visit_is_not_done() -> None:
    walk = ended(Walk(plan(), context=around()))
    walk.register(kind="alive")
    walk.advance(11)
    assert [c.cause for c in walk.visit.open_calls] == ["lost"]
    walk.advance(5 * SOAK)
    assert walk.visit.state == "watched"
    assert three(walk) == (True, True, False)


def test_the_soak_begins_anew_for_a_unit_that_came_back() -> None:
    walk = ended(Walk(plan(), context=around(heartbeat=None)))
    walk.advance(SOAK - 10)
    walk.register(kind="lost")
    walk.advance(5)
    walk.register()
    back = walk.now
    walk.advance(SOAK - 1)
    assert walk.visit.state == "watched"
    walk.advance(1)
    assert walk.visit.state == "done"
    assert walk.now == back + SOAK * MINUTE


def test_of_several_units_the_last_one_counts() -> None:
    walk = Walk(plan((UNIT, SECOND_UNIT)), context=around())
    walk.to("registry.light")
    walk.register(SERIAL)
    walk.advance(20)
    walk.register(SECOND_UNIT.serial)
    assert registered(walk.visit)
    assert not finished(walk.visit, walk.context.book, walk.now + (SOAK - 1) * MINUTE)
    assert finished(walk.visit, walk.context.book, walk.now + SOAK * MINUTE)


def test_words_after_the_goodbye_are_answered_as_when_it_is_done() -> None:
    walk = ended(Walk(plan(), context=around()))
    walk.say("the internet is not working")
    assert [c.cause for c in walk.visit.open_calls] == ["help"]
    walk.advance(2 * SOAK)
    assert walk.visit.state == "watched"  # a person has it: it is not done over their head


def test_one_who_is_let_go_early_is_watched_and_a_unit_that_stays_away_is_called_for() -> None:
    walk = Walk(plan(end=START + 600 * MINUTE), context=around())
    walk.to("registry.light")
    let_go(walk)
    assert walk.visit.state == "watched"
    assert walk.visit.question is None
    walk.advance(61)
    assert [c.cause for c in walk.visit.open_calls] == ["no_registration"]


def test_one_who_is_let_go_early_is_done_when_the_unit_has_stayed() -> None:
    walk = Walk(plan(), context=around())
    walk.to("registry.light")
    let_go(walk)
    said = len(walk.messages)
    walk.register()
    assert len(walk.messages) == said
    assert walk.visit.state == "watched"
    walk.advance(SOAK)
    assert walk.visit.state == "done"
    assert walk.now >= START
