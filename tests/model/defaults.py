"""The defaults of all that is stored: what is as by default is not written.

    python -m tests.model.defaults

writes ``defaults.json`` anew. Add fields and run it; but where a default that stands there is to
be another, older records must be lifted first (see ``bot/desk/replay.py``), or they change their
meaning without anybody having changed them.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import msgspec

from bot.model.calls.state import Call
from bot.model.fact import AnyFact
from bot.model.message import Message
from bot.model.rota.state import Rota, RotaEvent
from bot.model.visit.event import AnyEvent
from bot.model.visit.state import Visit
from bot.model.wave.state import Wave

FILE = Path(__file__).parent / "defaults.json"


def stored() -> Iterator[type[msgspec.Struct]]:
    """Every struct that lies in a snapshot, the journal or the outbox, each once."""
    seen: set[type] = set()
    waiting: list[Any] = [Visit, Wave, Rota, Call, Message, AnyEvent, RotaEvent, AnyFact]
    while waiting:
        kind = waiting.pop()
        if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
            if kind not in seen:
                seen.add(kind)
                yield kind
                waiting += [field.type for field in msgspec.structs.fields(kind)]
        else:
            waiting += get_args(kind)


def defaults() -> dict[str, dict[str, str]]:
    """By struct and field: the default of those that leave out what is as by default."""
    found = {}
    for kind in stored():
        if kind.__struct_config__.omit_defaults:
            found[kind.__qualname__] = {
                field.name: repr(field.default)
                for field in msgspec.structs.fields(kind)
                if field.default is not msgspec.NODEFAULT
            }
    return found


def write() -> None:
    FILE.write_text(json.dumps(defaults(), indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write()
