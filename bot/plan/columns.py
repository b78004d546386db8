"""The columns of a site list: their names, what they hold, and how a header line is matched."""

import difflib
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from bot.plan.problem import Problem

SITE, UNIT = "site", "unit"


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `exact` columns lose digits when a spreadsheet takes them for numbers."""

    key: str
    title: str
    explain: str
    example: str
    required: bool = False
    scope: str = SITE
    exact: bool = False
    also: tuple[str, ...] = ()


COLUMNS: tuple[Column, ...] = (
    Column(
        "wave",
        "wave",
        "short id of the wave: letters, digits, . _ - (at most 48)",
        "hollowmere-1",
        required=True,
        also=("wave id",),
    ),
    Column(
        "site",
        "site",
        "short id of the site, same characters; a site may take several rows, one per unit",
        "alderbeck",
        required=True,
        also=("site id",),
    ),
    Column(
        "name",
        "name",
        "name of the site as its people call it",
        "Alderbeck Library",
        also=("site name",),
    ),
    Column(
        "tz",
        "time zone",
        "zone of the IANA time zone database",
        "Europe/London",
        required=True,
        also=("tz", "zone"),
    ),
    Column(
        "contact",
        "contact",
        "chat user id of the person on site (U or W, then letters and digits); who has none "
        "needs a contact mail, and answers on a page",
        "U0101",
        also=("site contact", "contact user", "contact user id", "contact id"),
    ),
    Column("contact_name", "contact name", "what to call the contact", "Ada Brightwell"),
    Column(
        "contact_lang",
        "contact language",
        "language tag (BCP 47); empty means en",
        "en",
        also=("contact lang", "language"),
    ),
    Column(
        "contact_mobile",
        "contact mobile",
        "the contact's mobile number",
        "07700 900101",
        exact=True,
        also=("contact phone", "mobile"),
    ),
    Column(
        "contact_mail",
        "contact mail",
        "the contact's mail address: the private link of their page goes there",
        "ada.brightwell@example.org",
        also=("contact email", "contact e-mail", "mail"),
    ),
    Column(
        "deputy",
        "deputy",
        "chat user id of who stands in for the contact",
        "U0201",
        also=("deputy user", "deputy user id", "deputy id"),
    ),
    Column("deputy_name", "deputy name", "what to call the deputy", "Bran Okoro"),
    Column(
        "deputy_lang",
        "deputy language",
        "language tag (BCP 47); empty means en",
        "en",
        also=("deputy lang",),
    ),
    Column(
        "deputy_mobile",
        "deputy mobile",
        "the deputy's mobile number",
        "07700 900201",
        exact=True,
        also=("deputy phone",),
    ),
    Column(
        "deputy_mail",
        "deputy mail",
        "the deputy's mail address",
        "bran.okoro@example.org",
        also=("deputy email", "deputy e-mail"),
    ),
    Column(
        "phone",
        "site phone",
        "a number that rings at the site",
        "01632 960101",
        exact=True,
        also=("phone", "telephone", "site telephone"),
    ),
    Column(
        "address",
        "address",
        "where the site is, for someone who must go there",
        "1 Mill Lane, Alderbeck",
        also=("site address",),
    ),
    Column(
        "serials",
        "serials",
        "serial numbers of the units, separated by space, comma or semicolon",
        "HML-4F7K2Q",
        required=True,
        scope=UNIT,
        exact=True,
        also=(
            "serial",
            "serial number",
            "serial numbers",
            "unit serials",
            "unit serial",
            "serial no",
        ),
    ),
    Column(
        "model",
        "model",
        "model of the units in this row: one for all, or one each separated by semicolon",
        "HG-10",
        scope=UNIT,
        also=("models", "unit model"),
    ),
    Column(
        "version",
        "software version",
        "software on the units in this row as delivered; empty if unknown",
        "2.4.1",
        scope=UNIT,
        exact=True,
        also=("version", "versions", "software", "software versions"),
    ),
    Column("link_type", "link type", "kind of line", "fibre", also=("link", "line type")),
    Column(
        "circuit",
        "circuit reference",
        "the carrier's reference for the line",
        "HLS-CCT-0101",
        exact=True,
        also=("circuit", "circuit ref", "circuit id", "line reference"),
    ),
    Column("carrier", "carrier", "who runs the line", "the county carrier"),
    Column(
        "carrier_fault_line",
        "carrier fault line",
        "number to report a dead line to",
        "01632 960900",
        exact=True,
        also=("fault line", "carrier phone"),
    ),
    Column(
        "networks",
        "networks",
        "address ranges of the site, as 192.0.2.0/28, separated by space, comma or semicolon",
        "192.0.2.0/28",
        also=("network", "network ranges", "networks ranges", "ranges"),
    ),
    Column(
        "depends",
        "depends on the line",
        "what else stops when the line is down, separated by semicolon",
        "public computers; lift telephone",
        also=("depends", "what depends on the line", "depends on line"),
    ),
    Column(
        "cables",
        "cables",
        "the cables that move from the old unit to the new one, each by the name that the site "
        "knows it by, separated by semicolon",
        "till; staff computers",
        also=("cables to move", "named cables"),
    ),
    Column(
        "checks",
        "checks",
        "what the site lives on and is tried in the end, separated by semicolon",
        "card reader; telephone; printer; Wi-Fi",
        also=("site checks", "what the site lives on"),
    ),
    Column(
        "where",
        "where the unit hangs",
        "where to find the old unit",
        "cupboard behind the desk",
        also=("where", "where unit hangs", "unit place"),
    ),
    Column("access", "access", "how to get in, who has the key", "side door, key at the desk"),
    Column(
        "opening_hours",
        "opening hours",
        "when the site is open",
        "Mon-Fri 09:00-17:30",
        also=("opening", "hours"),
    ),
    Column(
        "alarm_hours",
        "alarm hours",
        "when the building alarm is set",
        "22:30-07:00",
        also=("alarm",),
    ),
    Column(
        "vehicle",
        "mobile branch",
        "yes for a site that drives: it is asked first whether it is parked",
        "no",
        also=("vehicle", "is mobile", "mobile site"),
    ),
    Column(
        "start",
        "start",
        "planned start in the site's own time, as 2026-03-12 18:00; add the "
        "offset (2026-10-25 01:30+01:00) in the hour that a clock change repeats",
        "2026-03-12 18:00",
        required=True,
        also=("planned start", "start time", "local start"),
    ),
    Column(
        "end",
        "window end",
        "end of the change window, written like start, or only 22:00",
        "2026-03-12 22:00",
        also=("end", "change window end", "end of change window", "end of window"),
    ),
    Column(
        "line_tested",
        "line tested",
        "when the new line was tested live (a date), or yes; empty or no: not yet",
        "2026-03-05",
        also=("line tested on", "new line tested"),
    ),
    Column(
        "in_registry",
        "in registry",
        "yes when the registry knows all serials of the site; empty or no: not yet",
        "yes",
        also=("serials in registry", "registry knows"),
    ),
    Column(
        "seen_on_site",
        "seen on site",
        "what the people on site have confirmed already: any of carton, label, contact, deputy, "
        "separated by semicolon",
        "carton; label",
        also=("confirmed", "confirmed on site"),
    ),
)

BY_KEY = {column.key: column for column in COLUMNS}
REQUIRED = tuple(column for column in COLUMNS if column.required)


def squeezed(name: str) -> str:
    """A heading reduced to its letters and digits, so that case, spaces and dashes are one."""
    return "".join(character for character in name.casefold() if character.isalnum())


_BY_NAME = {squeezed(name): column for column in COLUMNS for name in (column.title, *column.also)}


def named(heading: str) -> Column | None:
    """The column a heading means, or None."""
    return _BY_NAME.get(squeezed(heading))


def nearest(heading: str) -> str | None:
    """The title that an unknown heading most resembles, or None."""
    close = difflib.get_close_matches(squeezed(heading), _BY_NAME, n=1, cutoff=0.6)
    return _BY_NAME[close[0]].title if close else None


def score(cells: Sequence[str]) -> int:
    """How many different known columns a line names; tells the header line from others."""
    return len({column.key for cell in cells if (column := named(cell))})


@dataclass(slots=True)
class Header:
    """The header line as understood: which cell holds which column, and what is wrong with it."""

    line: int
    cells: list[str]
    places: dict[int, Column] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    missing: bool = False

    @property
    def width(self) -> int:
        return len(self.cells)


def understand(line: int, cells: Sequence[str]) -> Header:
    """Match a header line. Unknown, doubled and missing columns are problems, one each."""
    header = Header(line, [cell.strip() for cell in cells])
    seen: dict[str, str] = {}
    for index, cell in enumerate(header.cells):
        column = named(cell)
        if column is None:
            if cell:
                header.problems.append(_unknown(line, cell))
        elif column.key in seen:
            header.problems.append(
                Problem(
                    line,
                    cell,
                    cell,
                    f"names the same column as '{seen[column.key]}'",
                    "keep one of the two columns",
                )
            )
        else:
            seen[column.key] = cell
            header.places[index] = column
    for column in (*REQUIRED, *_no_contact(seen)):
        if column.key not in seen:
            header.missing = True
            header.problems.append(
                Problem(
                    line,
                    column.title,
                    "",
                    "this required column is missing",
                    f"add a column '{column.title}' ({column.explain})",
                )
            )
    return header


def _no_contact(seen: Collection[str]) -> tuple[Column, ...]:
    """A list needs one of the two ways to the people on site."""
    return () if {"contact", "contact_mail"} & set(seen) else (BY_KEY["contact"],)


def _unknown(line: int, heading: str) -> Problem:
    near = nearest(heading)
    remedy = (
        f"rename it to '{near}' or remove it"
        if near
        else ("remove it, or take the names from an empty list written by --template")
    )
    return Problem(line, heading, heading, "is not a column of a site list", remedy)
