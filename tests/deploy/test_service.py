"""The service unit: hardened, drains on SIGTERM, and accepted by the service manager's own check.

Directives: https://www.freedesktop.org/software/systemd/man/latest/systemd.exec.html and
systemd.kill.html.
"""

import shutil
import subprocess
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
UNIT = TOP / "deploy" / "musterline.service"
MOST_EXPOSED = 20  # tenths, as the analyser's --threshold takes them; 0 is best, 100 worst
ANALYSE = shutil.which("systemd-analyze")

HARDENING = {
    "NoNewPrivileges": "yes",
    "ProtectSystem": "strict",
    "ProtectHome": "yes",
    "PrivateTmp": "yes",
    "PrivateDevices": "yes",
    "ProtectKernelTunables": "yes",
    "ProtectKernelModules": "yes",
    "ProtectKernelLogs": "yes",
    "ProtectControlGroups": "yes",
    "RestrictNamespaces": "yes",
    "RestrictSUIDSGID": "yes",
    "LockPersonality": "yes",
    "MemoryDenyWriteExecute": "yes",
    "SystemCallArchitectures": "native",
    "CapabilityBoundingSet": "",
    "DynamicUser": "yes",
    "StateDirectory": "musterline",
    "UMask": "0077",
}
needs_analyser = pytest.mark.skipif(ANALYSE is None, reason="systemd-analyze is not there")


def directives(section: str) -> dict[str, list[str]]:
    """Key -> its values, in order; a key may stand more than once."""
    found: dict[str, list[str]] = {}
    current = ""
    for raw in UNIT.read_text(encoding="utf-8").splitlines():
        line = raw.strip()
        if line.startswith("["):
            current = line.strip("[]")
        elif line and not line.startswith("#") and current == section:
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


@pytest.mark.parametrize(("key", "value"), HARDENING.items())
def test_it_is_hardened(key: str, value: str) -> None:
    assert directives("Service")[key] == [value]


def test_a_stop_reaches_the_bot_first_and_leaves_it_time_to_drain() -> None:
    service = directives("Service")
    assert service["KillSignal"] == ["SIGTERM"]
    assert service["KillMode"] == ["mixed"]
    assert int(service["TimeoutStopSec"][0]) >= 30


def test_secrets_come_from_a_file() -> None:
    assert directives("Service")["EnvironmentFile"] == ["-/etc/musterline/musterline.env"]


def analyse(tmp_path: Path, unit: str, *arguments: str) -> "subprocess.CompletedProcess[str]":
    assert ANALYSE is not None
    copy = tmp_path / "musterline.service"
    copy.write_text(unit, encoding="utf-8")
    return subprocess.run(
        [ANALYSE, *arguments, str(copy)], capture_output=True, text=True, check=False
    )


def unit_that_starts_something() -> str:
    """The unit with a program that is there in place of the installed one."""
    text = UNIT.read_text(encoding="utf-8")
    return text.replace("/opt/musterline/.venv/bin/musterline serve", "/bin/true")


@needs_analyser
def test_the_service_manager_finds_nothing_wrong(tmp_path: Path) -> None:
    result = analyse(tmp_path, unit_that_starts_something(), "verify")
    assert (result.returncode, result.stderr) == (0, "")


@needs_analyser
def test_the_service_managers_check_fires(tmp_path: Path) -> None:
    broken = unit_that_starts_something().replace("ProtectSystem=strict", "ProtectSysten=strict")
    assert "ProtectSysten" in analyse(tmp_path, broken, "verify").stderr


@needs_analyser
@pytest.mark.parametrize(("softened", "fails"), [(False, False), (True, True)])
def test_its_exposure_is_low(tmp_path: Path, *, softened: bool, fails: bool) -> None:
    unit = unit_that_starts_something()
    if softened:
        unit = unit.replace("SystemCallFilter=", "#").replace("PrivateUsers=", "#")
    arguments = ("security", "--offline=yes", f"--threshold={MOST_EXPOSED}")
    assert (analyse(tmp_path, unit, *arguments).returncode != 0) is fails
