"""What the README says can be typed, can be typed."""

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from bot.__main__ import parser
from bot.plan.columns import COLUMNS
from bot.send.pacing import installs_carried
from bot.speak.catalogue import standard
from tests.commands.kit import TOP, environment

README = (TOP / "README.md").read_text(encoding="utf-8")
FIRST = "sh deploy/setup && .venv/bin/musterline rehearse"
SECOND = "sh deploy/setup dev && .venv/bin/python -m pytest -n auto --dist loadfile"
_BLOCK = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)
BLOCKS = _BLOCK.findall(README)


def commands() -> list[str]:
    """Each line of a shell block that runs musterline, and each that stands in a table."""
    lines = [line for block in BLOCKS for line in block.splitlines()]
    found = [line.partition("#")[0].strip() for line in lines]
    found = [line for line in found if line.startswith("musterline ")]
    return found + re.findall(r"^\| `(musterline [^`]+)` \|", README, re.MULTILINE)


def test_it_opens_with_the_job_in_one_paragraph() -> None:
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# Musterline"
    assert paragraph.startswith("A central network team sends equipment to many sites")


@pytest.mark.parametrize("command", [FIRST, SECOND])
def test_the_two_commands_stand_there_once_each_on_a_line_of_their_own(command: str) -> None:
    lines = [line for block in BLOCKS for line in block.splitlines()]
    assert lines.count(command) == 1
    assert README.count(command) == 1
    assert lines[0] == FIRST
    assert lines[1] == SECOND


@pytest.mark.parametrize("line", sorted(set(commands())))
def test_every_command_shown_can_be_parsed(line: str) -> None:
    _, *words = shlex.split(line)
    args = parser().parse_args(words)
    assert callable(args.run)


def test_every_command_there_is_stands_in_the_table() -> None:
    help_text = parser().format_help()
    names = set(re.findall(r"^    ([a-z]+) {2,}", help_text, re.MULTILINE))
    shown = {line.split()[1] for line in commands()}
    assert names
    assert names <= shown


def test_the_required_columns_are_named() -> None:
    part = README.partition("## The site list")[2].partition("Optional")[0]
    bold = set(re.findall(r"\*\*([^*]+)\*\*", part))
    assert bold == {column.title for column in COLUMNS if column.required}


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`((?:deploy|bot)/[\w./-]+)`", README))))
def test_every_file_named_is_there(name: str) -> None:
    assert name == "deploy/local" or (TOP / name).exists()


def test_how_many_installs_a_channel_carries_is_what_the_pace_gives() -> None:
    part = README.partition("## How many installs")[2].partition("\n## ")[0].replace("\n", " ")
    posts, minutes = re.findall(r"takes (\d+) messages in the (\d+) minutes", part)[0]
    assert f"**{installs_carried(int(posts), int(minutes))} installs at a time**" in part


def test_what_the_desk_says_in_the_thread_shown_is_what_it_says() -> None:
    excerpt = README.partition("```text\n")[2].partition("```")[0]
    lines = re.sub(r"\n +", " ", excerpt).splitlines()
    said = [line.partition(" desk: ")[2] for line in lines if " desk: " in line]
    texts = standard().best("en")
    forms = [
        re.compile("".join(re.escape(p.literal) + (".+?" if p.name else "") for p in pieces))
        for pieces in (texts.pieces(key) for key in texts.own)
    ]
    assert len(said) > 4
    # The chat's own type marks are left out where a thread is printed.
    plain = [re.compile(form.pattern.replace(r"\*", "")) for form in forms]
    for words in said:
        assert any(form.fullmatch(words) for form in plain), f"nobody says {words!r}"


def signing_script() -> str:
    (block,) = [block for block in BLOCKS if "openssl" in block]
    return str(block)


@pytest.mark.skipif(not shutil.which("openssl"), reason="openssl is not on this machine")
def test_the_signature_made_by_openssl_is_that_of_the_signing_scheme(tmp_path: Path) -> None:
    """Against the scheme's own library (standardwebhooks on the package registry)."""
    import datetime

    from standardwebhooks.webhooks import Webhook

    script = signing_script().partition("curl ")[0]
    script += 'printf "%s\\n" "$secret" "$id" "$at" "$body" "$signature"\n'
    done = subprocess.run(
        ["sh", "-euc", script],
        cwd=tmp_path,
        env=environment(),
        capture_output=True,
        text=True,
        check=True,
    )
    secret, ident, at, body, signature = done.stdout.splitlines()
    moment = datetime.datetime.fromtimestamp(int(at), datetime.UTC)
    assert Webhook(secret).sign(ident, moment, body) == f"v1,{signature}"
