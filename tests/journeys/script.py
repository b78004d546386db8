"""Journeys: whole conversations as plain text that anyone can read, and their grammar.

A script is a file of lines. Blank lines and what follows a ``#`` at the start of a line are for
the reader; the first ``#`` line is the title. First come the headings::

    site ambermere, start 18:00            one line for each site of the demo list that is used
    site bexhollow, start 18:05, end 22:00, version unknown, zone Europe/London
    date 2026-03-12                        the day of the evening (this one when left out)
    private                                contacts are talked to in private conversations
    begin 17:30                            when the wave is brought in (30 minutes before);
                                           also with its day: begin 2026-03-11 22:00

After ``start`` a site may say otherwise than the demo list: ``end`` of its change window,
``units`` (serials), ``model``, ``version`` (or ``unknown``), ``zone``, ``language`` (of the
contact: ``de``), ``missing`` (of what must be settled before: ``line contact``), ``no deputy``,
``contact of ambermere`` (the same person),
``cables till + kiosk`` (moved to the new unit), ``checks card reader + Wi-Fi`` (tried in the end),
``by page`` (the contact has no chat account, but a mail address and a page).

Then come the steps, each ``TIME WHO DEED``. TIME is ``18:32`` or ``18:32:30`` by the clock of the
first site: the next time that clock shows it, so midnight and clock changes need no more words.
``then`` is the minute of the line above. A line ``on 2026-03-14`` goes on at a later day.
WHO belongs to the first site, or to another one as in ``contact@bexhollow``.

``{code}`` in somebody's words is the newest code that the desk gave to anybody.

What people do (``contact``, ``deputy``, a ``stranger``, or ``Ines``, ``Joel``, ``Maud``)::

    contact says: Yes, that's fine         in the site's thread
    contact presses: Done                  the newest button of that name, or the one
    contact presses: Done under: Wi-Fi     under the message with these words
    contact does all that is asked until: push the power lead
                                           the first button of each question, a minute each
    stranger writes in the channel: hello  not in any thread
    contact writes directly: hello         to the desk alone
    contact edits: It is red               the newest of their messages, wherever it stands
    contact edits hmm to: yes              the newest of theirs with these words
    contact deletes: hmm                   the same
    contact sends a voice note             or: a photo, a document; in the site's thread
    contact sends a photo with the words: here it is
    contact sends a photo called: the box  its title
    contact says, held up on the way: done then later: chat brings what was held up
    contact puts thumbsup on the question  a mark, on what was asked last; takes thumbsup off ...
    deputy joins the channel               of the site
    Ines writes in the copy: hello         the team's copy of a private conversation
    contact loses the chat account         and: gets the chat account back
    Maud commands: hold                    the chat command
    Ines orders: restart                   the desk by name, in the site's thread

At the contact's page (of a site that is ``by page``)::

    page opens                             the newest link that was mailed; its code is right
    page contact presses: Done             a button that stands there
    page contact says: it is green         what they write there
    page loses signal                      answers are kept on the phone; later: gets signal back
    page shows: That is all                what can be read there; also: does not show
    desk mails: Could you put in ...       to the contact

What happens::

    unit registers                         the site's unit, or: unit registers HML-4F7K2Q
    unit registers again                   the very same event once more
    unit is lost                           so the registry says
    unit reports config-error: line 12     its own progress (RFC 8572), with or without words
    chat brings the same message again     the last that a person wrote
    desk is stopped                        our own outage; later: desk is started again

What must be seen, at that minute (or second). Words may leave something out with ``...``::

    desk says: Thank you                   in the thread, with no buttons to press
    desk asks: Are you at ... ?            in the thread, with buttons
    desk offers: Done | No signal | I need a person
                                           the buttons under what it just asked
    desk calls Ines: Major: the unit shows a fault
    desk tells the team: Ines Calloway has it
    desk never tells the team: 07700       in any message so far
    desk tells deputy: I am waiting for  in a direct message
    desk shows contact alone: That button  seen by nobody else
    desk writes in the channel: STOP       outside the site threads
    desk answers Maud: New starts          to a command
    desk says nothing until 18:50          not in this thread
    desk calls nobody until 18:50          no message to the team at all
    unit is online                         or: not online, held, lost, recorded
    visit is done                          or: invited, agreed, running, waiting, stopped,
                                           rebook, held, with a person
    wave is held                           or: not held
    wave shows: 1 of 1 units online        on the message pinned in the channel
    aside holds: HML-AAAAAA                the list of what belongs to no site

The team's telephone and mail, and the links in them: see ``waking.py``.

Nothing may be left out: a message in a site's thread, to the team or to a person of a site that
the script does not name at its minute makes it fail (the heading of a thread, the pinned summary
and private notes to the team excepted).
"""

