"""Versions compared as labels show them."""

from itertools import pairwise

import pytest

from bot.model.versions import at_least, cut_short, parse


@pytest.mark.parametrize(
    ("version", "least", "enough"),
    [
        ("4.2.0", "4.2.0", True),
        ("4.2", "4.2.0", True),
        ("4.2.0", "4.2", True),
        ("4.10.0", "4.9.9", True),  # numbers, not letters
        ("4.1.9", "4.2.0", False),
        ("5", "4.2.0", True),
        ("v4.2.0", "4.2.0", True),
        ("Version 4.2.1", "4.2.0", True),
        ("ver. 4.2.1", "4.2.0", True),
        (" 4.2.0 ", "4.2.0", True),
        ("4.2.0-rc1", "4.2.0", False),
        ("4.2.0-rc1", "4.1.9", True),
        ("4.2.0b2", "4.2.0", False),
        ("4.2.0+build7", "4.2.0", True),
        ("04.02.00", "4.2", True),
        ("1.0", "1.0.0.0.1", False),
    ],
)
def test_at_least(version: str, least: str, *, enough: bool) -> None:
    assert at_least(version, least) is enough


def test_missing_numbers_count_as_zero() -> None:
    # PEP 440, "Version comparison": a shorter release segment is padded with zeros, so that
    # 4.2 and 4.2.0 are equal (packaging.python.org, version specifiers; from memory).
    assert parse("4.2") == parse("4.2.0")
    assert at_least("4.2", "4.2.0")
    assert at_least("4.2.0", "4.2")


@pytest.mark.parametrize(
    ("version", "least", "short"),
    [
        ("4.4", "4.4.1", True),
        ("4.4.1", "4.4.1", False),
        ("v4", "4.2", True),
        ("4.4.0", "4.4", False),
    ],
)
def test_a_version_with_fewer_numbers_may_be_only_its_beginning(
    version: str, least: str, *, short: bool
) -> None:
    assert cut_short(version, least) is short


def test_the_order_of_semantic_versioning() -> None:
    # Semantic Versioning 2.0.0, clause 11, its own example of precedence (semver.org; from memory).
    published = [
        "1.0.0-alpha",
        "1.0.0-alpha.1",
        "1.0.0-alpha.beta",
        "1.0.0-beta",
        "1.0.0-beta.2",
        "1.0.0-beta.11",
        "1.0.0-rc.1",
        "1.0.0",
        "2.0.0",
        "2.1.0",
        "2.1.1",
    ]
    assert all(parse(older) < parse(newer) for older, newer in pairwise(published))


@pytest.mark.parametrize(
    "text", ["", "four", "4.", ".4", "4..2", "HML-4F7K2Q", "4.2.0 or so", "-1", "4.2.0-", "٤.٢"]
)
def test_what_is_no_version(text: str) -> None:
    with pytest.raises(ValueError, match="not a version"):
        parse(text)


def test_a_very_long_text_is_no_version() -> None:
    with pytest.raises(ValueError, match="not a version"):
        parse("1" * 1_000_000)
