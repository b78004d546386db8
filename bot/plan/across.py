"""What shows only when the sites of a list are seen side by side."""

import ipaddress
from collections.abc import Iterator, Sequence

from bot.model import serial
from bot.plan import checks
from bot.plan.build import Group
from bot.plan.columns import BY_KEY
from bot.plan.problem import Problem, Refused

Network = ipaddress.IPv4Network | ipaddress.IPv6Network


def problems(groups: Sequence[Group]) -> list[Problem]:
    """Ids that differ only in capitals, and serials that stand twice; marks their sites bad."""
    return [*_same_but_for_case(groups), *_doubled_serials(groups)]


def notes(groups: Sequence[Group]) -> list[Problem]:
    """One person under two names, and address ranges that two sites share."""
    return [*_two_names(groups), *_shared_networks(groups)]


def _same_but_for_case(groups: Sequence[Group]) -> Iterator[Problem]:
    """`North-1` and `north-1` are one id to people: two of them are a slip of the keyboard."""
    waves: dict[str, Group] = {}
    sites: dict[tuple[str, str], Group] = {}
    for group in groups:
        first = waves.setdefault(group.wave.casefold(), group)
        if first.wave != group.wave:
            yield _case(group, "wave", group.wave, first, first.wave)
        first = sites.setdefault((group.wave.casefold(), group.site.casefold()), group)
        if first.site != group.site:
            yield _case(group, "site", group.site, first, first.site)


def _case(group: Group, key: str, text: str, first: Group, other: str) -> Problem:
    group.bad = first.bad = True
    return Problem(
        group.lines[0].line,
        BY_KEY[key].title,
        text,
        f"differs only in capitals from '{other}' on line {first.lines[0].line}",
        "write both the same, or choose ids that differ more",
    )


def _doubled_serials(groups: Sequence[Group]) -> Iterator[Problem]:
    """A serial stands once in a list, in whatever spelling; which one is right nobody knows."""
    seen: dict[str, tuple[Group, int]] = {}
    for group in groups:
        for line in group.lines:
            for label in serial.several(line.cells.get("serials", "")):
                form = serial.normal(label)
                if form in seen:
                    first, at = seen[form]
                    group.bad = first.bad = True
                    yield _doubled(line.line, label, first, at)
                else:
                    seen[form] = (group, line.line)


def _doubled(line: int, label: str, first: Group, at: int) -> Problem:
    where = f"twice on line {line}" if at == line else f"on line {line} and on line {at}"
    return Problem(
        line,
        BY_KEY["serials"].title,
        label,
        f"stands {where} (site '{first.site}')",
        "keep it where the unit goes and correct or remove the other",
    )


def _two_names(groups: Sequence[Group]) -> Iterator[Problem]:
    """A user id copied one row too far would send one site's messages to another's contact."""
    seen: dict[str, tuple[str, int]] = {}
    for group in groups:
        for line in group.lines:
            for who in ("contact", "deputy"):
                user, name = line.cells.get(who), line.cells.get(f"{who}_name")
                if not user or not name:
                    continue
                first, at = seen.setdefault(user, (name, line.line))
                if first.casefold() != name.casefold():
                    yield Problem(
                        line.line,
                        BY_KEY[who].title,
                        user,
                        f"is called '{name}' here and '{first}' on line {at}",
                        "check that the id belongs to this person",
                    )


def _shared_networks(groups: Sequence[Group]) -> Iterator[Problem]:
    """Ranges sorted by first address: each is held against the widest one still open before it."""
    for version in (4, 6):
        ranges = sorted(
            (entry for entry in _ranges(groups) if entry[0].version == version),
            key=lambda entry: (int(entry[0].network_address), entry[0].prefixlen),
        )
        open_until, owner = -1, None
        for network, group, line in ranges:
            if owner and int(network.network_address) <= open_until and owner[1] is not group:
                yield Problem(
                    line,
                    BY_KEY["networks"].title,
                    str(network),
                    f"overlaps {owner[0]} of site '{owner[1].site}' on line {owner[2]}",
                    "check both; a sign of life from a shared range does not tell the site",
                )
            if int(network.broadcast_address) > open_until:
                open_until, owner = int(network.broadcast_address), (network, group, line)


def _ranges(groups: Sequence[Group]) -> Iterator[tuple[Network, Group, int]]:
    for group in groups:
        seen: set[str] = set()
        for line in group.lines:
            text = line.cells.get("networks")
            if text is None or text in seen:
                continue
            seen.add(text)
            try:
                found = checks.networks(text)
            except Refused:
                continue  # reported where the site is built
            for network in found:
                yield ipaddress.ip_network(network), group, line.line
