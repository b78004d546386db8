"""The lock files: exact versions, hashes of the registry, nothing that names a machine.

The form is pip's hash-checking mode, https://pip.pypa.io/en/stable/topics/secure-installs/.
"""

import re
import tomllib
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

TOP = Path(__file__).resolve().parents[2]
HASH = re.compile(r"--hash=sha256:[0-9a-f]{64}")
PINNED = re.compile(r"(?P<name>[a-z0-9][a-z0-9-]*)==(?P<version>[^\s;\\]+)(?P<marker> ; [^\\]+)?")


class LockError(ValueError):
    """A line that a lock file may not hold."""


def read_lock(text: str) -> dict[str, str]:
    """Name -> version; LockError where a line is no exact version with at least one hash."""
    versions: dict[str, str] = {}
    for line in text.replace("\\\n", " ").splitlines():
        head, *hashes = re.split(r"\s+(?=--hash=)", line.strip())
        found = PINNED.fullmatch(head.strip())
        if found is None:
            raise LockError(f"not an exact version: {line[:80]!r}")
        if not hashes or not all(HASH.fullmatch(part.strip()) for part in hashes):
            raise LockError(f"without proper hashes: {line[:80]!r}")
        if found["name"] in versions:
            raise LockError(f"twice: {found['name']}")
        versions[found["name"]] = found["version"]
    return versions


def lock(name: str) -> dict[str, str]:
    return read_lock((TOP / "deploy" / f"{name}.lock").read_text(encoding="utf-8"))


def project() -> dict[str, Any]:
    return tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "text",
    [
        "aiohttp>=3 --hash=sha256:" + "a" * 64,
        "aiohttp==3.14.5",
        "aiohttp==3.14.5 --hash=md5:" + "a" * 32,
        "--index-url https://registry.example.org/simple",
        "--find-links /srv/wheels",
        "aiohttp @ file:///srv/aiohttp.whl --hash=sha256:" + "a" * 64,
        ("aiohttp==3.14.5 --hash=sha256:" + "a" * 64 + "\n") * 2,
    ],
)
def test_the_reader_refuses_what_a_lock_may_not_hold(text: str) -> None:
    with pytest.raises(LockError):
        read_lock(text)


@pytest.mark.parametrize("name", ["base", "dev"])
def test_every_line_is_an_exact_version_with_hashes(name: str) -> None:
    assert len(lock(name)) > 20


def test_the_test_libraries_come_on_top_of_the_same_versions() -> None:
    base, dev = lock("base"), lock("dev")
    assert base.items() <= dev.items()


def test_what_the_sheets_need_is_locked_at_the_versions_that_are_tested() -> None:
    """On top of base.lock: what is asked for by name, and whatever that needs in its turn."""
    plan, dev = lock("plan"), lock("dev")
    assert plan.items() <= dev.items()
    needed = [Requirement(text) for text in project()["project"]["optional-dependencies"]["plan"]]
    assert needed
    seen: set[str] = set()
    while needed:
        requirement = needed.pop()
        name = canonicalize_name(requirement.name)
        if name in seen or (requirement.marker and not requirement.marker.evaluate({"extra": ""})):
            continue
        seen.add(name)
        assert requirement.specifier.contains(plan[name])
        needed += [Requirement(text) for text in metadata.requires(name) or ()]
    assert plan.keys() == seen


@pytest.mark.parametrize("name", ["base", "dev"])
def test_what_the_project_asks_for_is_locked_within_its_bounds(name: str) -> None:
    data, locked = project(), lock(name)
    asked = [*data["project"]["dependencies"], *data["build-system"]["requires"]]
    if name == "dev":
        asked += data["dependency-groups"]["dev"]
    for text in asked:
        requirement = Requirement(text)
        version = locked[canonicalize_name(requirement.name)]
        assert requirement.specifier.contains(version), text
