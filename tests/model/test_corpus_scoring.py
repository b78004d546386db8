"""How the corpus is parsed and judged: each outcome, and each thing that must not be, is shown."""

from pathlib import Path

import pytest

from bot.model.reading import Light, Reading
from bot.runbooks.load import load
from tests.model.corpus import Label, Sentence, Shown, Word, parse_label, parse_word
from tests.model.corpus.scoring import Verdict, judge, patterns

BOOK = load(Path(__file__).parents[2] / "bot/practice/hollowmere/runbook.yaml")


def heard(question: str, label: str, *readings: Reading) -> Verdict:
    return judge(Sentence("en", question, label, parse_label(label), "words"), readings, BOOK)


def plain(kind: str, value: str = "", ask: str = "", *, minutes: int | None = None) -> Reading:
    rule = value if kind == "danger" and value in ("denied", "asked") else "rule"
    return Reading(kind=kind, rule=rule, value=value, ask=ask, minutes=minutes)  # type: ignore[arg-type]


def lit(
    colour: str | None, mode: str | None = None, pattern: str = "", ask: str = "", value: str = ""
) -> Reading:
    colours = (colour,) if colour else ()
    known = colour if colour != "other" else None
    blinking = mode in ("slow", "fast", "blinking")
    light = Light(known, mode if mode != "blinking" else None, blinking, colours)  # type: ignore[arg-type]
    return Reading(kind="light", rule="rule", light=light, pattern=pattern, ask=ask, value=value)


RED = lit("red", None, "fault")
ASK = "ask_steady_or_blinking"

RIGHT = [
    ("confirm", "done", [plain("done")]),
    ("confirm", "done question", [plain("done"), plain("question")]),  # worst first, as sorted
    ("light_loading", "light:red,?", [RED]),
    ("light_loading", "light:red,?", [lit("red", None, "fault", ASK)]),
    ("light_loading", "light:red,blinking", [lit("red", "blinking", "fault")]),  # people come
    ("light_loading", "light:red,? done", [RED, plain("done")]),
    ("light_loading", "light:green,?", [lit("green", ask=ASK)]),  # it has to be asked
    ("light_loading", "light:green,steady", [lit("green", "steady", "registered")]),
    ("light_loading", "light:?,off", [lit(None, "off", "dark")]),
    ("light_loading", "light:several", [lit("green", ask="ask_which_light", value="several")]),
    ("light_loading", "light:same", [plain("light", "same")]),
    ("light_loading", "light:green,??", [plain("unclear")]),
    ("light_loading", "unclear", [lit("red", ask="ask_negated")]),
    ("light_loading", "denied", [plain("danger", "denied", "ask_danger")]),
    ("light_loading", "danger", [plain("danger")]),
    ("confirm", "done?", [plain("done", ask="ask_done")]),
    ("confirm", "done?/no", [plain("no", ask="ask_done")]),
    ("confirm", "no", [plain("no", ask="ask_done")]),  # no is no answer there
    ("confirm", "correction no", [plain("correction"), plain("no", ask="ask_done")]),
    ("mobile", "done", [plain("yes")]),  # the same answer there
    ("serial", "serial:HML-4F7K2Q", [plain("serial", "hml4f7k2q")]),
    ("begin", "later:10", [plain("later", minutes=10)]),
    ("begin", "later", [plain("later", ask="ask_minutes")]),
    ("begin", "later:20:15", [plain("later", "20:15")]),
    (
        "begin",
        "later:20:15",
        [Reading(kind="later", rule="clock12", value="08:15")],
    ),
]


@pytest.mark.parametrize(("question", "label", "readings"), RIGHT)
def test_right(question: str, label: str, readings: list[Reading]) -> None:
    verdict = heard(question, label, *readings)
    assert verdict.outcome == "right"
    assert not any((verdict.danger_missed, verdict.fault_missed, verdict.false_danger))


@pytest.mark.parametrize(
    ("question", "label", "readings"),
    [
        ("confirm", "done", [plain("unclear")]),
        ("confirm", "done", [plain("done", ask="ask_done")]),
        ("light_loading", "light:green,steady", [lit("green", ask=ASK)]),
        ("light_loading", "light:yellow,?", [lit("yellow", None, "not_reached", "ask_negated")]),
        ("light_loading", "light:green,?", [lit(None, ask="ask_colour")]),  # the colour was lost
        ("begin", "later:10", [plain("later", ask="ask_minutes")]),
        ("light_loading", "light:red,?", [plain("danger", "denied", "ask_danger")]),
    ],
)
def test_asked(question: str, label: str, readings: list[Reading]) -> None:
    verdict = heard(question, label, *readings)
    assert verdict.outcome == "asked"
    assert not verdict.fault_missed


