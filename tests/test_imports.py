"""The shape of the code, held by tests: which way imports point, what lies where, how long.

A checker that never fires proves nothing, so each is first shown a made-up module that breaks it.
"""

import ast
import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parent.parent
LONGEST_FILE = 600
AT_THE_TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "bot",
    "handlers",
    "tests",
    "deploy",
}

# The part a module belongs to -> the parts of ours it may not import. The longest name wins.
FORBIDDEN: dict[str, tuple[str, ...]] = {
    "bot": ("handlers", "tests"),
    "bot.model": ("bot", "handlers", "tests"),  # but bot.model itself, see ALLOWED
    "bot.desk": ("handlers", "tests", "bot.app", "bot.practice"),
    "bot.store": ("handlers", "tests", "bot.app", "bot.desk"),
    "bot.send": ("handlers", "tests", "bot.app"),
    "bot.speak": ("handlers", "tests", "bot.app", "bot.desk"),
    "bot.plan": ("handlers", "tests", "bot.app"),
    "bot.learn": ("handlers", "tests", "bot.app"),
    "bot.report": ("handlers", "tests", "bot.app"),
    "bot.practice": ("handlers", "tests"),
    "bot.app": ("tests",),
    "bot.__main__": ("tests",),
    "bot.commands": ("tests",),
    "handlers": ("bot.app", "bot.__main__", "bot.commands", "bot.practice", "tests"),
}
ALLOWED: dict[str, tuple[str, ...]] = {"bot.model": ("bot.model",)}


def under(name: str, part: str) -> bool:
    """Whether a dotted name is the part itself or lies in it."""
    return name == part or name.startswith(part + ".")


def part_of(module: str) -> str | None:
    """The most exact part in FORBIDDEN that holds the module."""
    return max((part for part in FORBIDDEN if under(module, part)), key=len, default=None)


def imported_names(source: str, module: str, *, is_package: bool) -> set[str]:
    """Every dotted name that the source imports, at any depth, relative ones made absolute.

    `from bot import app` counts as `bot.app`: what is imported may be a module. A call of
    `import_module` or `__import__` with a plain text counts as well.
    """
    names: set[str] = set()
    package = module.split(".") if is_package else module.split(".")[:-1]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            origin = ".".join([*base, *([node.module] if node.module else [])])
            names.update(f"{origin}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Call) and node.args:
            called = getattr(node.func, "attr", getattr(node.func, "id", ""))
            first = node.args[0]
            if called in {"import_module", "__import__"} and isinstance(first, ast.Constant):
                names.add(str(first.value))
    return names


def wrong_imports(source: str, module: str, *, is_package: bool = False) -> list[str]:
    """What this module imports and may not, sorted."""
    part = part_of(module)
    if part is None:
        return []
    return sorted(
        name
        for name in imported_names(source, module, is_package=is_package)
        if any(under(name, forbidden) for forbidden in FORBIDDEN[part])
        and not any(under(name, allowed) for allowed in ALLOWED.get(part, ()))
    )


def module_name(path: Path) -> str:
    """The dotted name of a file below the top."""
    parts = list(path.relative_to(TOP).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def our_files() -> list[Path]:
    return sorted(path for part in ("bot", "handlers") for path in (TOP / part).rglob("*.py"))


def too_long(files: Iterable[Path]) -> list[str]:
    """Files of more than LONGEST_FILE lines."""
    lengths = ((path, len(path.read_text(encoding="utf-8").splitlines())) for path in files)
    return [f"{path.name}: {length} lines" for path, length in lengths if length > LONGEST_FILE]


def strangers_at_the_top(tracked: Iterable[str]) -> set[str]:
    """Names at the top of the tree that have no place there; dotfiles may stay."""
    top = {path.split("/")[0] for path in tracked}
    return {name for name in top - AT_THE_TOP if not name.startswith(".")}


@pytest.mark.parametrize(
    ("module", "source", "found"),
    [
        ("bot.model.visit", "import redis\nfrom bot.store import keys", ["bot.store.keys"]),
        ("bot.model.visit", "from bot import desk", ["bot.desk"]),
        ("bot.model.visit", "import bot", ["bot"]),
        ("bot.model.visit", "from ..speak import words", ["bot.speak.words"]),
        ("bot.model.visit", "from bot.model.fact import Fact\nfrom . import unit", []),
        ("bot.store.commit", "def late():\n    import handlers.chat", ["handlers.chat"]),
        ("bot.send.sender", "from bot.app import App", ["bot.app.App"]),
        ("bot.speak.say", "import importlib\nimportlib.import_module('bot.app')", ["bot.app"]),
        ("bot.plan.slots", "from handlers import chat", ["handlers.chat"]),
        ("bot.learn.gate", "from handlers import chat", ["handlers.chat"]),
        ("bot.report.board", "from bot import app", ["bot.app"]),
        ("bot.practice.rehearsal", "from handlers.chat import listen", ["handlers.chat.listen"]),
        ("bot.practice.rehearsal", "from bot.app import App", []),
        ("bot.desk", "import handlers", ["handlers"]),
        ("bot.desk.loading", "from bot.practice import clock", ["bot.practice.clock"]),
        ("bot.settings", "from handlers import health", ["handlers.health"]),
        ("bot.app", "from handlers import chat", []),
        ("bot.__main__", "from handlers import chat", []),
        ("bot.commands.serve", "from handlers import chat", []),
        ("bot.application", "from handlers import chat", ["handlers.chat"]),
        ("handlers.chat", "from bot.app import App", ["bot.app.App"]),
        ("handlers.chat", "from bot.desk import Desk\nfrom bot.model.fact import Fact", []),
    ],
)
def test_the_import_checker_fires(module: str, source: str, found: list[str]) -> None:
    assert wrong_imports(source, module) == found


def test_a_package_resolves_its_relative_imports_against_itself() -> None:
    assert imported_names("from . import keys", "bot.store", is_package=True) == {"bot.store.keys"}
    assert imported_names("from .. import app", "bot.store", is_package=True) == {"bot.app"}


def test_imports_point_one_way() -> None:
    wrong = {
        module_name(path): names
        for path in our_files()
        if (
            names := wrong_imports(
                path.read_text(encoding="utf-8"),
                module_name(path),
                is_package=path.name == "__init__.py",
            )
        )
    }
    assert wrong == {}


def test_the_walk_sees_the_code() -> None:
    seen = {module_name(path) for path in our_files()}
    assert {"bot", "handlers", "bot.model", "bot.store"} <= seen


def test_the_length_checker_fires(tmp_path: Path) -> None:
    long, short = tmp_path / "long.py", tmp_path / "short.py"
    long.write_text("x = 1\n" * (LONGEST_FILE + 1))
    short.write_text("x = 1\n" * LONGEST_FILE)
    assert too_long([long, short]) == [f"long.py: {LONGEST_FILE + 1} lines"]


def test_no_file_is_too_long() -> None:
    assert too_long(our_files()) == []


def test_the_top_checker_fires() -> None:
    tracked = ["README.md", ".ci/run", "bot/app.py", "scripts/do.sh", "setup.py"]
    assert strangers_at_the_top(tracked) == {"scripts", "setup.py"}


def test_nothing_stands_at_the_top_that_has_no_place_there() -> None:
    git = shutil.which("git")
    if git is None or not (TOP / ".git").exists():
        pytest.skip("not a git checkout: the list of tracked files is not to be had")
    listed = subprocess.run([git, "ls-files"], cwd=TOP, capture_output=True, text=True, check=True)
    assert strangers_at_the_top(listed.stdout.splitlines()) == set()
