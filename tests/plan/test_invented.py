"""Invented waves, and the demo list of the Hollowmere libraries."""

import re
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.plan import listing, zones
from bot.plan.importer import parse
from bot.plan.invented import invented
from bot.plan.rows import SiteRow

DEMO = Path(__file__).parents[2] / "bot" / "practice" / "hollowmere" / "sites.csv"
TEN_MINUTES = 10 * 60 * 1000


def starts(sites: list[SiteRow]) -> list[int]:
    found = [site.start for site in sites]
    assert None not in found
    return [start for start in found if start is not None]


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 3000), st.integers(0, 10_000))
def test_a_wave_of_any_size(units: int, seed: int) -> None:
    sites = invented(units, seed)
    assert sites == invented(units, seed)
    assert len(sites) == len({unit.serial for site in sites for unit in site.units}) == units
    assert len({site.site for site in sites}) == units
    begun = starts(sites)
    assert begun == sorted(begun)
    for first, later in pairwise(begun[::60]):
        assert later - first >= TEN_MINUTES
    for site, start in zip(sites, begun, strict=True):
        local = zones.local_date(start, site.tz)
        assert local.weekday() < 5
        assert 18 <= local.hour < 21
        assert site.end is not None
        assert zones.local_date(site.end, site.tz) == local.replace(
            hour=22, minute=0, second=0, microsecond=0
        )


def test_another_seed_is_another_wave() -> None:
    assert invented(5, 1) != invented(5, 2)


def test_a_shorter_wave_is_the_beginning_of_a_longer_one() -> None:
    assert invented(200, 3)[:50] == invented(50, 3)


def test_no_units_is_no_wave() -> None:
    with pytest.raises(ValueError, match="at least one"):
        invented(0, 1)


def test_an_invented_wave_passes_the_import(tmp_path: Path) -> None:
    sites = invented(2500, 7)
    listing.write(tmp_path / "sites.csv", sites)
    parsed = parse(tmp_path / "sites.csv")
    assert (parsed.problems, parsed.notes) == ([], [])
    assert parsed.sites == sites


@pytest.fixture(scope="module")
def demo() -> list[SiteRow]:
    parsed = parse(DEMO)
    assert (parsed.problems, parsed.notes, parsed.skipped) == ([], [], 0)
    return parsed.sites


def test_the_demo_wave(demo: list[SiteRow]) -> None:
    vans = [site for site in demo if site.site.startswith("mobile-")]
    assert (len(demo), len(vans)) == (40, 4)
    assert {site.wave for site in demo} == {"hollowmere-1"}
    assert {unit.model for site in demo for unit in site.units} == {"HG-10", "HG-20"}
    assert all(not van.networks and "Depot" in van.address for van in vans)
    assert all(site.networks for site in demo if site not in vans)
    people = [p for site in demo for p in (site.contact, site.deputy) if p]
    assert len({p.user for p in people}) == len({p.name for p in people}) == 80


def test_the_demo_evening(demo: list[SiteRow]) -> None:
    begun = [zones.local_date(start, "Europe/London") for start in starts(demo)]
    assert {start.date().isoformat() for start in begun} == {"2026-03-12"}
    assert {start.strftime("%A") for start in begun} == {"Thursday"}
    assert (min(begun).strftime("%H:%M"), max(begun).strftime("%H:%M")) == ("18:00", "18:18")
    groups = [begun.count(start) for start in sorted(set(begun))]
    assert groups == [4] * 10
    ends = {zones.local_date(site.end, "Europe/London").strftime("%H:%M")
            for site in demo if site.end}  # fmt: skip
    assert ends == {"22:00"}


def test_demo_serials_cannot_be_misread_for_each_other(demo: list[SiteRow]) -> None:
    labels = [unit.label for site in demo for unit in site.units]
    assert labels[0] == "HML-4F7K2Q"
    assert len(labels) == 40
    for label in labels:
        assert re.fullmatch(r"HML-[234679ACEFGHJKMNPQRTVWXY]{6}", label)
    for index, one in enumerate(labels):
        for other in labels[index + 1 :]:
            assert sum(a != b for a, b in zip(one, other, strict=True)) >= 3


# Ofcom, telephone numbers for use in TV and radio drama: 01632 960000 to 960999 and, for mobiles,
# 07700 900000 to 900999. RFC 5737: address blocks for documentation.
@pytest.mark.parametrize("units", [0, 2500])
def test_nothing_rings_or_routes_anywhere(demo: list[SiteRow], units: int) -> None:
    for site in demo if units == 0 else invented(units, 1):
        people = [p for p in (site.contact, site.deputy) if p]
        assert all(re.fullmatch(r"07700 900\d{3}", p.mobile) for p in people)
        for number in (site.phone, site.carrier_fault_line):
            assert re.fullmatch(r"01632 960\d{3}", number)
        for network in site.networks:
            assert network.startswith(("192.0.2.", "198.51.100.", "203.0.113."))
        assert ZoneInfo(site.tz).key == "Europe/London"