@pytest.mark.parametrize(
    ("question", "label", "readings"),
    [
        ("confirm", "seen", [plain("done")]),
        ("confirm", "done?", [plain("done")]),
        ("confirm", "done", [plain("yes")]),
        ("confirm", "done question", [plain("done")]),  # the question fell by the wayside
        ("confirm", "correction done", [plain("done")]),
        ("light_loading", "light:green,?", [lit("green", "steady", "registered")]),  # not said
        ("light_loading", "light:yellow,steady", [lit("yellow", "steady", "not_reached")]),
        ("light_loading", "light:same", [lit("white", "steady", "starting")]),
        ("begin", "later:10", [plain("later", minutes=20)]),
        ("begin", "later:20:15", [plain("later", "08:15")]),  # said to be the morning
        ("serial", "serial:HML-4F7K2Q", [plain("serial", "HML-4F7K20")]),
        ("serial", "yes", [plain("no")]),
        ("none", "thanks", [plain("question")]),
    ],
)
def test_wrong(question: str, label: str, readings: list[Reading]) -> None:
    assert heard(question, label, *readings).outcome == "wrong"


def test_a_danger_is_missed_when_nothing_of_it_is_read() -> None:
    assert heard("confirm", "danger", plain("unclear")).danger_missed
    assert heard("confirm", "danger", plain("danger", "denied", "ask_danger")).danger_missed
    assert not heard("confirm", "danger done", plain("danger"), plain("done")).danger_missed
    assert not heard("confirm", "danger", plain("danger", "asked")).danger_missed
    assert not heard("confirm", "done/danger", plain("done")).danger_missed  # either would do


def test_danger_where_there_is_none() -> None:
    assert heard("confirm", "done", plain("danger"), plain("done")).false_danger
    assert heard("confirm", "denied", plain("danger")).false_danger
    assert not heard("confirm", "done/danger", plain("danger")).false_danger
    assert not heard("confirm", "done", plain("danger", "asked")).false_danger


@pytest.mark.parametrize(
    "label",
    ["light:red,?", "light:yellow,blinking", "light:?,off", "light:red,?? done", "no/question"],
)
@pytest.mark.parametrize(
    "reading", [plain("done"), plain("seen"), plain("yes"), lit("green", "steady", "registered")]
)
def test_a_fault_is_missed_when_all_goes_on(label: str, reading: Reading) -> None:
    assert heard("light_registry", label, reading).fault_missed


@pytest.mark.parametrize(
    ("label", "reading"),
    [
        ("light:red,?", plain("done", ask="ask_done")),
        ("light:red,?", lit("yellow", None, "not_reached")),
        ("light:white,steady", plain("done")),
        ("no", plain("help")),
        ("done/no", plain("done")),
        ("done?/no", plain("done")),
    ],
)
def test_no_fault_is_missed(label: str, reading: Reading) -> None:
    assert not heard("light_registry", label, reading).fault_missed


def test_labels_say_what_was_said() -> None:
    assert parse_label("correction light:red,? question") == Label(
        ((Word("light", "red,?", shown=Shown(("red",), "?")),), (Word("question"),)),
        correction=True,
    )
    assert parse_word("light:?,off?").unsure
    assert parse_word("light:green,??").shown == Shown(("green",), "?")
    assert parse_word("light:white,blinking,slow").shown == Shown(("white",), "blinking", "slow")
    assert parse_word("later:19:30") == Word("later", "19:30")


@pytest.mark.parametrize(
    "label",
    [
        "",
        "correction",
        "finished",
        "light",
        "light:pink,steady",
        "light:red",
        "light:red,steady,slow",
        "serial",
        "done:yes",
        "later:soon",
        "done:",
    ],
)
def test_a_label_that_says_nothing_known_is_refused(label: str) -> None:
    with pytest.raises(ValueError, match=r"label|'"):
        parse_label(label)


@pytest.mark.parametrize(
    ("light", "fits"),
    [
        ("light:white,?", ["starting", "loading"]),
        ("light:white,blinking", ["loading"]),
        ("light:green,blinking,slow", []),
        ("light:other,steady", []),
        ("light:?,off", ["dark"]),
        ("light:red+green,?", []),
    ],
)
def test_patterns_a_described_light_fits(light: str, fits: list[str]) -> None:
    shown = parse_word(light).shown
    assert shown is not None
    assert patterns(shown, BOOK) == fits
