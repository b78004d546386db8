"""A default that is not written must stay: old records would mean something else."""

import json

from tests.model.defaults import FILE, defaults, stored


def test_no_default_of_what_is_stored_has_changed() -> None:
    known = json.loads(FILE.read_text(encoding="utf-8"))
    now = defaults()
    for kind, fields in known.items():
        assert kind in now, f"{kind} is stored and must stay readable"
        for name, default in fields.items():
            assert now[kind].get(name) == default, (
                f"{kind}.{name} was {default} by default: see tests/model/defaults.py"
            )


def test_every_default_of_what_is_stored_is_held() -> None:
    assert json.loads(FILE.read_text(encoding="utf-8")).keys() == defaults().keys(), (
        "run python -m tests.model.defaults"
    )
    known = json.loads(FILE.read_text(encoding="utf-8"))
    missing = {kind: fields.keys() - known[kind].keys() for kind, fields in defaults().items()}
    assert not any(missing.values()), "run python -m tests.model.defaults"


def test_what_is_in_snapshots_and_journal_is_found() -> None:
    names = {kind.__qualname__ for kind in stored()}
    assert {"Visit", "Unit", "Question", "Call", "Heard", "Registered", "Button"} <= names
