"""``musterline mapping``: try a mapping of foreign JSON, or of log lines, before it goes live."""

import argparse
import sys
from pathlib import Path
from typing import Any

from bot.commands.common import fail
from bot.intake_settings import RegistrationSettings
from handlers.intake import mapped, syslog
from handlers.intake.limits import json_of
from handlers.intake.problems import Refused
from handlers.intake.sighting import Sighting


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("mapping", help="try a mapping of JSON that others send")
    parser.set_defaults(run=lambda _: _no_verb(parser))
    verbs = parser.add_subparsers(title="what to do", metavar="VERB")
    tried = verbs.add_parser("try", help="show what a mapping makes of a sample")
    tried.add_argument("file", type=Path, metavar="FILE", help="the mapping, a TOML file")
    tried.add_argument(
        "--body", required=True, metavar="SAMPLE", help="a file with what is sent; - for the input"
    )
    tried.add_argument(
        "--syslog", action="store_true", help="the sample is one log line (RFC 5424), not JSON"
    )
    tried.set_defaults(run=_try)


def _no_verb(parser: argparse.ArgumentParser) -> int:
    parser.print_usage(sys.stderr)
    print("Say what to do: try FILE --body SAMPLE.", file=sys.stderr)
    return 2


def _try(args: argparse.Namespace) -> int:
    """0: it would be taken, 1: it would be refused, 2: one of the files cannot be used."""
    try:
        mapping = mapped.load(args.file)
        value = _sample(args.body, as_line=args.syslog)
    except mapped.MappingError as error:
        return fail(str(error))
    except OSError as error:
        return fail(f"{args.body}: cannot be read: {error.strerror}.")
    except (Refused, syslog.BadLine) as error:
        return fail(f"{args.body}: {str(error).rstrip('.')}.")
    try:
        seen = mapping.sighting(value)
    except Refused as error:
        print(f"It would be refused with {error.status}: {error.detail}")
        return 1
    print("\n".join(_lines(seen)))
    return 0


def _sample(name: str, *, as_line: bool) -> Any:
    raw = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    if as_line:
        return syslog.parse(raw.rstrip(b"\r\n"))
    return json_of(raw, RegistrationSettings().depth_limit)


def _lines(seen: Sighting) -> list[str]:
    """What the desk would be told, one thing a line."""
    if seen.kind == "ignored":
        return ["It would be ignored: its kind is none of the mapping's."]
    given = {
        "serial": seen.serial,
        "kind": seen.kind,
        "id": seen.event.removeprefix("|i:") if seen.event.startswith("|i:") else "",
        "time": "" if seen.claimed_at is None else _shown(seen.claimed_at),
        "address": seen.address,
        "message": seen.message,
    }
    missing = {"id": "none; the same content counts once", "time": "none that can be read"}
    return [f"{name + ':':9}{text or missing.get(name, 'none')}" for name, text in given.items()]


def _shown(at: int) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(at / 1000, UTC).isoformat(timespec="milliseconds")
