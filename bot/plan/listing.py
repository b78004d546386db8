"""Writing a site list that `importer.parse` reads back: for invented waves and for templates."""

import csv
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from bot.model.people import by_page
from bot.plan.checks import OF_SITE
from bot.plan.columns import COLUMNS
from bot.plan.rows import PersonRow, SiteRow, UnitRow

TITLES = tuple(column.title for column in COLUMNS)


_OF_PERSON = ("name", "lang", "mobile", "mail")


def write(
    path: Path, sites: Iterable[SiteRow], *, delimiter: str = ",", encoding: str = "utf-8"
) -> None:
    """Write sites as CSV, one row per unit, times in the site's own zone with their offset."""
    with path.open("w", encoding=encoding, newline="") as file:
        writer = csv.writer(file, delimiter=delimiter, lineterminator="\n")
        writer.writerow(TITLES)
        for site in sites:
            for unit in site.units:
                writer.writerow(cells(site, unit))


def cells(site: SiteRow, unit: UnitRow) -> Sequence[str]:
    """The row of one unit, in the order of the columns."""
    values = {
        "wave": site.wave, "site": site.site, "name": site.name, "tz": site.tz,
        **_person("contact", site.contact), **_person("deputy", site.deputy),
        "phone": site.phone, "address": site.address,
        "serials": unit.label or unit.serial, "model": unit.model, "version": unit.version or "",
        "link_type": site.link_type, "circuit": site.circuit, "carrier": site.carrier,
        "carrier_fault_line": site.carrier_fault_line, "networks": " ".join(site.networks),
        "depends": _listed(site.depends),
        "cables": _listed(site.cables), "checks": _listed(site.checks),
        "where": site.where, "access": site.access, "opening_hours": site.opening_hours,
        "alarm_hours": site.alarm_hours, "vehicle": "yes" if site.vehicle else "",
        "start": _local(site.start, site.tz), "end": _local(site.end, site.tz),
        "line_tested": "yes" if "line" in site.ready else "",
        "in_registry": "yes" if "registry" in site.ready else "",
        "seen_on_site": "; ".join(item for item in OF_SITE if item in site.ready),
    }  # fmt: skip
    return [values[column.key] for column in COLUMNS]


def _person(who: str, person: PersonRow | None) -> dict[str, str]:
    if person is None:
        return dict.fromkeys((who, *(f"{who}_{key}" for key in _OF_PERSON)), "")
    user = "" if by_page(person.user) else person.user
    return {
        who: user, f"{who}_name": person.name, f"{who}_lang": person.lang,
        f"{who}_mobile": person.mobile, f"{who}_mail": person.mail,
    }  # fmt: skip


def _listed(values: Sequence[str]) -> str:
    """Values in one cell; a lone one that holds a comma needs the semicolon to stay one."""
    return "; ".join(values) + (";" if len(values) == 1 else "")


def _local(instant: int | None, tz: str) -> str:
    if instant is None:
        return ""
    local = datetime.fromtimestamp(instant / 1000, UTC).astimezone(ZoneInfo(tz))
    return local.isoformat(" ", "seconds" if local.second else "minutes")
