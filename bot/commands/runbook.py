"""``musterline runbook``: the schema of runbook files, and checking one."""

import argparse
import json
import sys
from pathlib import Path

from bot.runbooks.check import check, missing_texts
from bot.runbooks.load import load
from bot.runbooks.schema import schema
from bot.speak.catalogue import REFERENCE, Catalogue


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("runbook", help="check a runbook, or print its schema")
    parser.set_defaults(run=lambda _: _no_verb(parser))
    verbs = parser.add_subparsers(title="what to do", metavar="VERB")
    shown = verbs.add_parser("schema", help="print the JSON Schema of runbook files")
    shown.set_defaults(run=_schema)
    checked = verbs.add_parser("check", help="check a runbook; errors come with line numbers")
    checked.add_argument("file", type=Path, metavar="FILE", help="the runbook, a YAML file")
    checked.set_defaults(run=_check)


def _no_verb(parser: argparse.ArgumentParser) -> int:
    parser.print_usage(sys.stderr)
    print("Say what to do: schema, or check FILE.", file=sys.stderr)
    return 2


def _schema(_: argparse.Namespace) -> int:
    print(json.dumps(schema(), indent=2))
    return 0


def _check(args: argparse.Namespace) -> int:
    path: Path = args.file
    try:
        problems = check(path)
    except OSError as error:
        print(f"{path} cannot be read: {error.strerror}.", file=sys.stderr)
        return 2
    for problem in problems:
        where = f" {problem.where}:" if problem.where else ""
        at = f"{path}:{problem.line}:{problem.column}:"
        print(f"{at}{where} {problem.what}. {problem.remedy}.", file=sys.stderr)
    if problems:
        return 2
    return _texts(path)


def _texts(path: Path) -> int:
    """The runbook is right in itself; what it wants said must be in the catalogue."""
    book = load(path)
    missing = missing_texts(book, Catalogue.load(REFERENCE).texts(REFERENCE).has)
    if missing:
        print(
            f"{path}: the texts of language {REFERENCE} have no {', '.join(missing)}. "
            "Add them to its messages.yaml, or use other keys.",
            file=sys.stderr,
        )
        return 2
    stages, models = len(book.stages), len(book.models)
    print(f"{path}: good. {stages} stages, {models} models, family {book.family}.")
    return 0
