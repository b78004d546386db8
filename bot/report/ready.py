"""What is missing at the sites that have yet to begin, nearest start first. Instants in ms UTC."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

import msgspec

from bot.model.roster import Roster
from bot.model.runbook import Runbook
from bot.model.visit.ready_gaps import gaps
from bot.model.visit.state import Visit
from bot.speak.catalogue import Texts


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One gap of one site. ``missing`` is in words, ``note`` what is wrong where that is known."""

    wave: str
    site: str
    name: str
    tz: str
    state: str
    start: int
    item: str
    note: str
    owner: str
    due: int
    overdue: bool
    anyway: str = ""  # the person who starts it in spite of that


class Count(msgspec.Struct, frozen=True, kw_only=True):
    """Sites that have yet to begin, and how many of them have no gap."""

    sites: int
    ready: int


def rows(visits: Iterable[Visit], book: Runbook, roster: Roster, at: int) -> list[Row]:
    """A row for each gap: by start, then site, then in the order of the runbook."""
    found = [row for visit in visits for row in _of(visit, book, roster, at)]
    return sorted(found, key=lambda row: (row.start, row.site))


def counted(visits: Iterable[Visit], missing: Iterable[Row]) -> Count:
    sites = {(v.wave, v.id) for v in visits if v.state in _LISTED}
    waiting = {(row.wave, row.site) for row in missing}
    return Count(sites=len(sites), ready=len(sites - waiting))


#: A visit that was put off, refused or backed out is listed too: it needs a date.
_LISTED = ("planned", "held", "invited", "agreed", "rebook", "backed_out")
#: Their start is given up: what was of that evening is asked again with the new date.
_UNDATED = ("rebook", "backed_out")
_OF_THE_EVENING = ("consent", "oncall")


def _of(visit: Visit, book: Runbook, roster: Roster, at: int) -> list[Row]:
    found = gaps(visit, book, roster.staffed(visit.start))
    if visit.state not in _UNDATED or book.ready is None:
        return [_row(visit, at, gap.item, gap.note, gap.owner, gap.due) for gap in found]
    lasting = [gap for gap in found if gap.item not in _OF_THE_EVENING]
    date = _row(visit, at, "date", "", "admin", visit.start)
    return [date, *(_row(visit, at, gap.item, gap.note, gap.owner, gap.due) for gap in lasting)]


def _row(visit: Visit, at: int, item: str, note: str, owner: str, due: int) -> Row:
    return Row(
        wave=visit.wave,
        site=visit.id,
        name=visit.site.name,
        tz=visit.site.tz,
        state=visit.state,
        start=visit.start,
        item=item,
        note=note,
        owner=owner,
        due=due,
        overdue=due < at,
        anyway=visit.ready.anyway,
    )


def missing(row: Row, texts: Texts) -> str:
    """The gap in words."""
    key = f"gap_{row.item}_{row.note}" if row.note else f"gap_{row.item}"
    return texts.say(key, {})


def line(row: Row, texts: Texts) -> str:
    """One gap as a line of the chat, by the site's own clock."""
    args = {
        "start": str(row.start),
        "site": row.name,
        "gap1": missing(row, texts),
        "owner": texts.say(f"owner_{row.owner}", {}),
        "due": str(row.due),
    }
    key = "command_ready_overdue" if row.overdue else "command_ready_row"
    return texts.say(key, args, ZoneInfo(row.tz).key)


def lines(found: list[Row], texts: Texts, most: int) -> list[str]:
    """At most so many lines, and how many more there are."""
    shown = [line(row, texts) for row in found[:most]]
    if len(found) > most:
        shown.append(texts.say("command_ready_more", {"count": str(len(found) - most)}))
    return shown
