"""Runbook files: every mistake is named by line and column, with a way to mend it."""

import json
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from bot.model.runbook_course import check_of
from bot.runbooks.check import check, missing_texts, texts_of
from bot.runbooks.load import RunbookError, load, loads
from bot.runbooks.places import DEEPEST, LARGEST, Problem
from bot.runbooks.schema import schema
from bot.speak.catalogue import Catalogue

SAMPLE = Path(__file__).parents[2] / "bot/practice/hollowmere/runbook.yaml"
TEXT = SAMPLE.read_text(encoding="utf-8")


def line_of(text: str) -> int:
    return next(i for i, line in enumerate(TEXT.splitlines(), 1) if text in line)


def found(old: str, new: str) -> list[str]:
    """The problems of the sample with one text in it changed."""
    assert TEXT.count(old) >= 1, old
    with pytest.raises(RunbookError) as error:
        loads(TEXT.replace(old, new, 1))
    return [str(problem) for problem in error.value.problems]


def test_the_sample_is_good() -> None:
    book = load(SAMPLE)
    assert book.family == "branch-gateway"
    assert check(SAMPLE) == []


def test_the_times_of_the_trade() -> None:
    # Common practice, no published source: power on to software loaded about 10 minutes; to the
    # registry about 5 more; the whole visit about 40; after a cable check up to 10 minutes.
    book = load(SAMPLE)
    assert book.stage("loading").checkpoint >= 10
    assert book.stage("registry").checkpoint >= 5
    assert book.limits.visit == 40
    assert book.limits.after_cable_check == 10


ONE_WRONG = [
    # changed                        to                             at                        says
    ("window: 22", "window: 2", "- id: loading", "window is shorter than checkpoint"),
    ("colour: white, mode: steady", "colour: whit, mode: steady", "  starting:", "mean white?"),
    ('least_version: "4.2.0"', "least_version: 4.2", "  HG-10:", "in quotes"),
    ('least_version: "4.2.0"', 'least_version: "new"', "  HG-10:", "4.2.0"),
    ('mode: "off"', "mode: off", "  dark:", 'Write "off", with the quotes'),
    ("cause: fault}", "cause: falt}", "fault: {do: call", "Did you mean fault?"),
    ("      fault: {do", "      falt: {do", "      fault: {do", "not among the patterns"),
    ("  danger: {first", "  dangr: {first", "  danger: {first", "Did you mean danger?"),
    ("stages: [mobile_data]", "stages: [x]", "- topic: mobile_data", "there is no stage x"),
    ("topic: spare", "topic: who", "- topic: who", "the topic stands there twice"),
    ("en: [which box,", 'en: ["!",', "- topic: unit", "a phrase has no words"),
    ("en: [not working,", 'en: ["!",', "trouble:", "a phrase has no words"),
    ("  - topic: spare", "  - topic: Spare", "  - topic: spare", "small letters"),
    ("id: placing", "id: inventory", "id: placing", "two stages have the same id"),
    ("id: serial,", "id: unpack,", "id: serial,", "two asks have the same id"),
    ("keep: [keep_box]", "keep: keep_box", "keep: [keep_box]", "a dash before it"),
    ("waits_for_registration: true", "shortest: 1", "stages:", "exactly one stage"),
    ("blink: {slow: 0.5", "blink: {slow: 1.0", "blink: {slow", "at most 0.8"),
    ("visit: 40", "visit: -1", "visit: 40", "above 0"),
    ("visit: 40", "visit: soon", "visit: 40", "Write a number"),
    ("runbook: 1", "runbook: 2", "runbook: 1", "Allowed: 1"),
    ("  en:", "  xx:", "words:", "English (en) is missing"),
    ("family: branch-gateway", "family: branch gateway", "family:", "branch-gateway"),
    ("missing: [lead_missing]", "missing: [gone]", "- id: lead", "names that stand in answers"),
    ("  silent: {first: deputy", "  silent: {first: cat", "  silent:", "'deputy', 'admin'"),
    ("title: Branch", 'title: "Branch', "", "not YAML"),
    ("runbook: 1", "runbook: 1\n\tfamily: x", "", "not YAML"),
    ("keep: [", "keep: &a [", "keep: [", "anchors and aliases"),
    ("  loading: {colour", "  starting: {colour", "  loading: {colour", "stands here twice"),
    ("title: Branch", "title: Branch\ntitle: Twig", "", "stands here twice"),
    ("title: Branch", "1: x\ntitle: Branch", "", ""),
]


@pytest.mark.parametrize(("old", "new", "at", "says"), ONE_WRONG)
def test_a_mistake_is_named_with_its_place(old: str, new: str, at: str, says: str) -> None:
    problems = found(old, new)
    assert any(says in problem for problem in problems)
    if at:
        assert any(problem.startswith(f"line {line_of(at)}, ") for problem in problems)


def test_all_mistakes_are_named_at_once_in_the_order_of_the_file() -> None:
    wrong = TEXT.replace("colour: red", "colour: blue").replace("window: 22", "windw: 22")
    with pytest.raises(RunbookError) as error:
        loads(wrong)
    said = [str(problem) for problem in error.value.problems]
    assert len(said) == 3
    assert "'blue' is not allowed" in said[0]
    assert "window is missing" in said[1]
    assert "Did you mean window?" in said[2]
    lines = [problem.line for problem in error.value.problems]
    assert lines == sorted(lines)


