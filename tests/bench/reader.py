"""What the reader makes of the corpus, and what it costs.

    python -m tests.bench.reader [--language en|de|all] [--set tune|kept|all] [--show]

Prints for each kind how many sentences were right, asked back and wrong, and which kind was read
for which; the last line is one JSON object. ``share_of_path`` is the reader's time over the time
that a chat message takes, from signed request to answer (``tests.bench.chat_path``), measured in
the same run; ``share_of_cpu`` the same over the CPU time of bot and store, waiting left out.
``--show`` lists what is not right, except of the kept sentences, which are for testing only.
"""

import argparse
import asyncio
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from bot.model.danger import find
from bot.model.reader import read
from bot.model.reading import Reading
from bot.runbooks.load import load
from bot.speak.lexicon import every_lexicon, languages, lexicon
from tests.bench.bench import Failed, last_line, table
from tests.bench.chat_path import path_of
from tests.model.corpus import HEARD, LANGUAGES, Sentence, sentences, which_sets
from tests.model.corpus.scoring import Verdict, judge, worst

BOOK = load(Path(__file__).parents[2] / "bot/practice/hollowmere/runbook.yaml")
#: Times each sentence is read for the cost.
_ROUNDS = 3
OUTCOMES = ("right", "asked", "wrong")
COUNTED = ("danger_missed", "fault_missed", "false_danger")


def reading_of(sentence: Sentence) -> list[Reading]:
    """As the desk reads it: in the contact's language, dangers in all of them."""
    return read(
        sentence.text,
        HEARD[sentence.question],
        BOOK,
        lexicon(sentence.language),
        dangers=every_lexicon(),
    )


class Cost(NamedTuple):
    """Mean microseconds per sentence, of the middle round: by the wall clock, and CPU."""

    wall: float
    cpu: float


def cost(corpus: Sequence[Sentence], *, handler: bool = False) -> Cost:
    """``handler``: with the look for danger that comes before the reader in a message's way."""
    rounds = []
    for _ in range(_ROUNDS):
        since = time.perf_counter(), time.process_time()
        for sentence in corpus:
            if handler:
                find(sentence.text, every_lexicon())
            reading_of(sentence)
        rounds.append((time.perf_counter() - since[0], time.process_time() - since[1]))
    wall, cpu = (sorted(times)[_ROUNDS // 2] for times in zip(*rounds, strict=True))
    return Cost(wall / len(corpus) * 1e6, cpu / len(corpus) * 1e6)


def by_kind(verdicts: Sequence[Verdict]) -> list[list[object]]:
    rows: list[list[object]] = [["kind", "sentences", *OUTCOMES, "share right"]]
    groups = sorted({v.label for v in verdicts}, key=lambda k: -_many(verdicts, k))
    for kind in [*groups, ""]:
        here = [v for v in verdicts if kind in ("", v.label)]
        counts = [sum(v.outcome == outcome for v in here) for outcome in OUTCOMES]
        rows.append([kind or "all", len(here), *counts, counts[0] / len(here)])
    return rows


def _many(verdicts: Sequence[Verdict], kind: str) -> int:
    return sum(v.label == kind for v in verdicts)


def confusion(verdicts: Sequence[Verdict]) -> list[list[object]]:
    """Kind of the label down, kind read across; a dot for none."""
    pairs = Counter((v.label, v.read) for v in verdicts)
    across = sorted({v.read for v in verdicts})
    rows: list[list[object]] = [["label \\ read", *across]]
    down = sorted({v.label for v in verdicts})
    return rows + [[kind, *(pairs[kind, read] or "." for read in across)] for kind in down]


def shown(reading: Reading) -> str:
    """A reading in short, for the list of what is not right."""
    light = reading.light
    parts = [reading.kind, reading.rule, reading.value]
    parts += [str(reading.minutes)] if reading.minutes is not None else []
    parts += [f"{light.colours}/{light.mode or light.blinking}"] if light else []
    parts += [reading.pattern, f"ask:{reading.ask}" if reading.ask else ""]
    return " ".join(part for part in parts if part)


def show(sentence: Sentence, verdict: Verdict, readings: Sequence[Reading]) -> None:
    marks = [name for name in COUNTED if getattr(verdict, name)]
    print(" ".join([verdict.outcome.upper(), *(mark.upper() for mark in marks)]))
    print(f"  {sentence.language} {sentence.question} | {sentence.written} | {sentence.text}")
    print(f"  read: {'; '.join(map(shown, readings))}")


def figures(verdicts: Sequence[Verdict]) -> dict[str, object]:
    """Shares of the outcomes, and counts of what must not be."""
    shares: dict[str, object] = {
        outcome: sum(v.outcome == outcome for v in verdicts) / len(verdicts) for outcome in OUTCOMES
    }
    return shares | {name: sum(getattr(v, name) for v in verdicts) for name in COUNTED}


def measure(args: argparse.Namespace) -> dict[str, object]:
    known = [one for one in LANGUAGES if one in languages()]
    wanted = known if args.language == "all" else [args.language]
    if args.language == "all" and len(known) < len(LANGUAGES):
        print(f"Read in {', '.join(known)} only: the reader has no words of the others yet.")
    corpus = [s for one in wanted for which in which_sets(args.set) for s in sentences(one, which)]
    judged = [(s, reading_of(s)) for s in corpus]
    verdicts = [judge(s, readings, BOOK) for s, readings in judged]
    if args.show:
        for (sentence, readings), verdict in zip(judged, verdicts, strict=True):
            if verdict.outcome != "right" or any(getattr(verdict, name) for name in COUNTED):
                show(sentence, verdict, readings)
        print()
    table(by_kind(verdicts))
    print()
    table(confusion(verdicts))
    print()
    found = figures(verdicts) | {"sentences": len(corpus), "us_per_sentence": cost(corpus).wall}
    if not args.no_path:
        found |= share(corpus, args.messages)
    return found


def share(corpus: Sequence[Sentence], messages: int) -> dict[str, object]:
    """The reader's part of the way of a message. Danger goes another, longer way: left out."""
    asked = [
        s
        for s in corpus
        if s.question.startswith("light") and worst(s.label)[0].kind not in ("danger", "denied")
    ]
    calm = [s for s in asked if find(s.text, every_lexicon()) is None]
    sent = calm[:messages]
    path = asyncio.run(path_of([s.text for s in sent]))
    spent = cost(sent, handler=True)
    return {
        "reader_us": spent.wall,
        "reader_cpu_us": spent.cpu,
        "path_us": path.wall,
        "path_cpu_us": path.cpu,
        "share_of_path": spent.wall / path.wall,
        "share_of_cpu": spent.cpu / path.cpu,
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.reader", description=__doc__)
    parser.add_argument("--language", choices=(*LANGUAGES, "all"), default="all")
    parser.add_argument("--set", choices=("tune", "kept", "all"), default="all")
    parser.add_argument("--show", action="store_true", help="list what is not right; tune only")
    parser.add_argument("--messages", type=int, default=200, help="sent for the whole path")
    parser.add_argument("--no-path", action="store_true", help="do not measure the whole path")
    args = parser.parse_args(arguments)
    if args.show and args.set != "tune":
        print(
            "--show goes with --set tune: the kept sentences are for testing only.", file=sys.stderr
        )
        return 2
    if args.language not in ("all", *languages()):
        print(f"The reader has no words of {args.language} yet.", file=sys.stderr)
        return 1
    try:
        found = measure(args)
    except Failed as error:
        print(f"{error}.", file=sys.stderr)
        return 1
    last_line(found)
    return 0


if __name__ == "__main__":
    sys.exit(main())
