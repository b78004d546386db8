"""The morning's handover: each site, what is odd, who knows, and where the old line may go."""

from datetime import time
from typing import Any

from msgspec.structs import replace

from bot.model.handover import Handover, handover, last_day, line_may_go
from bot.model.policy import MINUTE
from bot.model.wave.handing_over import next_morning
from bot.report.handover import lines
from bot.speak.catalogue import standard
from tests.model.kit import ONCALL, ROSTER, START, Walk, clock, context, plan

MORNING = clock("2026-10-21 09:00")


def walked(**changes: Any) -> Walk:
    made = plan()
    site = replace(made.site, opening_hours="Mo-Fr 09:00-17:00")
    walk = Walk(replace(made, site=site), **changes).to("registry.light")
    walk.register()
    walk.press("done")
    return walk


def found(*walks: Walk, at: int = MORNING) -> Handover:
    return handover([walk.visit for walk in walks], context().book, at)


def said(one: Handover, language: str = "en") -> str:
    return "\n".join(lines(one, standard().best(language), ROSTER))


def odd(walk: Walk) -> list[str]:
    return [one.key for one in found(walk, at=walk.now).sites[0].odd]


def test_a_site_that_says_yes_has_nothing_odd_and_its_old_line_may_go() -> None:
    walk = walked()
    walk.until(MORNING)
    assert not line_may_go(walk.visit, context().book, walk.now)
    assert "nowhere yet" in said(found(walk))
    walk.press("all_works")
    assert line_may_go(walk.visit, context().book, walk.now)
    one = found(walk)
    assert not one.open
    assert "The old line may be given up: Brook Library." in said(one)
    assert "Nothing odd: Brook Library." in said(one)


def test_not_before_the_soak_is_over() -> None:
    book = context().book
    limits = book.limits.model_copy(update={"soak": 24 * 60.0})
    book = book.model_copy(update={"limits": limits})
    walk = walked(context=context(book=book))
    walk.until(MORNING)
    walk.press("all_works")
    assert not line_may_go(walk.visit, book, walk.now)
    walk.until(START + 48 * 60 * MINUTE)
    assert walk.visit.state == "done"
    assert line_may_go(walk.visit, book, walk.now)


def test_reopened_it_may_not_and_who_took_the_call_knows() -> None:
    walk = walked()
    walk.until(MORNING)
    walk.press("not_all")
    walk.advance(5)
    walk.call_press("take")
    one = found(walk)
    assert one.sites[0].knows == (ONCALL.user,)
    assert one.sites[0].state == "reopened"
    assert not one.sites[0].line_may_go
    assert "says that something does not work. Knows: Ida Fenn." in said(one)


def test_unanswered_is_listed_and_the_contact_knows() -> None:
    walk = walked()
    walk.until(MORNING + 8 * 60 * MINUTE)
    assert "unanswered" in odd(walk)
    assert "no answer" in said(found(walk, at=walk.now))
    assert "Knows: the contact, in the site's thread." in said(found(walk, at=walk.now))
    assert "keine Antwort" in said(found(walk, at=walk.now), "de")


def test_what_is_odd_is_named() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("can I go home?")
    assert odd(walk)[:2] == ["line_down", "not_registered"]
    assert "released" in odd(walk)
    stopped = Walk(plan()).to("loading.light")
    stopped.say("there is smoke")
    assert odd(stopped)[0] == "stopped"
    other = Walk(plan()).to("begin.begin")
    other.press("not_tonight")
    other.until(START + 60 * MINUTE)
    assert "rebook" in odd(other)


def test_every_text_of_it_is_there_in_every_language() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.press("light:fault")
    walk.advance(5)
    walk.call_press("take")
    walk.call_press("close_fixed")
    for language in standard().languages():
        assert "{" not in said(found(walk), language)


def test_sites_that_have_not_begun_are_left_out() -> None:
    walk = Walk(plan()).agree()
    assert found(walk, at=walk.now).sites == ()


def test_the_post_is_of_the_last_evening_and_of_what_is_not_settled() -> None:
    old = walked()
    old.until(MORNING)
    old.press("all_works")
    silent = walked()
    silent.until(MORNING + 8 * 60 * MINUTE)
    silent.state = replace(silent.visit, id="stone", site=replace(silent.visit.site, name="Stone"))
    at = MORNING + 23 * 60 * MINUTE
    both = found(old, silent, at=at)
    assert [s.name for s in both.since(last_day(at)).sites] == ["Stone"]
    assert [s.name for s in both.sites] == ["Stone", "Brook Library"]
    later = found(old, silent, at=at + 24 * 60 * MINUTE)
    assert later.since(last_day(later.at)).sites == ()  # it was in one post
    assert not later.open


def test_mornings_come_by_the_zone_of_the_wave() -> None:
    half_past_eight = time(8, 30)
    evening = clock("2026-10-24 20:00")  # the clocks go back that night
    assert next_morning(evening, "Europe/London", half_past_eight) == clock("2026-10-25 08:30")
    at = clock("2026-10-20 08:30")
    assert next_morning(at, "Europe/London", half_past_eight) == clock("2026-10-21 08:30")
    berlin = next_morning(at, "Europe/Berlin", half_past_eight)
    assert berlin == clock("2026-10-21 08:30", "Europe/Berlin")