def test_all_misfits_between_parts_are_named_at_once() -> None:
    wrong = TEXT.replace("      fault: {do", "      falt: {do").replace("id: placing", "id: begin")
    with pytest.raises(RunbookError) as error:
        loads(wrong)
    assert len(error.value.problems) == 4  # also that cautions name a stage that is gone


def test_columns_count_from_one() -> None:
    with pytest.raises(RunbookError) as error:
        loads(TEXT.replace("runbook: 1", "runbok: 1"))
    places = {(problem.line, problem.column) for problem in error.value.problems}
    assert places == {(line_of("runbook: 1"), 1)}


# --- hostile files --------------------------------------------------------------------------


def refused(path: Path, content: bytes) -> str:
    path.write_bytes(content)
    problems = check(path)
    assert problems
    return str(problems[0])


def test_files_that_are_no_runbook(tmp_path: Path) -> None:
    path = tmp_path / "runbook.yaml"
    bomb = "a: &a [x]\n" + "".join(f"b{i}: &b{i} [*a, *a]\n" for i in range(9))
    deep = "a: " + "[" * (DEEPEST + 1) + "]" * (DEEPEST + 1)
    assert "is empty" in refused(path, b"")
    assert "is empty" in refused(path, b"# only a comment\n")
    assert "line 1, column 4: anchors and aliases" in refused(path, bomb.encode())
    assert "nested too deeply" in refused(path, deep.encode())
    assert "nested too deeply" in refused(path, b"[" * 200_000)
    assert "larger than 256 KiB" in refused(path, b"x" * (LARGEST + 1))
    assert "line 2, column 3: this is no UTF-8" in refused(path, b"a: 1\nb:\xff")
    assert "a character that no text file holds" in refused(path, b"a: 1\nb: \x00")
    assert "not YAML" in refused(path, b"a: !!python/object:os.system x")
    assert "not YAML" in refused(path, b"a: 2024-99-99")
    assert "a name, a colon and a value" in refused(path, b"- 1\n- 2\n")
    assert "a name, a colon and a value" in refused(path, b"just words")
    assert "not YAML" in refused(path, b"runbook: 1\n---\nrunbook: 1\n")


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "runbook.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + SAMPLE.read_bytes())
    assert check(path) == []


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        check(tmp_path / "none.yaml")


@settings(deadline=None, max_examples=50)
@given(st.text(max_size=300) | st.integers(0, len(TEXT)).map(lambda end: TEXT[:end]))
def test_any_text_is_loaded_or_refused_with_a_place(text: str) -> None:
    assert all(p.line >= 1 and p.column >= 1 and p.what and p.remedy for p in problems_of(text))


def problems_of(text: str) -> list[Problem]:
    try:
        loads(text)
    except RunbookError as error:
        return error.problems or [Problem(line=0, column=0, what="none named", remedy="")]
    return []


# --- the schema -----------------------------------------------------------------------------


def schema_errors(text: str) -> list[str]:
    validator = Draft202012Validator(schema())
    return [error.message for error in validator.iter_errors(yaml.safe_load(text))]


def test_the_schema_is_one_and_holds_for_the_sample() -> None:
    made = schema()
    Draft202012Validator.check_schema(made)
    assert made["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert made["title"]
    assert made["description"]
    assert json.loads(json.dumps(made)) == made
    assert schema_errors(TEXT) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("runbook: 1", "runbook: 2"),
        ("title: Branch", "tittle: Branch"),
        ("colour: red", "colour: blue"),
        ('least_version: "4.2.0"', "least_version: 4.2"),
        ("blink: {slow: 0.5", "blink: {slow: 1.0"),
        ("visit: 40", "visit: soon"),
        ("kind: consent", "kind: consnt"),
        ("  danger: {first", "  dangr: {first"),
        ("do: call", "do: cal"),
        ("keep: [keep_box]", "keep: keep_box"),
    ],
)
def test_the_schema_refuses_what_the_loader_refuses(old: str, new: str) -> None:
    assert found(old, new)
    assert schema_errors(TEXT.replace(old, new, 1))


# --- texts ----------------------------------------------------------------------------------


def test_missing_texts_are_named() -> None:
    book = load(SAMPLE)
    assert missing_texts(book, lambda _: True) == []
    assert missing_texts(book, lambda key: key != "light_fault") == ["light_fault"]
    assert set(missing_texts(book, lambda _: False)) == set(texts_of(book))
    assert {"invite", "b_lead_two", "light_dark", "stage_loading"} <= set(texts_of(book))


def test_the_sample_says_nothing_that_the_catalogue_does_not_know() -> None:
    assert missing_texts(load(SAMPLE), Catalogue.load("en").texts("en").has) == []


def test_what_is_tried_is_known_by_its_plain_name_and_no_alarm_is_set_off() -> None:
    """A site list says "Alarmleitung" or "fire alarm"; the words for all else are "try this"."""
    checks = load(SAMPLE).checks
    for one in checks:
        for names in one.names.values():
            assert check_of(checks, names[0].partition(" ")[2]) is one, names[0]
    for name in ("Alarmleitung", "fire alarm", "Brandmelder"):
        found_one = check_of(checks, name)
        assert found_one is not None
        assert found_one.text == "check_alarm"
