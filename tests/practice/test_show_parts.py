"""Parts of what a rehearsal shows: the curve, the choice of a site, lines for a log."""

from typing import Any

from bot.practice.screenchart import curve, in_marks_of
from bot.practice.screenlog import Line, shortened
from bot.practice.screenpick import Pick
from bot.report.words import unmarked


def test_the_curve_rises_to_full_height_when_all_are_online() -> None:
    lines = curve([10, 20, 30, 40], since=0, until=40, total=4, width=4, height=2)
    assert lines == ["  ▄█", "▄███"]


def test_the_curve_shows_the_first_unit_of_many() -> None:
    (line,) = curve([50], since=0, until=100, total=1000, width=10, height=1)
    assert line == "    ▁▁▁▁▁▁"


def test_no_time_has_passed_and_nothing_is_online() -> None:
    assert curve([], since=5, until=5, total=0, width=3, height=1) == ["   "]


def test_a_terminal_without_such_marks_gets_plain_ones() -> None:
    assert in_marks_of("utf-8", [" ▄█"]) == [" ▄█"]
    for encoding in ("ascii", None, "unheard-of"):
        assert in_marks_of(encoding, [" ▁▄█"]) == [" .:#"]


def test_a_line_of_the_log_names_site_speaker_and_words() -> None:
    line = Line(1_773_338_400_000, "alderbeck", "Ada Brightwell", "ok done")
    assert str(line) == "18:00:00  alderbeck       Ada Brightwell: ok done"
    assert str(Line(1_773_338_400_000, "", "desk", "x")).split() == [
        "18:00:00",
        "wave",
        "desk:",
        "x",
    ]
    assert shortened("a" * 100, 10) == "a" * 9 + "…"
    assert unmarked("*Wave* `resume`") == "Wave resume"


class _Watched:
    """Sites in the order of their newest activity."""

    def __init__(self, *sites: str) -> None:
        self.sites = list(sites)

    def newest_first(self) -> list[str]:
        return list(self.sites)


def picked(watched: Any, *keys: str) -> Pick:
    pick = Pick(watched)
    for key in keys:
        pick.key(key)
    return pick


def test_the_order_stands_still_once_a_site_is_chosen() -> None:
    watched = _Watched("c", "a", "b")
    pick = picked(watched, "down", "down")
    assert pick.site == "a"
    watched.sites = ["b", "d", "a", "c"]
    assert pick.order() == ["c", "a", "b", "d"]
    pick.key("escape")
    assert (pick.site, pick.order()) == ("", ["b", "d", "a", "c"])


def test_choosing_ends_at_the_ends() -> None:
    watched = _Watched("a", "b")
    assert picked(watched, "up", "up").site == "a"
    assert picked(watched, *["n"] * 9).site == "b"
    assert picked(_Watched(), "n", "enter").site == ""


def test_enter_opens_and_closes_a_thread_and_keys_scroll_it() -> None:
    watched = _Watched("a", "b")
    pick = picked(watched, "enter")
    assert (pick.site, pick.reading) == ("a", True)
    assert pick.key("page up")
    assert pick.back > 0
    pick.key("down")
    assert (pick.site, pick.reading, pick.back) == ("b", True, 0)
    pick.key("escape")
    assert (pick.site, pick.reading) == ("b", False)
    assert not pick.key("page up"), "there is nothing to scroll"
    assert not pick.key("x")
