"""Each person is called by their ways in their order; a failed way is followed by the next."""

from msgspec.structs import replace

from bot.model.message import Message
from bot.model.policy import MINUTE
from bot.model.roster import Roster, Way
from tests.model.kit import ADMIN, ONCALL, ROSTER, SECOND, Walk, context, plan

WAYS = (Way("chat"), Way("webhook", "phone", 2 * MINUTE), Way("mail"))


def walk(*ways: Way, cause: str = "fault") -> Walk:
    """A call raised and made out to the first on call, who has these ways."""
    first, *others = ROSTER.staff
    roster = Roster((replace(first, ways=ways or WAYS), *others))
    made = Walk(plan(deputy=None), context=context(roster=roster)).to("loading.light")
    if cause == "danger":
        made.say("smoke!")
    else:
        made.press("light:fault")
        made.advance(2)
    assert made.causes() == [cause]
    return made


def by(made: Walk, way: str) -> list[Message]:
    return [m for m in made.messages if m.way == way]


def texts(made: Walk) -> list[str]:
    return [m.template for m in made.messages if m.template.startswith("call")]


def test_the_first_way_at_once_and_each_next_after_its_time() -> None:
    made = walk()
    assert texts(made)[-1] == "call"
    assert made.visit.open_calls[0].take_within == 10 * MINUTE
    made.advance(3)  # a third of the ten minutes: two others share them
    assert texts(made)[-1] == "call_hook"
    made.advance(2)  # its own two minutes
    assert texts(made)[-1] == "call_mail_link"
    made.advance(3.4)
    assert made.called == SECOND.user
    assert len(by(made, "webhook")) == len(by(made, "mail")) == 1


def test_taken_meanwhile_no_other_way_is_tried_and_whoever_rings_is_told() -> None:
    made = walk()
    made.advance(4)
    assert len(by(made, "webhook")) == 1
    made.call_press("take")
    told = by(made, "webhook")
    assert [m.template for m in told] == ["call_hook", "call_over_hook"]
    assert told[0].thread == told[1].thread
    assert told[0].key == told[1].key == "call"  # what is unsent of the first is not sent
    made.advance(9)
    assert by(made, "mail") == []


def test_taken_before_anybody_rang_nobody_is_told_that_it_is_over() -> None:
    made = walk()
    made.call_press("take")
    assert by(made, "webhook") == []


def test_a_dead_letter_is_followed_by_the_next_way_at_once() -> None:
    made = walk()
    made.advance(4)
    (hook,) = by(made, "webhook")
    made.undeliverable(hook)
    assert texts(made)[-1] == "call_mail_link"
    made.undeliverable(hook)  # told once more: nothing follows
    assert len(by(made, "mail")) == 1


def test_after_the_last_way_failed_the_next_person_is_called_in_a_minute() -> None:
    made = walk(Way("mail"))
    (mail,) = by(made, "mail")
    made.undeliverable(mail)
    assert made.called == ONCALL.user
    made.advance(1)
    assert made.called == SECOND.user


def test_critical_calls_go_by_all_ways_of_everybody_at_once() -> None:
    made = walk(cause="danger")
    assert [m.template for m in by(made, "webhook")] == ["call_hook"]
    assert [m.template for m in by(made, "mail")] == ["call_mail_link"]
    assert {SECOND.user, ADMIN.user} <= set(made.called.split())
    made.advance(5)
    assert made.called == SECOND.user
    made.call_press("take")
    assert by(made, "webhook")[-1].template == "call_over_hook"


def test_chat_may_come_last() -> None:
    made = walk(Way("mail"), Way("chat"))
    assert texts(made)[-2:] == ["call", "call_mail_link"]
    made.advance(5)
    assert texts(made)[-1] == "call_again"
    assert made.called == ONCALL.user


def test_a_mail_with_a_link_names_whose_press_it_is() -> None:
    made = walk(Way("mail"))
    (mail,) = by(made, "mail")
    assert (mail.to, [b.action for b in mail.buttons]) == (
        ONCALL.user,
        [f"e:{made.visit.open_calls[0].id}:take"],
    )


def test_without_ways_a_mail_goes_with_the_card_as_ever() -> None:
    made = Walk(plan(deputy=None)).to("loading.light")
    made.press("light:fault")
    made.advance(2)
    (mail,) = by(made, "mail")
    assert (mail.template, mail.to, mail.buttons) == ("call_mail", "", ())


def test_no_site_starts_while_nobody_on_call_has_confirmed_a_way() -> None:
    made = Walk(plan(), context=context(reachable=False))
    made.agree()
    made.until(made.visit.start)
    assert made.visit.waits_hold
    assert made.visit.state == "agreed"
    assert made.told == ["untested"]
    made.context = context(reachable=True)
    made.resume()
    assert made.visit.state == "running"
