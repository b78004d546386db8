"""``python -m tests.speak.table``: every message the bot can send, as it stands in the thread.

Grouped by when it is said, with buttons as [Button], arguments from Hollowmere, the length
in characters and the reading grade. Made from the catalogue and the model: a new text is in it
by itself.
"""

import argparse
import html
import sys
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bot.speak.catalogue import REFERENCE, standard
from tests.speak import samples
from tests.speak.grades import FORMULAS, grade

_WIDTH = 92
_GLUE = "\N{NO-BREAK SPACE}"
_KINDS: dict[samples.Kind, str] = {
    "contact": "to a contact",
    "team": "to the team",
    "label": "on a button",
    "words": "inside other texts",
}


@dataclass(frozen=True)
class Row:
    """One text. ``grade`` is none where the text is not said to a contact."""

    key: str
    kind: samples.Kind
    text: str
    buttons: tuple[str, ...]
    grade: float | None

    @property
    def length(self) -> int:
        return len(self.text)


def row(key: str, language: str) -> Row:
    kind = samples.kind(key)
    graded: float | None = None
    if kind == "contact" and language in FORMULAS:
        graded = grade(plain(key, language), language)
    return Row(
        key,
        kind,
        samples.rendered(key, language),
        tuple(samples.buttons(key, language)),
        graded,
    )


def plain(key: str, language: str) -> str:
    """What is graded: the text without its marks, names of people and places at their shortest."""
    return samples.rendered(key, language, samples.PLAIN_NAMES).replace("*", "")


def groups(language: str) -> Iterator[tuple[str, list[Row]]]:
    """The texts by when they are said; what stands under no heading comes last."""
    rest = dict.fromkeys(samples.texts(language).own)
    for title, keys in samples.sections().items():
        here = [key for key in keys if key in rest]
        for key in here:
            del rest[key]
        if here:
            yield title, [row(key, language) for key in here]
    if rest:
        yield "under no heading", [row(key, language) for key in rest]


def as_text(language: str) -> str:
    lines = [f"{language}: {_formula(language)}"]
    for title, rows in groups(language):
        lines += ["", f"== {title}"]
        for one in rows:
            lines += ["", f"{one.key} ({_facts(one)})"]
            for line in (*one.text.splitlines(), " ".join(map(_in_brackets, one.buttons))):
                lines += textwrap.wrap(line, _WIDTH, initial_indent="  ", subsequent_indent="  ")
    return "\n".join(lines).replace(_GLUE, " ")


def _in_brackets(label: str) -> str:
    """A button in words; it is not cut at a line's end."""
    return f"[{label}]".replace(" ", _GLUE)


def _facts(one: Row) -> str:
    graded = "" if one.grade is None else f", grade {one.grade:.1f}"
    return f"{_KINDS[one.kind]}, {one.length} characters{graded}"


def _formula(language: str) -> str:
    named = FORMULAS.get(language)
    return f"reading grade by the {named[0]}" if named else "no formula for a reading grade"


_STYLE = """
body { font: 16px/1.5 system-ui, sans-serif; margin: 2em auto; max-width: 60em; padding: 0 1em; }
table { border-collapse: collapse; width: 100%; }
td, th { border-bottom: 1px solid #ccc; padding: .5em; text-align: left; vertical-align: top; }
td.text { white-space: pre-line; }
td.number { text-align: right; }
button { font: inherit; margin: .3em .3em 0 0; }
@media (prefers-color-scheme: dark) { body { background: #111; color: #eee; } }
"""


def as_html(language: str) -> str:
    head = f"What is said to people ({language})"
    parts = [
        f'<!doctype html><html lang="{language}"><meta charset="utf-8">',
        f"<title>{head}</title><style>{_STYLE}</style><h1>{head}</h1>",
        f"<p>{html.escape(_formula(language))}</p>",
    ]
    for title, rows in groups(language):
        parts.append(f"<h2>{html.escape(title)}</h2><table><tr><th>key<th>as it stands")
        parts.append("<th>read by<th>characters<th>grade</tr>")
        parts += [_html_row(one) for one in rows]
        parts.append("</table>")
    return "\n".join(parts) + "\n</html>\n"


def _html_row(one: Row) -> str:
    labels = "".join(f"<button disabled>{html.escape(label)}</button>" for label in one.buttons)
    below = f"<div>{labels}</div>" if labels else ""
    graded = "" if one.grade is None else f"{one.grade:.1f}"
    return (
        f'<tr><td>{one.key}<td class="text">{html.escape(one.text)}{below}'
        f"<td>{_KINDS[one.kind]}"
        f'<td class="number">{one.length}<td class="number">{graded}</tr>'
    )


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.speak.table", description=__doc__)
    parser.add_argument("--language", default=REFERENCE, choices=standard().languages())
    parser.add_argument("--html", type=Path, metavar="FILE", help="write a page instead")
    asked = parser.parse_args(arguments)
    if asked.html is None:
        print(as_text(asked.language))
        return 0
    try:
        asked.html.write_text(as_html(asked.language), encoding="utf-8")
    except OSError as error:
        print(f"{asked.html}: cannot be written: {error.strerror}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
