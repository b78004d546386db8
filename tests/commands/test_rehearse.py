"""``musterline rehearse`` as a process: what it prints, how it ends, and what it leaves behind."""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.commands.kit import SAMPLE, TIMEOUT, Folder, environment, said

FIGURES = {
    "units",
    "online",
    "escalated",
    "held",
    "nudges",
    "messages_sent",
    "messages_doubled",
    "events_lost",
    "wall_seconds",
}


def servers_below(folder: Path) -> list[str]:
    """Processes that run in a folder below this one, as the embedded store does."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            where = (process / "cwd").readlink()
        except OSError:
            continue
        if folder in where.parents:
            found.append(f"{process.name} {where}")
    return found


@contextmanager
def running(folder: Folder, *words: str) -> Iterator["subprocess.Popen[str]"]:
    """A rehearsal with its temporary files below ``folder``."""
    process = subprocess.Popen(
        [sys.executable, "-m", "bot", "rehearse", *words],
        cwd=folder.path,
        env=environment(TMPDIR=str(folder.path)),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


@pytest.mark.slow
def test_json_ends_in_the_figures_and_the_store_is_gone(bare: Folder) -> None:
    bare.more["TMPDIR"] = str(bare.path)
    done = bare.run("rehearse", "--units", "4", "--speed", "0", "--headless", "--json")
    assert done.returncode == 0, said(done)
    lines = said(done).splitlines()
    figures = json.loads(lines[-1])
    assert figures.keys() >= FIGURES
    assert figures["units"] == 4
    assert (figures["messages_doubled"], figures["events_lost"]) == (0, 0)
    assert figures["messages_sent"] > 0
    assert lines[0].startswith("Rehearsal of wave invented-1: 4 units at 4 sites, seed 1.")
    assert any("registry: " in line and "has registered" in line for line in lines)
    assert any("[Yes, let us start]" in line for line in lines), "buttons that people press"
    assert servers_below(bare.path) == []
    assert list(bare.path.iterdir()) == [], "its temporary folder"


@pytest.mark.slow
def test_json_alone_prints_one_line_and_a_thread_when_asked(bare: Folder) -> None:
    done = bare.run("rehearse", "--units", "2", "--speed", "0", "--json")
    assert done.returncode == 0
    (line,) = said(done).splitlines()
    assert json.loads(line)["units"] == 2
    done = bare.run("rehearse", "--units", "2", "--speed", "0", "--json", "--thread", "nowhere")
    assert done.returncode == 2, "before the wave is played"
    assert said(done).splitlines()[0] == "No unit or site nowhere is in this wave."


@pytest.mark.slow
def test_without_a_terminal_it_prints_plain_lines(bare: Folder) -> None:
    done = bare.run("rehearse", "--units", "2", "--speed", "0", "--thread", "s00001")
    assert done.returncode == 0
    text = said(done)
    assert "\x1b" not in text, "no colours and no cursor in a log"
    assert "\nunits 2, online " in text
    assert "Units online, over the time of the wave:" in text
    thread = text.splitlines()[-3:]
    assert all(" desk: " in line or ": " in line for line in thread)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)], ids=["ctrl-c", "term"]
)
def test_a_signal_ends_it_with_what_there_is(bare: Folder, number: int, code: int) -> None:
    with running(bare, "--units", "4", "--headless", "--json", "--speed", "30") as process:
        assert process.stdout is not None
        seen = [process.stdout.readline() for _ in range(3)]
        assert "desk: " in seen[-1]
        assert servers_below(bare.path), "the store runs"
        process.send_signal(number)
        out, err = process.communicate(timeout=TIMEOUT)
    assert process.returncode == code
    assert "Traceback" not in err, err
    figures = json.loads(out.splitlines()[-1])
    assert (figures["messages_doubled"], figures["events_lost"]) == (0, 0)
    assert servers_below(bare.path) == []
    assert list(bare.path.iterdir()) == []


@pytest.mark.slow
def test_a_signal_before_the_wave_began(bare: Folder) -> None:
    with running(bare, "--units", "3000", "--headless") as process:
        while not servers_below(bare.path):
            assert process.poll() is None
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=TIMEOUT)
    assert process.returncode == 130
    assert "Traceback" not in err, err
    assert err == "Stopped before the wave began.\n" or "Rehearsal of wave" in out
    assert servers_below(bare.path) == []


@pytest.mark.slow
def test_a_reader_that_has_seen_enough(bare: Folder) -> None:
    with running(bare, "--units", "4", "--headless", "--speed", "0") as process:
        assert process.stdout is not None
        process.stdout.readline()
        process.stdout.close()
        process.stdout = None
        _, err = process.communicate(timeout=TIMEOUT)
    assert process.returncode == 141
    assert err == ""
    assert servers_below(bare.path) == []


@pytest.mark.slow
def test_a_kept_store_can_be_verified_afterwards(bare: Folder) -> None:
    done = bare.run("rehearse", "--units", "3", "--speed", "0", "--json", "--data", "kept")
    assert done.returncode == 0, said(done)
    bare.settings('[store]\ndata = "kept"\n')
    verified = bare.run("verify")
    assert verified.returncode == 0
    assert "all as recorded" in said(verified)
    bare.settings(f'runbook = "{SAMPLE}"\n[store]\ndata = "kept"\n')
    after = bare.run("handover")
    assert after.returncode in (0, 1), said(after)
    assert "Sites 3:" in after.stdout
    assert "The old line may be given up" in after.stdout
    each = bare.run("handover", "--json", "--last").stdout.splitlines()
    assert {json.loads(line)["wave"] for line in each} == {"rehearsal"} or not each
    missing = bare.run("handover", "no-such-wave")
    assert missing.returncode == 2
    assert said(missing).strip() == "There is no wave no-such-wave."
    assert servers_below(bare.path) == []
