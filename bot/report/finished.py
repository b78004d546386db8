"""What makes a site done, each on its own: registered, site checks passed, soak passed."""

from bot.model.runbook import Runbook
from bot.model.runbook_course import called
from bot.model.visit.finished import (
    checks_passed,
    open_checks,
    registered,
    soak_end,
    soak_passed,
)
from bot.model.visit.state import Visit
from bot.speak.catalogue import Texts


def finished_lines(visit: Visit, at: int, texts: Texts, book: Runbook) -> list[str]:
    """One line with the three, and one for each check of the site."""
    args = {
        "registered": texts.say("is_yes" if registered(visit) else "is_no", {}),
        "checked": _checked(visit, texts, book),
        "soaked": _soaked(visit, at, texts, book),
    }
    lines = [texts.say("status_finished", args)]
    if any(stage.each == "checks" for stage in book.stages):
        lines += [_check(visit, item, texts, book) for item in visit.site.checks]
    return lines


def _checked(visit: Visit, texts: Texts, book: Runbook) -> str:
    """Yes where nothing is listed, as soon as there is something it could be about."""
    left = len(open_checks(visit, book))
    if not visit.site.checks or not left:
        done = checks_passed(visit, book) and registered(visit)
        return texts.say("is_yes" if done else "is_no", {})
    whole = len(visit.site.checks)
    return texts.say("is_of", {"passed": str(whole - left), "all": str(whole)})


def _soaked(visit: Visit, at: int, texts: Texts, book: Runbook) -> str:
    if soak_passed(visit, book, at):
        return texts.say("is_yes", {})
    end = soak_end(visit, book)
    if end is None:
        return texts.say("is_no", {})
    return texts.say("is_until", {"until": str(end)}, visit.site.tz)


def _check(visit: Visit, item: str, texts: Texts, book: Runbook) -> str:
    course = visit.course
    found = "vouched" if item in course.vouched else course.of(item) or "untried"
    args = {"item": called(book.checks, item, "en"), "found": texts.say(f"found_{found}", {})}
    return texts.say("status_check", args)
