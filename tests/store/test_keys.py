"""The table of keys is true: every row is built by the module, and nothing else is."""

import re
import zlib

import pytest

from bot.store import keys

HOME = keys.of("HOME")

BUILT = {
    HOME.subject("NAME"),
    HOME.fact("FACT"),
    HOME.hold,
    HOME.mark,
    HOME.names,
    HOME.journal,
    HOME.due,
    HOME.counters,
    HOME.queue("THREAD"),
    HOME.outbox("THREAD"),
    HOME.thread("THREAD"),
    HOME.stage("NAME"),
    HOME.page("SITE"),
    HOME.ready,
    HOME.later,
    HOME.busy,
    HOME.doubt,
    HOME.dead,
    keys.HOMES,
    keys.person("ID"),
    keys.lease("ID"),
    keys.bucket("NAME"),
    keys.CLOCK,
    keys.ALIVE,
    keys.note("NAME"),
}


def rows() -> set[bytes]:
    assert keys.__doc__ is not None
    found = re.findall(
        r"^(\{\S+)\s+(?:hash|string|set|zset|list|stream) ", keys.__doc__, re.MULTILINE
    )
    return {row.encode() for row in found}


def test_the_table_lists_what_is_built() -> None:
    index = re.sub(rb"ix:\d+", b"ix:N", keys.index("KIND", "VALUE"))
    assert rows() == BUILT | {index}


def test_no_two_builders_make_the_same_key() -> None:
    assert len(BUILT) == 25


def test_everything_of_a_home_lies_in_one_slot() -> None:
    homes = {key for key in BUILT if key.startswith(b"{HOME}")}
    assert len(homes) == 18
    assert {key[key.index(b"{") + 1 : key.index(b"}")] for key in homes} == {b"HOME"}


@pytest.mark.parametrize("home", ["", "w:{x", "w:x}"])
def test_a_home_that_would_break_the_tag_is_refused(home: str) -> None:
    with pytest.raises(ValueError, match="not a home"):
        keys.of(home)


@pytest.mark.parametrize(("name", "kind"), [("v|x", "check"), ("v:x", "ch|eck"), ("v:x", "")])
def test_a_deadline_that_could_not_be_read_back_is_refused(name: str, kind: str) -> None:
    with pytest.raises(ValueError, match="bar"):
        keys.member(name, kind, 1)


def test_shards_are_the_same_in_every_process() -> None:
    # CRC-32 as zlib computes it; Python's own hash() differs from process to process.
    assert keys.shard("HML4F7K2Q") == zlib.crc32(b"HML4F7K2Q") % 64
    assert {keys.shard(str(n)) for n in range(2_000)} == set(range(64))
