"""The published schema of runbook files: JSON Schema, draft 2020-12.

It says what a schema can say. That stages, lights and answers fit together is checked by
``musterline runbook check``, which knows more than the schema.
"""

from typing import Any

from bot.model.runbook import Runbook

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """The schema as plain data, its own name first."""
    made = Runbook.model_json_schema()
    made.pop("description", None)
    return {
        "$schema": DIALECT,
        "$id": "runbook-1.schema.json",
        "title": "Musterline runbook",
        "description": (
            "What a family of equipment needs from the people at a site. Times are minutes, "
            "flash rates Hz. An editor that knows JSON Schema helps while writing; "
            "`musterline runbook check FILE` checks the rest."
        ),
        **{key: value for key, value in made.items() if key != "title"},
    }
