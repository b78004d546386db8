"""The measurements run, with next to nothing to measure, and end with one JSON object."""

import json

import pytest

from tests.bench import deadlines, intake, reader


def last_line(printed: str) -> dict[str, object]:
    figures = json.loads(printed.strip().splitlines()[-1])
    assert isinstance(figures, dict)
    return figures


def test_intake(capsys: pytest.CaptureFixture[str]) -> None:
    code = intake.main(["--units", "64", "--rounds", "1"])
    printed = capsys.readouterr()
    assert code == 0, printed.err
    figures = last_line(printed.out)
    for name in ("floor", "cold", "warm", "ratio_cold", "ratio_warm", "ratio_128", "p99_ratio"):
        value = figures[name]
        assert isinstance(value, float)
        assert value > 0
    assert figures["growth"] is None  # not asked for


def test_deadlines(capsys: pytest.CaptureFixture[str]) -> None:
    code = deadlines.main(["--units", "64", "--drain", "64"])
    printed = capsys.readouterr()
    assert code == 0, printed.err
    figures = last_line(printed.out)
    for name in ("ratio_set_single", "ratio_set", "ratio_fire", "drain_s"):
        value = figures[name]
        assert isinstance(value, float)
        assert value > 0
    assert isinstance(figures["escalations_first"], bool)


def test_reader(capsys: pytest.CaptureFixture[str]) -> None:
    assert reader.main(["--language", "en", "--set", "kept", "--messages", "30"]) == 0
    figures = last_line(capsys.readouterr().out)
    for name in ("right", "us_per_sentence", "path_us", "share_of_path", "share_of_cpu"):
        value = figures[name]
        assert isinstance(value, float)
        assert value > 0
    for name in ("danger_missed", "fault_missed", "false_danger"):
        assert isinstance(figures[name], int)


def test_the_kept_sentences_are_not_listed(capsys: pytest.CaptureFixture[str]) -> None:
    for kept in ("kept", "all"):
        assert reader.main(["--set", kept, "--show"]) == 2
        printed = capsys.readouterr()
        assert printed.out == ""
        assert "for testing only" in printed.err
