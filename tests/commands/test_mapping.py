"""``musterline mapping try``: what a mapping makes of a sample, before it goes live."""

import argparse
import io
from pathlib import Path
from typing import NamedTuple

import pytest

from bot.commands import check
from bot.commands import mapping as mapping_command
from bot.settings import Settings
from tests.commands.kit import TOP

SAMPLE = TOP / "deploy" / "mapping.toml"
GOOD = '{"device": {"serial": "HML-4F7K2Q"}, "event": "joined"}'


class Done(NamedTuple):
    code: int
    out: str
    err: str


@pytest.fixture
def tried(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> "Tried":
    return Tried(tmp_path, capsys)


class Tried:
    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self._capsys = folder, capsys

    def __call__(self, body: str, mapping: str | None = None, *more: str) -> Done:
        (self.folder / "sample.json").write_text(body, encoding="utf-8")
        path = SAMPLE
        if mapping is not None:
            path = self.folder / "mapping.toml"
            path.write_text(mapping, encoding="utf-8")
        return self.run(str(path), "--body", str(self.folder / "sample.json"), *more)

    def run(self, *words: str) -> Done:
        parser = argparse.ArgumentParser(prog="musterline")
        mapping_command.add(parser.add_subparsers())
        args = parser.parse_args(["mapping", "try", *words])
        code = int(args.run(args))
        return Done(code, *self._capsys.readouterr())


def test_the_sample_reads_what_it_says(tried: Tried) -> None:
    done = tried(GOOD)
    assert done.code == 0
    assert "serial:  HML-4F7K2Q\n" in done.out
    assert "kind:    registered\n" in done.out
    assert "id:      none; the same content counts once\n" in done.out


def test_everything_a_mapping_can_find_is_shown(tried: Tried) -> None:
    text = SAMPLE.read_text(encoding="utf-8").replace("#id", "id").replace("#time", "time")
    text = text.replace("#address", "address").replace("#message", "message")
    done = tried(
        '{"device": {"serial": "X1", "address": "192.0.2.7"}, "event": "left", "uuid": 7,'
        ' "at": "2026-03-12T18:05:00+01:00", "text": "gone"}',
        text,
    )
    assert done.out.splitlines() == [
        "serial:  X1",
        "kind:    lost",
        "id:      7",
        "time:    2026-03-12T17:05:00.000+00:00",
        "address: 192.0.2.7",
        "message: gone",
    ]


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (GOOD.replace("joined", "painted"), "kind 'painted'"),
        (GOOD.replace("HML-4F7K2Q", ""), "finds no serial"),
        ("[]", "kind ''"),
        ("5", "kind ''"),
    ],
)
def test_what_would_be_refused_is_said(tried: Tried, body: str, says: str) -> None:
    done = tried(body)
    assert done.code == 1
    assert done.out.startswith("It would be refused with 422: ")
    assert says in done.out


def test_what_would_be_ignored_is_said(tried: Tried) -> None:
    text = SAMPLE.read_text(encoding="utf-8").replace('#otherwise = "refuse"', 'otherwise="ignore"')
    done = tried(GOOD.replace("joined", "painted"), text)
    assert done.code == 0
    assert done.out.startswith("It would be ignored")


@pytest.mark.parametrize(
    ("body", "mapping", "says"),
    [
        ("{", None, "sample.json: The body is not valid JSON."),
        ("[" * 40 + "]" * 40, None, "sample.json: More than 32"),
        (GOOD, "mapping = 2", "mapping.toml: "),
        (GOOD, "nothing", "mapping.toml: not valid TOML"),
        (
            GOOD,
            'mapping=1\nserial="a["\nkind="b"\n[kinds]\nx="lost"',
            "mapping.toml: serial: not a JMESPath",
        ),
        (GOOD, 'mapping = 1\nserial = "a"\nkind = "b"\n[kinds]', "name at least one"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(
    tried: Tried, body: str, mapping: str | None, says: str
) -> None:
    done = tried(body, mapping)
    assert done.code == 2
    assert done.out == ""
    assert says in done.err
    assert done.err.count("\n") == 1


def test_files_that_are_not_there(tried: Tried) -> None:
    assert "cannot be read" in tried.run("none.toml", "--body", "none.json").err
    assert "cannot be read" in tried.run(str(SAMPLE), "--body", "none.json").err


def test_the_body_may_come_by_the_input(tried: Tried, monkeypatch: pytest.MonkeyPatch) -> None:
    stream = io.TextIOWrapper(io.BytesIO(GOOD.encode()))
    monkeypatch.setattr("sys.stdin", stream)
    assert tried.run(str(SAMPLE), "--body", "-").code == 0


LINES = """
mapping = 1
serial = 'sd."unit@32473".serial'
kind = "msgid"
time = "timestamp"
[kinds]
UP = "registered"
"""


def test_a_log_line_is_read_too(tried: Tried) -> None:
    line = '<134>1 2026-03-12T18:05:00Z gw unitd 7 UP [unit@32473 serial="HML-4F7K2Q"] registered\n'
    done = tried(line, LINES, "--syslog")
    assert done.code == 0
    assert "serial:  HML-4F7K2Q" in done.out
    assert tried("registered", LINES, "--syslog").code == 2


def test_check_says_who_may_report_and_which_mapping_cannot_be_used(
    capsys: pytest.CaptureFixture[str],
) -> None:
    given = {"name": "controller", "tokens": ["a-token-of-some-length"], "mapping": "none.toml"}
    settings = Settings.model_validate({"registration": {"sources": [given]}})
    (problem,) = check.mapping_problems(settings)
    assert problem == "none.toml: cannot be read: No such file or directory."
    assert capsys.readouterr().out == "registrations: from controller\n"
    assert check.mapping_problems(Settings()) == []
    assert capsys.readouterr().out == "registrations: none are taken\n"
