"""What is written is read back the same, whatever the delimiter and the encoding."""

import unicodedata
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bot.model import serial
from bot.plan import listing
from bot.plan.checks import OF_SITE
from bot.plan.importer import parse
from bot.plan.rows import PersonRow, SiteRow, UnitRow

# What cleaning changes or refuses (controls, odd spaces) is tested beside it.
LETTERS = st.characters(exclude_categories=["Cc", "Cf", "Cs", "Co", "Cn", "Zs", "Zl", "Zp"])
TEXT = st.text(LETTERS | st.sampled_from(" ,;\"'|#="), max_size=60).map(
    lambda text: unicodedata.normalize("NFC", text).strip()
)
SOME = TEXT.map(lambda text: text or "x")
NAMED = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,20}", fullmatch=True)
USER = st.from_regex(r"[UW][A-Z0-9]{2,20}", fullmatch=True)
PHONE = st.sampled_from(["", "01632 960101", "+44 7700 900101", "(01632) 960-102"])
LANG = st.sampled_from(["en", "pt-BR", "zh-Hant", "es-419"])
ZONE = st.sampled_from(["Europe/London", "America/New_York", "Australia/Lord_Howe", "UTC"])
LABEL = st.from_regex(r"HM[A-Z]-[0-9][A-Z0-9]{4,9}", fullmatch=True)
PART = TEXT.map(lambda text: text.replace(";", "").strip() or "x")
START = st.integers(0, 60 * 24 * 3650).map(
    lambda minutes: (int(datetime(2025, 1, 1, tzinfo=UTC).timestamp()) + minutes * 60) * 1000
)
NETWORKS = st.lists(st.sampled_from(["192.0.2.0/28", "198.51.100.0/24", "2001:db8::/48"]),
                    unique=True)  # fmt: skip
MAIL = st.sampled_from(["", "ada.brightwell@example.org", "desk+alder@mail.example.org"])
READY = st.sets(st.sampled_from(["carton", "label", "contact", "deputy", "line", "registry"])).map(
    lambda some: [item for item in (*OF_SITE, "line", "registry") if item in some]
)
THINGS = st.lists(PART.filter(lambda p: len(p) <= 40), max_size=3, unique_by=str.casefold)
PERSON = st.builds(PersonRow, user=USER, lang=LANG, name=TEXT, mobile=PHONE, mail=MAIL)


@st.composite
def sites(draw: st.DrawFn) -> SiteRow:
    start = draw(START)
    end = draw(st.none() | st.integers(1, 60 * 23).map(lambda m: start + m * 60_000))
    labels = draw(st.lists(LABEL, min_size=1, max_size=3))
    units = [
        UnitRow(serial=serial.normal(label), label=label, model=draw(PART | st.just("")),
                version=draw(st.none() | st.sampled_from(["4.2.0", "4.10", "2026-01-b"])))
        for label in labels
    ]  # fmt: skip
    return SiteRow(
        wave=draw(NAMED), site=draw(NAMED), name=draw(SOME), tz=draw(ZONE), contact=draw(PERSON),
        deputy=draw(st.none() | PERSON), phone=draw(PHONE), address=draw(TEXT), units=units,
        link_type=draw(TEXT), circuit=draw(st.sampled_from(["", "HLS-CCT-0101", "007"])),
        carrier=draw(TEXT), carrier_fault_line=draw(PHONE), networks=draw(NETWORKS),
        depends=draw(st.lists(PART, max_size=3)), cables=draw(THINGS), checks=draw(THINGS),
        where=draw(TEXT), access=draw(TEXT),
        opening_hours=draw(TEXT), alarm_hours=draw(TEXT), start=start, end=end,
        ready=draw(READY),
    )  # fmt: skip


def distinct(found: list[SiteRow]) -> list[SiteRow]:
    """Those with ids and serials of their own."""
    ids: set[str] = set()
    kept = []
    for site in found:
        names = {site.site.casefold(), site.wave.casefold(), *(u.serial for u in site.units)}
        if not names & ids and len({u.serial for u in site.units}) == len(site.units):
            ids |= names
            kept.append(site)
    return kept


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lists")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(sites(), min_size=1, max_size=4).map(distinct).filter(bool),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-32"]),
)
def test_written_and_read_back(
    folder: Path, wanted: list[SiteRow], delimiter: str, encoding: str
) -> None:
    path = folder / "sites.csv"
    listing.write(path, wanted, delimiter=delimiter, encoding=encoding)
    parsed = parse(path)
    assert [str(problem) for problem in parsed.problems] == []
    assert parsed.sites == wanted
    assert (parsed.rows, parsed.skipped) == (sum(len(s.units) for s in wanted), 0)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=400) | st.text(max_size=400).map(lambda text: text.encode("utf-8")))
def test_any_bytes_give_an_answer(folder: Path, data: bytes) -> None:
    path = folder / "any.csv"
    path.write_bytes(data)
    parsed = parse(path)
    assert parsed.problems
    assert not parsed.sites


HEAD = "wave,site,time zone,contact,serials,start\n"


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=200))
def test_any_rows_are_accounted_for(folder: Path, text: str) -> None:
    path = folder / "rows.csv"
    path.write_bytes((HEAD + text).encode("utf-8"))
    parsed = parse(path)
    assert parsed.problems or parsed.sites
    assert 0 <= parsed.skipped <= parsed.rows
    for problem in parsed.problems:
        assert str(problem).isprintable()