import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from tests.journeys import waking


class ScriptError(Exception):
    """The script cannot be read; the text says where and how to write it."""


@dataclass(frozen=True)
class SiteLine:
    """A heading ``site``: which of the demo list, and what is otherwise than there."""

    site: str
    start: str
    end: str = ""
    units: tuple[str, ...] = ()
    model: str = ""
    version: str = ""
    zone: str = ""
    language: str = ""  # of the contact
    deputy: bool = True
    contact_of: str = ""  # another site, whose contact it is here too
    missing: tuple[str, ...] = ()  # of what must be settled before the evening
    by_page: bool = False  # the contact has no chat account
    cables: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Step:
    """One line of the play. ``time`` is empty for *then*."""

    where: str  # file and line, for messages
    line: str
    time: str
    who: str
    site: str
    deed: str
    given: tuple[str, ...]


@dataclass
class Script:
    title: str = ""
    day: date = date(2026, 3, 12)
    begin: str = ""
    private: bool = False
    ways: dict[str, str] = field(default_factory=dict)  # of the team, see waking.py
    turns: dict[str, str] = field(default_factory=dict)
    sites: list[SiteLine] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)


TEAM = {"Ines": "U0002", "Joel": "U0003", "Maud": "U0001"}
PEOPLE = ("contact", "deputy", "stranger", *TEAM)
_WORDS = r"\s*(.+)"
_TIME = r"(\d\d:\d\d(?::\d\d)?)"
#: Who may do what: the name of the deed, and how it is written.
DEEDS: dict[str, tuple[tuple[str, str], ...]] = {
    "person": (
        ("says", f"says:{_WORDS}"),
        ("presses_under", r"presses:\s*(.+?)\s+under:\s*(.+)"),
        ("presses", f"presses:{_WORDS}"),
        ("does_all", f"does all that is asked until:{_WORDS}"),
        ("writes", f"writes in the channel:{_WORDS}"),
        ("writes_directly", f"writes directly:{_WORDS}"),
        ("edits", f"edits:{_WORDS}"),
        ("edits_one", rf"edits (\S.*?) to:{_WORDS}"),
        ("deletes", f"deletes:{_WORDS}"),
        ("sends_with", rf"sends a (photo|document) with the words:{_WORDS}"),
        ("sends_called", rf"sends a (photo|document) called:{_WORDS}"),
        ("sends", "sends a (voice note|photo|document)"),
        ("says_held_up", f"says, held up on the way:{_WORDS}"),
        ("puts", r"puts (\S+) on the question"),
        ("takes_off", r"takes (\S+) off the question"),
        ("joins", "joins the channel"),
        ("writes_in_copy", f"writes in the copy:{_WORDS}"),
        ("loses_account", "loses the chat account"),
        ("gets_account", "gets the chat account back"),
        ("commands", f"commands:{_WORDS}"),
        ("orders", f"orders:{_WORDS}"),
        *waking.PERSON,
    ),
    "desk": (
        ("desk_nothing", f"says nothing until {_TIME}"),
        ("desk_calls_nobody", f"calls nobody until {_TIME}"),
        ("desk_says", f"says:{_WORDS}"),
        ("desk_asks", f"asks:{_WORDS}"),
        ("desk_said_once", f"has said once:{_WORDS}"),
        ("desk_offers", f"offers:{_WORDS}"),
        ("desk_calls", rf"calls ([\w ]+):{_WORDS}"),
        ("desk_tells_team", f"tells the team:{_WORDS}"),
        ("desk_never_tells_team", f"never tells the team:{_WORDS}"),
        ("desk_tells", rf"tells (\w+):{_WORDS}"),
        ("desk_mails", f"mails:{_WORDS}"),
        ("desk_alone", rf"shows (\w+) alone:{_WORDS}"),
        ("desk_writes", f"writes in the channel:{_WORDS}"),
        ("desk_answers", rf"answers (\w+):{_WORDS}"),
        ("stopped", "is stopped"),
        ("started", "is started again"),
    ),
    "page": (
        ("page_opens", "opens"),
        ("page_presses", f"contact presses:{_WORDS}"),
        ("page_says", f"contact says:{_WORDS}"),
        ("page_loses", "loses signal"),
        ("page_gets", "gets signal back"),
        ("page_shows", f"shows:{_WORDS}"),
        ("page_hides", f"does not show:{_WORDS}"),
    ),
    "phone": waking.PHONE,
    "mail": waking.MAIL,
    "chat": (
        ("brings_again", "brings the same message again"),
        ("brings_held_up", "brings what was held up"),
    ),
    "unit": (
        ("registers_again", r"registers again"),
        ("registers", r"registers(?: (.+))?"),
        ("lost", r"is lost"),
        ("reports", r"reports ([a-z-]+)(?:: (.+))?"),
        ("unit_is", r"is (online|not online|held|recorded|marked lost)(?: (\S+))?"),
    ),
    "visit": (("visit_is", r"is ([a-z ]+)"),),
    "wave": (("wave_is", r"is (held|not held)"), ("wave_shows", f"shows:{_WORDS}")),
    "aside": (("aside_holds", f"holds:{_WORDS}"),),
}
_STEP = re.compile(rf"(?:{_TIME}|then)\s+(\w+)(?:@([\w-]+))?\s+(.*)")
_SITE_WORDS = re.compile(
    r"(start|end|units|model|version|zone|language|contact of|cables|checks|missing)\s+(.+)"
)


