"""The commands that check runbooks and show the reader at work."""

import argparse
import io
import json
import sys
from pathlib import Path

import pytest

from bot.commands import read as read_command
from bot.commands import runbook as runbook_command

SAMPLE = Path(__file__).parents[2] / "bot/practice/hollowmere/runbook.yaml"
READ = ("read", "--runbook", str(SAMPLE), "--stage")


def run(*words: str) -> int:
    parser = argparse.ArgumentParser(prog="musterline")
    subparsers = parser.add_subparsers()
    runbook_command.add(subparsers)
    read_command.add(subparsers)
    args = parser.parse_args(words)
    return int(args.run(args))


def test_schema(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("runbook", "schema") == 0
    assert json.loads(capsys.readouterr().out)["title"] == "Musterline runbook"


def test_check_a_good_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("runbook", "check", str(SAMPLE)) == 0
    assert "good" in capsys.readouterr().out


def test_check_a_bad_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(SAMPLE.read_text(encoding="utf-8").replace("runbook: 1", "runbook: 2"))
    assert run("runbook", "check", str(path)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert f"{path}:4:1: runbook: 2 is not allowed here. Allowed: 1.\n" == err


def test_check_a_text_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "wordless.yaml"
    text = SAMPLE.read_text(encoding="utf-8").replace("means: light_dark", "means: light_gone")
    path.write_text(text)
    assert run("runbook", "check", str(path)) == 2
    assert "light_gone" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("runbook", "check", "none.yaml"), "none.yaml cannot be read: No such file"),
        (("runbook", "check", "."), "cannot be read"),
        (("runbook",), "Say what to do"),
        ((*READ, "nowhere", "ok"), "There is no stage nowhere in the runbook; it has inv"),
        (
            (*READ, "loading", "--question", "x", "ok"),
            "Stage loading does not ask x; it asks",
        ),
        ((*READ, "loading", "--language", "xx", "ok"), "There are no words for language xx"),
        (("read", "--runbook", "none.yaml", "--stage", "x", "ok"), "none.yaml cannot be read"),
    ],
)
def test_bad_input_is_one_sentence(
    words: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err


def test_read_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*READ, "loading", "light is red, which cable?") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["kind"], told["pattern"], told["confidence"]) == ("light", "fault", 1.0)
    assert (told["colours"], told["mode"], told["rate"]) == (["red"], None, None)
    assert [reading["kind"] for reading in told["readings"]] == ["light", "question"]


def test_read_what_is_taken_back(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*READ, "loading", "no, that was the other light, it's red") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["kind"], told["pattern"], told["corrects"]) == ("light", "fault", True)
    assert [reading["kind"] for reading in told["readings"]] == ["correction", "light"]
    assert run(*READ, "loading", "that was the other light") == 0
    assert json.loads(capsys.readouterr().out)["kind"] == "correction"


def test_read_says_what_would_be_asked_back(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*READ, "loading", "several lights") == 0
    asked = json.loads(capsys.readouterr().out)["question"]
    assert "the round light on the front" in asked
    assert run(*READ, "mobile_data", "--question", "callback", "01632 960123") == 0
    assert json.loads(capsys.readouterr().out)["kind"] == "number"


def test_read_danger(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*READ, "begin", "smok") == 0
    assert json.loads(capsys.readouterr().out)["kind"] == "danger"


def test_read_explained(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*READ, "loading", "--explain", "green") == 0
    out = capsys.readouterr().out
    assert "a light is described" in out
    assert "asks back ask_steady_or_blinking" in out


def test_read_a_question_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*READ, "inventory", "--question", "version", "4.2") == 0
    assert json.loads(capsys.readouterr().out)["value"] == "4.2"


def test_read_lines(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    data = io.BytesIO("done\r\n\nGrüße\n".encode() + b"\xff\xfe\n" + b"smoke")
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(data))
    assert run(*READ, "cabling", "-") == 0
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [each["kind"] for each in told] == ["done", "unclear", "unclear", "unclear", "danger"]
    assert told[2]["words"] == "Grüße"


def test_a_broken_runbook_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text("runbook: 1")
    assert run("read", "--runbook", str(path), "--stage", "x", "ok") == 2
    err = capsys.readouterr().err
    assert "more; see musterline runbook check" in err
    assert err.count("\n") == 1
