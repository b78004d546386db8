"""Commands as a person runs them: a process, in a folder of its own."""

import os
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

TOP = Path(__file__).parents[2]
SAMPLE = TOP / "bot/practice/hollowmere/runbook.yaml"
SITES = TOP / "bot/practice/hollowmere/sites.csv"
TIMEOUT = 120


def environment(**more: str) -> dict[str, str]:
    """The caller's, without settings of ours, from which this tree's code is found."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith("MUSTERLINE_")}
    return kept | {"PYTHONPATH": str(TOP), "PYTHONIOENCODING": "utf-8"} | more


@dataclass
class Folder:
    """A folder with settings in it. ``run`` runs a command there."""

    path: Path
    more: dict[str, str] = field(default_factory=dict)

    def settings(self, text: str) -> None:
        (self.path / "musterline.toml").write_text(text, encoding="utf-8")
        self.more["MUSTERLINE_SETTINGS"] = "musterline.toml"

    def run(self, *words: str, typed: str = "") -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-m", "bot", *words],
            cwd=self.path,
            env=environment(**self.more),
            input=typed,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=TIMEOUT,
            check=False,
        )

    def write(self, name: str, text: str) -> str:
        (self.path / name).write_text(text, encoding="utf-8")
        return name


SETTINGS = f"""
runbook = "{SAMPLE}"
[store]
data = "data"
[chat]
channels = ["C0000WAVE1"]
team_channel = "C0000CALLS"
"""

HEADER = "wave,site,name,time zone,contact,deputy,serials,model,software version,start"
_START = "2030-03-12 18:00"
ROWS = (
    f"w1,alderbeck,Alderbeck Library,Europe/London,U0101,U0201,HML-4F7K2Q,HG-10,4.2.3,{_START}",
    f"w1,ambermere,Ambermere Library,Europe/London,U0102,U0202,HML-MTHE79,HG-20,4.4.1,{_START}",
    f"w1,bexhollow,Bexhollow Library,Europe/London,U0103,,HML-4GQTX3,HG-10,4.3.0,{_START}",
)


def sites(*rows: str) -> str:
    return "\n".join((HEADER, *(rows or ROWS))) + "\n"


def said(done: "subprocess.CompletedProcess[str]") -> str:
    """What a person sees; fails on a traceback, which nobody should."""
    text = done.stdout + done.stderr
    assert "Traceback" not in text, text
    return text
