"""A site whose evening is given up: named as long as it has no new date, with who owes it."""

from bot.model.board import board
from bot.model.policy import MINUTE
from bot.model.wave.state import Wave
from bot.report.ready import counted, rows
from bot.report.words import board_lines
from bot.speak.catalogue import standard
from tests.model.kit import ROSTER, START, Walk, book, plan
from tests.model.ready_kit import ready_book
from tests.model.test_visit_back_out import asked, cut, press, walked


def put_off() -> Walk:
    walk = Walk(plan()).to("begin.begin")
    walk.press("not_tonight")
    walk.until(START + 60 * MINUTE)
    assert walk.visit.state == "rebook"
    return walk


def backed_out() -> Walk:
    walk = asked(cut())
    press(walk, "back_out")
    assert walked(walk).visit.state == "backed_out"
    return walk


def test_the_date_is_the_admins_and_what_was_of_the_evening_is_not_missing_any_more() -> None:
    visits = [put_off().visit, backed_out().visit]
    found = rows(visits, ready_book(), ROSTER, START + 600 * MINUTE)
    dates = [row for row in found if row.item == "date"]
    assert [(row.state, row.owner, row.overdue) for row in dates] == [
        ("rebook", "admin", True),
        ("backed_out", "admin", True),
    ]
    assert not {"consent", "oncall"} & {row.item for row in found}
    both = {visit.state for visit in visits}
    assert both == {row.state for row in found}
    assert counted(visits, found).ready == 0


def test_a_site_that_is_planned_is_asked_for_no_date() -> None:
    found = rows([Walk(plan()).visit], ready_book(), ROSTER, START - 600 * MINUTE)
    assert found
    assert "date" not in {row.item for row in found}


def test_where_the_wave_stands_names_both() -> None:
    summary = board([put_off().visit, backed_out().visit], START + 600 * MINUTE, book())
    assert sorted(one.backed_out for one in summary.undated) == [False, True]


def test_each_is_one_line_in_the_terminal() -> None:
    texts = standard().best("en")
    summary = board([put_off().visit], START + 600 * MINUTE, book())
    last = board_lines(Wave(name="w1"), summary, texts)[-1]
    assert last.startswith("new date wanted: ")
    assert ", was planned for " in last
