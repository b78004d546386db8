"""What the image and the wheel are made of. The image itself is not built here.

Instructions: https://docs.docker.com/reference/dockerfile/.
"""

import re
import subprocess
import sys
import zipfile
from fnmatch import fnmatch
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]


def instructions() -> list[tuple[str, str]]:
    text = (TOP / "deploy" / "Dockerfile").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    joined = re.sub(r"\\\n\s*", "", "\n".join(lines))
    return [(word, rest) for word, _, rest in (line.partition(" ") for line in joined.splitlines())]


def test_it_ends_as_a_user_without_rights() -> None:
    users = [rest for word, rest in instructions() if word == "USER"]
    assert users == ["10001:10001"]


def test_libraries_are_installed_by_hash_only() -> None:
    installs = [rest for word, rest in instructions() if word == "RUN" and "pip install" in rest]
    assert len(installs) == 2
    assert "--require-hashes --only-binary :all: -r deploy/base.lock" in installs[0]
    assert "--no-deps --no-build-isolation ." in installs[1]


def test_the_build_tools_stay_in_the_first_stage() -> None:
    stages = [rest for word, rest in instructions() if word == "FROM"]
    assert len(stages) == 2
    assert stages[0].endswith(" AS build")
    last = max(i for i, (word, _) in enumerate(instructions()) if word == "FROM")
    assert not any("pip" in rest for _, rest in instructions()[last:])


def test_all_that_is_copied_is_there_and_not_left_out() -> None:
    ignore = (TOP / "deploy" / "Dockerfile.dockerignore").read_text(encoding="utf-8")
    kept = [line[1:] for line in ignore.splitlines() if line.startswith("!")]
    copied = {
        source
        for word, rest in instructions()
        if word == "COPY" and not rest.startswith("--from")
        for source in rest.split()[:-1]
    }
    assert copied == set(kept)
    assert {name for name in copied if not (TOP / name).exists()} == set()


def test_the_wheel_holds_every_file_of_the_code(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=TOP,
        check=True,
        capture_output=True,
    )
    (wheel,) = tmp_path.glob("*.whl")
    held = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        path.relative_to(TOP).as_posix()
        for part in ("bot", "handlers")
        for path in (TOP / part).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and not fnmatch(path.name, ".*")
    }
    assert any(name.endswith(".yaml") for name in wanted), "data files are what may go missing"
    assert wanted - held == set()
    assert not any(name.startswith("tests/") for name in held)
