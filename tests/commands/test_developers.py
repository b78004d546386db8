"""DEVELOPERS.md names files and modules; they are there."""

import re
from importlib.util import find_spec

import pytest

from tests.commands.kit import TOP

TEXT = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
FILES = sorted(set(re.findall(r"`((?:bot|handlers|tests|deploy)/[\w./-]+)`", TEXT)))
MODULES = sorted(set(re.findall(r"-m (tests\.[\w.]+)", TEXT)))


@pytest.mark.parametrize("name", FILES)
def test_every_file_named_is_there(name: str) -> None:
    assert (TOP / name).exists()


@pytest.mark.parametrize("name", MODULES)
def test_every_module_to_be_run_is_there(name: str) -> None:
    found = find_spec(name)
    assert found is not None
    if found.submodule_search_locations:
        assert find_spec(f"{name}.__main__") is not None


def test_every_part_of_the_code_stands_in_the_map() -> None:
    parts = {f"bot/{p.name}/" for p in (TOP / "bot").iterdir() if (p / "__init__.py").exists()}
    assert {part for part in parts if f"`{part}`" not in TEXT} == set()
