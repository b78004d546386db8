"""The published schema of runbook files against JSON Schema, draft 2020-12.

Source: the draft's own meta-schema, as the jsonschema library carries it.
"""

import json
from copy import deepcopy
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator
from jsonschema.exceptions import SchemaError

from bot.__main__ import main
from bot.practice import scene


@pytest.fixture
def schema(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """What the command prints."""
    assert main(["runbook", "schema"]) == 0
    printed: dict[str, Any] = json.loads(capsys.readouterr().out)
    return printed


@pytest.fixture
def sample() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((scene.HERE / "runbook.yaml").read_text("utf-8"))
    return loaded


def test_the_schema_is_valid_by_its_meta_schema(schema: dict[str, Any]) -> None:
    assert schema["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(schema)
    broken = {**schema, "required": "family"}
    with pytest.raises(SchemaError):  # and the check is one that can fail
        Draft202012Validator.check_schema(broken)


def test_the_sample_runbook_is_valid_by_the_schema(
    schema: dict[str, Any], sample: dict[str, Any]
) -> None:
    assert list(Draft202012Validator(schema).iter_errors(sample)) == []


@pytest.mark.parametrize("case", ["missing", "unknown", "colour", "rate", "severity"])
def test_what_is_wrong_is_refused_by_the_schema_alone(
    schema: dict[str, Any], sample: dict[str, Any], case: str
) -> None:
    wrong = deepcopy(sample)
    match case:
        case "missing":
            del wrong["stages"]
        case "unknown":
            wrong["stagse"] = []
        case "colour":
            wrong["patterns"]["fault"]["colour"] = "blue"
        case "rate":
            wrong["blink"]["slow"] = 1.0
        case "severity":
            wrong["routing"]["fault"]["severity"] = "grave"
    assert not Draft202012Validator(schema).is_valid(wrong)
