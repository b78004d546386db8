"""From the rows of one site to a SiteRow, or to what is wrong with them."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from bot.model import serial
from bot.model.people import page_user
from bot.plan import checks, zones
from bot.plan.columns import BY_KEY, COLUMNS, REQUIRED, SITE, Column
from bot.plan.lines import Line
from bot.plan.problem import Problem, Refused
from bot.plan.rows import PersonRow, SiteRow, UnitRow

_DAY = 24 * 60 * 60 * 1000
_SITE_KEYS = tuple(c.key for c in COLUMNS if c.scope == SITE)
_PLAIN = (
    "name", "phone", "address", "link_type", "circuit", "carrier", "carrier_fault_line",
    "networks", "depends", "cables", "checks", "where", "access", "opening_hours", "alarm_hours",
    "vehicle",
)  # fmt: skip


@dataclass(slots=True, eq=False)
class Group:
    """The rows of one site of one wave. `bad`: a problem was already found in one of them."""

    wave: str
    site: str
    lines: list[Line] = field(default_factory=list)
    bad: bool = False


class Builder:
    """Builds one site; problems and notes are collected, not raised."""

    def __init__(self, group: Group, now: int | None) -> None:
        self.group = group
        self.now = now
        self.problems: list[Problem] = []
        self.notes: list[Problem] = []
        self.values: dict[str, object] = {}
        self.first: dict[str, tuple[int, str]] = {}

    def build(self) -> SiteRow | None:
        """The site, or None when anything is wrong with any of its rows."""
        for key in _SITE_KEYS:
            self._site_value(key, checks.CHECKS.get(key, checks.text))
        self._required()
        units = self._units()
        start, end = self._times()
        contact, deputy = self._person("contact"), self._person("deputy")
        self._deputy_sense(contact, deputy)
        if self.problems or self.group.bad or contact is None or start is None:
            return None
        site = {key: self.values[key] for key in _PLAIN if key in self.values}
        site.setdefault("name", self.group.site)
        site["ready"] = self._ready()
        return SiteRow.model_validate(
            {
                **site,
                "wave": self.group.wave,
                "site": self.group.site,
                "tz": self.values["tz"],
                "contact": contact,
                "deputy": deputy,
                "units": units,
                "start": start,
                "end": end,
            }
        )

    def _ready(self) -> list[str]:
        """What the list says is settled before the evening."""
        seen = self.values.get("seen_on_site", [])
        found = list(seen) if isinstance(seen, list) else []
        found += ["line"] if self.values.get("line_tested") else []
        return found + (["registry"] if self.values.get("in_registry") else [])

    def _problem(self, line: int, key: str, value: str, what: str, remedy: str) -> None:
        self.problems.append(Problem(line, BY_KEY[key].title, value, what, remedy))

    def _note(self, key: str, what: str, remedy: str) -> None:
        line, value = self.first[key]
        self.notes.append(Problem(line, BY_KEY[key].title, value, what, remedy))

    def _site_value(self, key: str, check: Callable[[str], object]) -> None:
        """The value on which the site's rows agree; an empty cell means: as in the other rows."""
        done: set[str] = set()
        for row in self.group.lines:
            text = row.cells.get(key)
            if text is None or text in done:
                continue
            done.add(text)
            try:
                value = check(text)
            except Refused as refused:
                self._problem(row.line, key, text, refused.what, refused.remedy)
                self.first.setdefault(key, (row.line, text))
                continue
            if key not in self.values:
                self.values[key] = value
                self.first[key] = (row.line, text)
            elif self.values[key] != value:
                line, other = self.first[key]
                self._problem(
                    row.line,
                    key,
                    text,
                    f"differs from '{other}' on line {line}, for the same site '{self.group.site}'",
                    "write the same in both rows, leave one empty, or give the sites different ids",
                )

    def _required(self) -> None:
        line = self.group.lines[0].line
        for column in REQUIRED:
            if column.scope == SITE and not self._said(column.key):
                self._nothing_given(line, column)
        if not self._said("contact") and not self._said("contact_mail"):
            self._nothing_given(line, BY_KEY["contact"])

    def _said(self, key: str) -> bool:
        return key in self.first or any(key in row.refused for row in self.group.lines)

    def _nothing_given(self, line: int, column: Column) -> None:
        self._problem(line, column.key, "", "no value is given", f"fill in {column.explain}")

    def _units(self) -> list[UnitRow]:
        units: list[UnitRow] = []
        for row in self.group.lines:
            text = row.cells.get("serials")
            if text is None:
                if "serials" not in row.refused:
                    self._problem(
                        row.line,
                        "serials",
                        "",
                        "no value is given",
                        f"fill in {BY_KEY['serials'].explain}",
                    )
                continue
            try:
                labels = checks.serials(text)
            except Refused as refused:
                self._problem(row.line, "serials", text, refused.what, refused.remedy)
                continue
            models = self._per_unit(row, "model", len(labels), checks.text)
            versions = self._per_unit(row, "version", len(labels), checks.undamaged)
            units += [
                UnitRow(
                    serial=serial.normal(label), label=label, model=model, version=version or None
                )
                for label, model, version in zip(labels, models, versions, strict=True)
            ]
        return units

    def _per_unit(self, row: Line, key: str, count: int, check: Callable[[str], str]) -> list[str]:
        """One value for all units of the row, or one each."""
        text = row.cells.get(key, "")
        try:
            check(text)
        except Refused as refused:
            self._problem(row.line, key, text, refused.what, refused.remedy)
            return [""] * count
        values = [part.strip() for part in text.split(";")]
        if len(values) == 1:
            return values * count
        if len(values) != count:
            self._problem(
                row.line,
                key,
                text,
                f"names {len(values)} for {count} serials",
                "write one for all, or one for each serial in the same order",
            )
            return [""] * count
        return values

    def _person(self, who: str) -> PersonRow | None:
        user = self.values.get(who)
        if user is None and f"{who}_mail" in self.values and who not in self.first:
            user = page_user(self.group.site, who)
        rest = {
            key: self.values[f"{who}_{key}"]
            for key in ("lang", "name", "mobile", "mail")
            if f"{who}_{key}" in self.values
        }
        if user is not None:
            return PersonRow.model_validate({"user": user, **rest})
        if rest and who not in self.first:
            key = f"{who}_{next(iter(rest))}"
            if who != "contact":
                line, text = self.first[key]
                self._problem(
                    line,
                    key,
                    text,
                    f"is given, but no {who}",
                    f"fill in the column '{who}' or '{who} mail', or leave this one empty",
                )
        return None

    def _deputy_sense(self, contact: PersonRow | None, deputy: PersonRow | None) -> None:
        if contact and deputy and contact.user == deputy.user:
            self._note(
                "deputy",
                "is the contact as well, so nobody stands in",
                "name another person or leave it empty",
            )

    def _times(self) -> tuple[int | None, int | None]:
        tz, start = self.values.get("tz"), self.values.get("start")
        if not isinstance(tz, str):
            self._end_text_alone()
            return None, None
        begin = self._instant("start", start, tz) if isinstance(start, zones.Wall) else None
        if begin is not None and self.now is not None and begin < self.now:
            self._note("start", "lies in the past", "check it if the visit is still to come")
        return begin, self._end(begin, tz)

    def _end_text_alone(self) -> None:
        """Without a zone the end cannot be placed; what is wrong with its text is still said."""
        if "end" in self.values and zones.clock(str(self.values["end"])) is None:
            self._end_wall()

    def _end_wall(self) -> zones.Wall | None:
        line, text = self.first["end"]
        try:
            return zones.wall(text)
        except Refused as refused:
            self._problem(line, "end", text, refused.what, refused.remedy)
            return None

    def _end(self, begin: int | None, tz: str) -> int | None:
        if "end" not in self.values:
            return None
        line, text = self.first["end"]
        at = zones.clock(text)
        written: zones.Wall | None
        if at is None:
            written = self._end_wall()
        elif begin is None:
            return None
        else:
            written = zones.Wall(self._on_the_day(begin, tz, at))
        end = self._instant("end", written, tz) if written else None
        if end is None or begin is None:
            return end
        if end <= begin:
            self._problem(
                line,
                "end",
                text,
                f"is not after the start '{self.first['start'][1]}'",
                "write the end of the change window, after the start",
            )
            return None
        if end - begin > _DAY:
            self._note(
                "end", f"makes a window of {(end - begin) // 3_600_000} hours", "check the date"
            )
        return end

    def _on_the_day(self, begin: int, tz: str, at: tuple[int, int]) -> datetime:
        local = zones.local_date(begin, tz)
        end = local.replace(hour=at[0], minute=at[1], second=0, microsecond=0)
        if end > local:
            return end
        end += timedelta(days=1)
        self._note(
            "end",
            f"was read as {end:%Y-%m-%d %H:%M}, the day after the start",
            "write it with its date if another was meant",
        )
        return end

    def _instant(self, key: str, written: zones.Wall, tz: str) -> int | None:
        line, text = self.first[key]
        try:
            return zones.instant(written, tz)
        except Refused as refused:
            self._problem(line, key, text, refused.what, refused.remedy)
            return None
