"""Progress reports, signs of life and moved units, as a visit decides about them."""

import pytest

from bot.model.fact import Registered, Told
from bot.model.kept import Choice
from bot.model.policy import MINUTE
from bot.model.subject import ASIDE, of_visit
from tests.model.kit import OTHER, SERIAL, SITE, START, WAVE, Walk, book, context, plan

IMAGE = 20


def loading(**limits: float | None) -> Walk:
    """A visit that stands where its unit loads; ``limits`` of the runbook that differ."""
    walk = Walk(plan())
    changed = book().model_copy(
        update={"limits": book().limits.model_copy(update={"image": IMAGE, **limits})}
    )
    walk.context = context(book=changed)
    return walk.to("loading.light")


def last_of(walk: Walk) -> int:
    last: int = walk.visit.question.last
    return last


@pytest.mark.parametrize("progress", ["bootstrap-initiated", "config-complete"])
def test_a_step_moves_checkpoint_and_window_of_the_stage_to_count_from_now(progress: str) -> None:
    walk = loading()
    walk.advance(10)
    walk.report(progress)
    assert last_of(walk) == walk.now + 22 * MINUTE
    assert walk.deadlines["nudge"] == walk.now + 12 * MINUTE


def test_a_unit_that_goes_round_in_circles_is_noticed() -> None:
    walk = loading()
    for minute in range(4):
        walk.report("bootstrap-initiated", f"try {minute}")
        walk.report("parsing-initiated", f"try {minute}")
        walk.advance(9)
    assert "silent" in walk.causes(open_only=False) or walk.visit.question.deputy_asked


@pytest.mark.parametrize("progress", ["config-warning", "informational"])
def test_warnings_are_noted_and_move_nothing(progress: str) -> None:
    walk = loading()
    before = last_of(walk)
    walk.advance(5)
    walk.report(progress, "a line is too long")
    assert last_of(walk) == before
    assert walk.visit.unit(SERIAL).progress == progress
    assert walk.causes() == []


def test_an_error_calls_with_what_the_unit_says() -> None:
    walk = loading()
    walk.report("config-error", "line 12: unknown word")
    (call,) = walk.visit.open_calls
    assert call.cause == "fault"
    assert call.seen == "config-error: line 12: unknown word"
    assert call.unit == SERIAL
    assert walk.last == "called_unit_fault"
    walk.report("bootstrap-error", "given up")
    assert len(walk.visit.open_calls) == 1
    assert walk.said.count("called_unit_fault") == 1


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("boot-image-mismatch", "boot-image-installed-rebooting"),
        ("boot-image-installed-rebooting", "boot-image-mismatch"),
    ],
)
def test_another_image_gives_the_runbooks_time_once_and_the_contact_hears_why(
    first: str, second: str
) -> None:
    walk = loading()
    before = last_of(walk)
    walk.advance(2)
    walk.report(first)
    assert last_of(walk) == before + IMAGE * MINUTE
    assert walk.last == "image_longer"
    assert "20 minutes" in walk.text("image_longer")
    walk.report(second)
    assert last_of(walk) == before + IMAGE * MINUTE  # it began less than that ago
    assert walk.said.count("image_longer") == 1


def test_without_a_time_for_images_it_counts_from_the_report() -> None:
    walk = loading(image=None)
    walk.advance(5)
    walk.report("boot-image-mismatch")
    assert last_of(walk) == walk.now + 22 * MINUTE
    assert "image_longer" not in walk.said


def test_before_the_power_is_on_a_report_moves_nothing() -> None:
    walk = Walk(plan()).to("placing.place")
    before = last_of(walk)
    walk.advance(3)
    assert walk.report("bootstrap-initiated") == "nothing"
    assert last_of(walk) == before
    assert walk.visit.unit(SERIAL).progress == "bootstrap-initiated"


def test_the_time_given_ends_with_the_stage() -> None:
    walk = loading()
    walk.report("boot-image-mismatch")
    walk.press("light:reaching")
    assert walk.visit.reports == ()
    question = walk.visit.question
    assert question is not None
    assert question.extra == 0


# --- signs of life -----------------------------------------------------------------------------


def soaked() -> Walk:
    walk = loading(soak=60, heartbeat=10)
    walk.register()
    return walk


def test_a_unit_that_gives_no_signs_of_life_is_not_missed_for_it() -> None:
    walk = soaked()
    walk.advance(55)
    assert walk.visit.unit(SERIAL).online


def test_a_unit_that_falls_silent_within_the_soak_time_counts_no_longer_and_is_told_once() -> None:
    walk = soaked()
    for _ in range(3):
        walk.register(kind="alive")
        walk.advance(8)
    assert walk.visit.unit(SERIAL).online
    walk.advance(40)
    assert not walk.visit.unit(SERIAL).online
    assert walk.visit.unit(SERIAL).registered_at is not None
    assert walk.causes(open_only=False).count("lost") == 1


