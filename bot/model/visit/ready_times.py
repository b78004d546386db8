"""When the site is asked what must be settled, and when what is still missing counts.

Asked by day only. With little time between the yes and the start all waits are shorter, in
proportion.
"""

from bot.model.policy import MINUTE, Policy, minutes, out_of_quiet
from bot.model.runbook import Runbook
from bot.model.runbook_ready import ASKED, Item, ReadySection
from bot.model.visit.ready_gaps import deputy_can_press, note, settled
from bot.model.visit.state import Visit

_DAY = minutes(24 * 60)
#: With so much time or more the waits are those of the runbook.
_USUAL = 3 * _DAY
#: So close to the start nothing new is asked.
_CLOSE = minutes(5)
_STEP = minutes(15)
#: What a site is asked about once more, when it said that it is not so yet.
_NOT_YET = "not_here"


def deadlines(visit: Visit, book: Runbook, policy: Policy) -> dict[str, int]:
    """What of a visit's readiness is due when; empty where all is settled or nothing is wanted."""
    section, ready = book.ready, visit.ready
    if section is None or visit.state != "agreed":
        return {}
    if visit.in_danger:
        return {}  # to put it off would take the question about danger away
    if ready.anyway:
        return {}
    since = _missing_since(visit, section)
    if since is None:
        return {}
    due = _told(visit, section, policy, since)
    if visit.blocked or visit.waits_hold:
        return due
    ask = next_ask(visit, section)
    if ask is not None and visit.question is None:
        due |= _by_day("ready_ask", ask[1], visit, policy)
    deputy = deputy_at(visit, section)
    if deputy is not None:
        due |= _by_day("ready_deputy", deputy, visit, policy)
    return due


def opened_at(visit: Visit) -> int:
    """From when on the site may be asked: its yes, or the plan, where that yes was given while the
    runbook wanted nothing of a site."""
    opened = visit.ready.opened_at
    return visit.planned_at if opened is None else opened


def _missing_since(visit: Visit, section: ReadySection) -> int | None:
    """Since when something has been missing; ``None`` when nothing is."""
    wanted = [item.id for item in section.items if item.id != "oncall"]
    words = [visit.ready.word_on(item) for item in wanted if not settled(visit, item, True)]
    opened = opened_at(visit)
    return min((max(opened, word.at) if word else opened for word in words), default=None)


def _told(visit: Visit, section: ReadySection, policy: Policy, since: int) -> dict[str, int]:
    """When the team gets the site's line, and when the contact hears that it is put off."""
    ready, tz = visit.ready, visit.site.tz
    opened = opened_at(visit)
    due = {}
    if ready.team_told_at is None:
        asked_out = opened + scaled(visit, section.answer_within)
        line = max(before_quiet(visit.start - minutes(section.tell_team), tz, policy), asked_out)
        if line < visit.start:
            due["ready_team"] = line
    put_off = put_off_at(visit, section, policy)
    if put_off > since:  # what came up later than that is judged at the start
        due["ready_put_off"] = put_off
    return due


def put_off_at(visit: Visit, section: ReadySection, policy: Policy) -> int:
    """When the contact is told, at the latest, that the evening does not take place."""
    return before_quiet(visit.start - minutes(section.tell_contact), visit.site.tz, policy)


def before_quiet(at: int, tz: str, policy: Policy) -> int:
    """The instant, or the last quarter of an hour before it that is not in the quiet hours."""
    for _ in range(_DAY // _STEP):
        if out_of_quiet(at, tz, policy) == at:
            break
        at -= _STEP
    return at


def scaled(visit: Visit, wait: float) -> int:
    """A wait of the section (minutes) as ms, shorter where the time to the start is short."""
    lead = visit.start - opened_at(visit)
    return max(MINUTE, round(minutes(wait) * min(1.0, lead / _USUAL)))


def next_ask(visit: Visit, section: ReadySection) -> tuple[Item, int] | None:
    """What the contact is asked next, and from when on it may be asked."""
    ready = visit.ready
    earliest = visit.start - round(section.ask_days * _DAY)
    first = opened_at(visit) + scaled(visit, section.first_ask)
    earliest = max(earliest, first)
    if ready.free_at is not None:
        earliest = max(earliest, ready.free_at + scaled(visit, section.between))
    found: tuple[Item, int] | None = None
    for item in section.items:
        at = _ask_at(visit, section, item.id, earliest)
        if at is not None and (found is None or at < found[1]):
            found = item.id, at
    return found


def _ask_at(visit: Visit, section: ReadySection, item: Item, earliest: int) -> int | None:
    if item not in ASKED or item in visit.ready.silent or settled(visit, item, True):
        return None
    wrong = note(visit, item)
    if item == "label" and section.item("carton") and not settled(visit, "carton", True):
        return None  # there is nothing yet to read it from
    if not wrong:
        return earliest
    word = visit.ready.word_on(item)
    if word is not None and word.at < visit.planned_at:
        return earliest  # said of an evening that is past
    if wrong != _NOT_YET or word is None:
        return None  # the team has it
    return max(earliest, word.at + scaled(visit, section.remind))


def deputy_at(visit: Visit, section: ReadySection) -> int | None:
    """When the deputy is asked, reminded, or given up."""
    ready = visit.ready
    if section.item("deputy") is None or "deputy" in ready.silent or settled(visit, "deputy", True):
        return None
    if note(visit, "deputy") or not deputy_can_press(visit):
        return None  # said no, or cannot be asked here: the admin has it
    asked = ready.deputy_asked
    if not asked:
        first = opened_at(visit) + scaled(visit, section.first_ask)
        return max(visit.start - round(section.ask_days * _DAY), first)
    wait = section.remind if len(asked) == 1 else section.answer_within - section.remind
    return asked[-1] + scaled(visit, max(1.0, wait))


def _by_day(kind: str, at: int, visit: Visit, policy: Policy) -> dict[str, int]:
    by_day = out_of_quiet(at, visit.site.tz, policy)
    return {kind: by_day} if by_day + _CLOSE <= visit.start else {}
