"""Wrong words on the command line: one clear sentence, exit code 2, nothing done."""

import json

import pytest

from bot.__main__ import COMMANDS, parser
from tests.commands.kit import SAMPLE, Folder, said


def test_help_names_every_command(bare: Folder) -> None:
    done = bare.run("--help")
    assert done.returncode == 0
    for name in COMMANDS:
        assert f"\n    {name} " in done.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    for made in (parser(), parser(command)):
        with pytest.raises(SystemExit) as ended:
            made.parse_args([command, "--help"])
        assert ended.value.code == 0
        assert capsys.readouterr().out.startswith(f"usage: musterline {command}")


def test_no_command_shows_the_help(bare: Folder) -> None:
    done = bare.run()
    assert done.returncode == 2
    assert "usage: musterline" in said(done)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("rehearse", "--units", "x"), "'x' is not a number from 1 to 20000"),
        (("rehearse", "--units", "0"), "'0' is not a number from 1 to 20000"),
        (("rehearse", "--units", "²"), "'²' is not a number from 1 to 20000"),
        (("rehearse", "--seed", "x"), "'x' is not a whole number"),
        (("rehearse", "--speed", "-1"), "'-1' is not a speed from 0 (no waiting) to 1000000"),
        (("rehearse", "--speed", "nan"), "'nan' is not a speed from 0 (no waiting) to 1000000"),
        (("rehearse", "--thread", "nowhere"), "No unit or site nowhere is in this wave."),
        (("rehearse", "--speed", "fast"), "'fast' is not a speed from 0 (no waiting) to 1000000"),
        (("unheard-of",), "invalid choice: 'unheard-of'"),
        (("runbook", "check", "none.yaml"), "none.yaml cannot be read: No such file or directory."),
        (("runbook",), "Say what to do: schema, or check FILE."),
        (("status", "--settings", "none.toml"), "none.toml: there is no such file"),
        (("serve",), "chat.bot_token is not set."),
        (("read", "done"), "the following arguments are required: --runbook, --stage"),
    ],
)
def test_wrong_words(bare: Folder, words: tuple[str, ...], sentence: str) -> None:
    done = bare.run(*words)
    assert done.returncode == 2
    assert sentence in said(done)
    assert not list(bare.path.iterdir()), "something was made all the same"


def test_settings_that_hold_something_unknown(bare: Folder) -> None:
    bare.settings("[chat]\nchannel = 1\n")
    done = bare.run("status")
    assert done.returncode == 2
    assert "musterline.toml: chat.channel: " in said(done)


def test_check_says_where_no_runbook_is(bare: Folder) -> None:
    bare.settings('runbook = "none.yaml"\n')
    done = bare.run("check")
    assert done.returncode == 1
    assert "missing: runbook: none.yaml cannot be read (No such file or directory)" in said(done)


def test_a_data_folder_that_cannot_be_made(bare: Folder) -> None:
    bare.write("taken", "")
    done = bare.run("rehearse", "--headless", "--data", "taken/store")
    assert done.returncode == 2
    assert said(done).startswith("The store of the rehearsal: the data directory ")


def test_runbook_and_read(bare: Folder) -> None:
    schema = bare.run("runbook", "schema")
    assert json.loads(said(schema))["title"]
    assert bare.run("runbook", "check", str(SAMPLE)).returncode == 0
    words = ("read", "--runbook", str(SAMPLE), "--stage", "loading")
    one = bare.run(*words, "green and blinking fast")
    assert json.loads(said(one))["pattern"] == "reaching"
    two = bare.run(*words, "-", typed="done\nsmoke!\n")
    assert [json.loads(line)["kind"] for line in said(two).splitlines()] == ["done", "danger"]


def test_check_says_what_is_missing(folder: Folder) -> None:
    done = folder.run("check")
    assert done.returncode == 1
    assert "missing: chat.bot_token is not set." in said(done)
    assert said(done).endswith("Not fit to serve yet.\n")