def test_while_we_were_away_no_unit_was_silent() -> None:
    walk = soaked()
    walk.press("done")
    assert walk.visit.state == "watched"
    walk.register(kind="alive")
    walk.advance(5)
    walk.gap(20)
    walk.advance(5)
    assert walk.visit.unit(SERIAL).online
    walk.advance(6)
    assert not walk.visit.unit(SERIAL).online  # it had its time again, and gave no sign


def test_after_the_soak_time_silence_is_none_of_our_business() -> None:
    walk = soaked()
    walk.advance(45)
    walk.register(kind="alive")
    walk.advance(8)
    walk.register(kind="alive")
    walk.advance(60)
    assert walk.visit.unit(SERIAL).online
    assert walk.register(kind="alive") == "nothing"


def test_a_unit_that_gives_a_sign_again_is_there_again_and_that_is_told_once() -> None:
    walk = soaked()
    for _ in range(2):
        walk.register(kind="alive")
        walk.advance(11)
        assert not walk.visit.unit(SERIAL).online
        walk.register(kind="alive")
        assert walk.visit.unit(SERIAL).online
    assert walk.told.count("flapping") == 1


# --- from elsewhere, and moved -----------------------------------------------------------------

ELSEWHERE = of_visit(WAVE, "elsewhere")


def told(walk: Walk, what: str, **args: str) -> str:
    walk.number += 1
    return walk.bring(
        Told(
            id=f"t{walk.number}",
            subject=of_visit(WAVE, SITE),
            received_at=walk.now,
            source=ASIDE,
            what=what,
            args={"by": "U0ADMIN", "source": "registry", **args},
        )
    )


def test_a_registration_from_elsewhere_counts_and_is_flagged() -> None:
    walk = loading()
    walk.bring(
        Registered(
            id="r1",
            subject=of_visit(WAVE, SITE),
            received_at=walk.now,
            serial=SERIAL,
            source="registry",
            outside=True,
            choices=(str(Choice(ELSEWHERE, OTHER, "Elsewhere Library")),),
        )
    )
    assert walk.visit.unit(SERIAL).online
    assert "outside" in walk.told


def test_an_assigned_unit_takes_the_place_of_the_expected_one() -> None:
    walk = loading()
    told(walk, "assigned", serial="HML-NEW001", instead=SERIAL, kind="registered")
    unit = walk.visit.unit("HML-NEW001")
    assert unit.online
    assert walk.visit.unit(SERIAL) is None
    assert walk.last != "loading"
    assert "online_thanks" in walk.said


def test_a_place_that_is_taken_meanwhile_is_not_given_twice() -> None:
    walk = loading()
    told(walk, "assigned", serial="HML-NEW001", instead=SERIAL, kind="registered")
    assert told(walk, "assigned", serial="HML-NEW002", instead=SERIAL, kind="registered") == (
        "nothing"
    )
    assert "not_done" in walk.told
    assert walk.visit.unit("HML-NEW002") is None


def test_swapped_boxes_hand_over_what_is_known_in_either_order() -> None:
    """Our unit registered elsewhere: there it counts, and here the other one is waited for."""
    walk = loading()
    walk.register()
    assert walk.visit.unit(SERIAL).online
    told(walk, "swap", give=SERIAL, take=OTHER, other=str(ELSEWHERE))
    assert not walk.visit.unit(OTHER).online
    assert walk.visit.unit(OTHER).watched_until is not None
    assert "arrives" in walk.told
    told(walk, "arrives", give=SERIAL, take=OTHER, other=str(ELSEWHERE))
    assert walk.visit.unit(OTHER).online

    first = loading()
    told(first, "arrives", give=SERIAL, take=OTHER, other=str(ELSEWHERE))
    assert first.visit.unit(OTHER).online
    assert told(first, "swap", give=SERIAL, take=OTHER, other=str(ELSEWHERE)) == "nothing"
    assert first.visit.unit(OTHER).online


def test_a_unit_that_never_registers_after_a_swap_is_called_for() -> None:
    walk = loading()
    walk.register()
    told(walk, "swap", give=SERIAL, take=OTHER, other=str(ELSEWHERE))
    walk.press("done")
    walk.advance(24 * 60)
    assert "no_registration" in walk.causes(open_only=False)
    assert walk.now > START


def test_after_a_danger_stop_a_failed_unit_calls_a_person_and_tells_the_site_nothing() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("there is smoke")
    said = len(walk.said)
    walk.advance(1)
    walk.report("boot-image-error")
    assert "fault" in walk.causes()
    assert walk.said[said:] == []
