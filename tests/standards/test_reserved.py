"""Demo data uses only names, numbers and addresses that are reserved for it.

Sources: RFC 5737 (IPv4 blocks for documentation: 192.0.2.0/24, 198.51.100.0/24, 203.0.113.0/24);
RFC 2606 section 3 and RFC 6761 section 6.5 (example.com, example.net, example.org, .example);
Ofcom, "Telephone numbers for use in TV and radio drama programmes": no area 01632 960000 to
960999, mobile 07700 900000 to 900999 (the limits from memory).
"""

import csv
import ipaddress
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from bot.plan.importer import parse
from bot.plan.invented import invented
from bot.plan.rows import SiteRow
from bot.practice import scene

ROOT = Path(__file__).parents[2]
SITES = scene.HERE / "sites.csv"
DOCUMENTATION = [
    ipaddress.ip_network(net) for net in ("192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24")
]
DOMAINS = re.compile(r"(^|\.)example(\.(com|net|org))?$")
FICTION = re.compile(r"01632 ?960\d{3}|07700 ?900\d{3}")
NUMBER = re.compile(r"(?<![\w.:/-])(?:\+\d{2}|0)\d{2,4}[ -]?\d{3,}(?:[ -]?\d{3,})?(?![\w.:-])")
ADDRESS = re.compile(r"(?<![\d.])\d{1,3}(?:\.\d{1,3}){3}(?![\d.])")
URL = re.compile(r"\w+://(?:[^/\s\"'@]*@)?([\w.-]+\.[a-z]{2,})", re.IGNORECASE)
MAIL = re.compile(r"[\w.+-]+@([\w-]+(?:\.[\w-]+)+)")
#: What is shipped and may hold data. Lock files name real packages and are not among it.
SHIPPED = sorted(
    path
    for folder in ("bot", "handlers", "deploy")
    for path in (ROOT / folder).rglob("*")
    if path.suffix in {".py", ".yaml", ".toml", ".csv", ".sample", ".service"}
)
#: Real names that are no data: of standards, of the chat platform, of documentation that is cited.
REAL = {
    *("json-schema.org", "jmespath.org", "docs.oasis-open.org", "spec.openapis.org", "github.com"),
    *("schema.org", "wiki.openstreetmap.org"),  # how opening hours are written
    *("slack.com", "api.slack.com", "docs.slack.dev"),
}


def rows() -> Iterator[SiteRow]:
    yield from parse(SITES).sites
    yield from invented(1_500, 7)


def test_numbers_are_in_ofcoms_ranges_for_drama() -> None:
    numbers = set()
    for row in rows():
        people = [p for p in (row.contact, row.deputy) if p is not None]
        numbers |= {row.phone, row.carrier_fault_line, *(p.mobile for p in people)}
    numbers.discard("")
    assert len(numbers) > 1_000
    assert [n for n in numbers if not FICTION.fullmatch(n)] == []


def test_networks_are_rfc_5737s() -> None:
    networks = {ipaddress.ip_network(net) for row in rows() for net in row.networks}
    assert networks
    for net in networks:
        assert any(net.subnet_of(block) for block in DOCUMENTATION), net  # type: ignore[arg-type]


def test_no_column_of_the_list_holds_another_number_or_address() -> None:
    with SITES.open(encoding="utf-8", newline="") as file:
        cells = [cell for line in csv.reader(file) for cell in line]
    assert [c for c in cells if any(not FICTION.fullmatch(n) for n in NUMBER.findall(c))] == []
    assert [c for c in cells for a in ADDRESS.findall(c) if not _reserved(a)] == []


def _reserved(text: str) -> bool:
    address = ipaddress.ip_address(text)
    if address.is_loopback or address.is_unspecified:
        return True
    return any(address in block for block in DOCUMENTATION)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: str(p.relative_to(ROOT)))
def test_what_is_shipped_names_reserved_places_only(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    hosts = {host.lower() for host in (*URL.findall(text), *MAIL.findall(text))}
    assert {h for h in hosts if not DOMAINS.search(h)} <= REAL
    assert [a for a in ADDRESS.findall(text) if not _reserved(a)] == []