def read(path: Path) -> Script:
    """The script in ``path``. Raises ``ScriptError`` naming the line and what may stand there."""
    script = Script(lines=path.read_text(encoding="utf-8").splitlines())
    for number, raw in enumerate(script.lines, 1):
        line = raw.strip()
        where = f"{path.name}:{number}"
        if line.startswith("#"):
            script.title = script.title or line.lstrip("# ")
        elif line:
            _line(script, line, where)
    if not script.sites or not script.steps or not script.title:
        raise ScriptError(f"{path.name}: a script needs a title (#), a site and steps.")
    return script


def _line(script: Script, line: str, where: str) -> None:
    heading, _, rest = line.partition(" ")
    rest = rest.strip()
    if heading == "site":
        script.sites.append(_site(rest, where))
    elif heading == "date":
        script.day = _date(rest, where)
    elif line == "private":
        script.private = True
    elif heading == "begin":
        script.begin = rest
    elif heading in ("ways", "turn"):
        _of_team(script, heading, rest, where)
    elif heading == "on":
        script.steps.append(Step(where, line, "", "", "", "on", (_date(rest, where).isoformat(),)))
    else:
        script.steps.append(_step(script, line, where))


def _of_team(script: Script, heading: str, rest: str, where: str) -> None:
    found = waking.HEADING.fullmatch(rest)
    if found is None or found[1] not in TEAM:
        raise ScriptError(f"{where}: write {heading} and one of {', '.join(TEAM)}, then a colon.")
    (script.ways if heading == "ways" else script.turns)[TEAM[found[1]]] = found[2]


def _site(rest: str, where: str) -> SiteLine:
    name, *more = [part.strip() for part in rest.split(",")]
    given: dict[str, str] = {}
    deputy, by_page = True, False
    for part in more:
        found = _SITE_WORDS.fullmatch(part)
        if part == "no deputy":
            deputy = False
        elif part == "by page":
            by_page = True
        elif found is None:
            raise ScriptError(f"{where}: {part!r}: after a site write start, end, units, model ...")
        else:
            given[found[1]] = found[2]
    if "start" not in given:
        raise ScriptError(f"{where}: the site has no start, as in: site ambermere, start 18:00")
    units = tuple(given.pop("units", "").split())
    cables, checks = _things(given.pop("cables", "")), _things(given.pop("checks", ""))
    missing = tuple(given.pop("missing", "").split())
    contact_of = given.pop("contact of", "")
    return SiteLine(
        name,
        **given,
        units=units,
        deputy=deputy,
        contact_of=contact_of,
        by_page=by_page,
        cables=cables,
        checks=checks,
        missing=missing,
    )


def _things(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split("+") if part.strip())


def _date(text: str, where: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ScriptError(f"{where}: {text!r} is no date such as 2026-03-12") from None


def _step(script: Script, line: str, where: str) -> Step:
    found = _STEP.fullmatch(line)
    if found is None:
        raise ScriptError(f"{where}: {line!r}: a step is written TIME WHO DEED.")
    time, who, site, deed = found.groups()
    if not time and not script.steps:
        raise ScriptError(f"{where}: the first step needs a time.")
    known = DEEDS.get("person" if who in PEOPLE else who)
    if known is None:
        raise ScriptError(f"{where}: {who!r} is none of {', '.join((*PEOPLE, *DEEDS))}.")
    if site and site not in {s.site for s in script.sites}:
        raise ScriptError(f"{where}: {site!r} is no site of this script.")
    for name, form in known:
        match = re.fullmatch(form, deed)
        if match is not None:
            given = tuple((text or "").strip() for text in match.groups())
            place = site or script.sites[0].site
            return Step(where, line, time or "", who, place, name, given)
    raise ScriptError(f"{where}: {who} cannot {deed!r}; see the top of tests/journeys/script.py.")
