"""The command line: ``musterline COMMAND``. Each command is a module of ``bot.commands``."""

import argparse
import importlib
import io
import os
import sys
from importlib.metadata import PackageNotFoundError, version

#: In the order in which ``--help`` lists them.
COMMANDS = (
    "rehearse",
    "runbook",
    "import",
    "serve",
    "status",
    "ready",
    "handover",
    "assets",
    "verify",
    "read",
    "check",
    "mapping",
    "sheet",
)


def parser(only: str = "") -> argparse.ArgumentParser:
    """The parser with all commands; with ``only``, no other command's parts are loaded."""
    made = argparse.ArgumentParser(
        prog="musterline",
        description="Walks site contacts through an equipment install in chat, minds the clock "
        "and calls for help in time.",
    )
    made.add_argument("--version", action="version", version=_version())
    subparsers = made.add_subparsers(title="commands", metavar="COMMAND")
    for name in COMMANDS:
        if only in COMMANDS and name != only:
            subparsers.add_parser(name)
            continue
        module = "import_" if name == "import" else name
        importlib.import_module(f"bot.commands.{module}").add(subparsers)
    return made


def _version() -> str:
    try:
        return version("musterline")
    except PackageNotFoundError:  # run from a checkout that was never installed
        return "unknown"


def main(argv: list[str] | None = None) -> int:
    """Run one command; gives the exit code: 0 good, 1 not as wished, 2 wrong input, and as shells
    have it 130 after Ctrl-C, 143 after SIGTERM, 141 when nobody reads our output any more."""
    words = sys.argv[1:] if argv is None else argv
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a mark a terminal cannot show stops nothing
            stream.reconfigure(errors="backslashreplace")
    try:
        made = parser(words[0] if words else "")
        args = made.parse_args(words)
        if not hasattr(args, "run"):
            made.print_help()
            return 2
        return int(args.run(args))
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 130
    except BrokenPipeError:  # the reader of a pipe has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141


if __name__ == "__main__":
    sys.exit(main())
