"""The catalogue: what a file may hold, what is refused and how, what a translation lacks."""

from pathlib import Path

import pytest

from bot.speak.catalogue import (
    MISSING,
    ArgumentMissing,
    Catalogue,
    CatalogueInvalid,
    UnknownLanguage,
    UnknownText,
    build,
    check,
    standard,
)

HEAD = """
edition: 2
weekdays: [Monday, Tuesday, Wednesday, Thursday, Friday, Saturday, Sunday]
months: [January, February, March, April, May, June, July,
  August, September, October, November, December]
"""
# 2026-03-12 18:40 UTC
AT = str(1_773_340_800_000)


def texts(body: str, head: str = HEAD) -> "object":
    return build("en", head + body, "en/messages.yaml")


def say(body: str, tz: str = "UTC", **args: str) -> str:
    return build("en", HEAD + body, "en/messages.yaml").say("t", args, tz)


def test_arguments_are_filled_in_by_their_form() -> None:
    said = say(
        't: "{name}: {start:day} at {start:time}, {wait:minutes} min, {{as is}}"',
        name="Mara",
        start=AT,
        wait="600000",
    )
    assert said == "Mara: Thursday 12 March at 18:40, 10 min, {as is}"


@pytest.mark.parametrize(
    ("span", "shown"), [("0", "0"), ("1", "1"), ("89999", "1"), ("90000", "2"), ("600000", "10")]
)
def test_a_short_span_is_one_minute_and_not_none(span: str, shown: str) -> None:
    assert say('t: "{x:minutes}"', x=span) == shown


def test_a_date_has_the_form_of_its_language() -> None:
    german = (
        "edition: 1\n"
        "weekdays: [Montag, Dienstag, Mittwoch, Donnerstag, Freitag, Samstag, Sonntag]\n"
        "months: [Januar, Februar, März, April, Mai, Juni, Juli, August, September, Oktober,"
        " November, Dezember]\n"
        'day: "{weekday}, {day}. {month} {year}"\n'
        't: "{at:day}"\n'
    )
    assert build("de", german, "de").say("t", {"at": AT}) == "Donnerstag, 12. März 2026"


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ('t: "{start:clock}"', "the forms are"),
        ('t: "{0}"', "not a plain name"),
        ('t: "{a.b}"', "not a plain name"),
        ('t: "{a!r}"', "not a plain name"),
        ('t: "{a"', "write {{ and }}"),
        ("t: 5", "must be a text"),
        ("yes: ja", "put it in quotes"),
        ("t: a\nt: b", "line 7: the key 't' stands there twice"),
        ("t: [a", "not valid YAML"),
    ],
)
def test_a_fault_is_named_with_its_place(body: str, says: str) -> None:
    with pytest.raises(CatalogueInvalid, match="en/messages") as raised:
        texts(body)
    assert says in str(raised.value)


@pytest.mark.parametrize(
    ("head", "says"),
    [
        ("", "edition must be a number"),
        ("edition: true\n", "edition must be a number"),
        ("edition: 1\nweekdays: [Mon]\n", "weekdays must be a list of 7 names"),
        ("edition: 1\n", "weekdays and months are missing"),
        (HEAD + 'day: "{hour}"\n', "day may use"),
        ("[1]", "one mapping"),
    ],
)
def test_settings_are_checked(head: str, says: str) -> None:
    with pytest.raises(CatalogueInvalid) as raised:
        texts('t: "{a:day}"\n' if head != "[1]" else "", head)
    assert says in str(raised.value)


def test_a_missing_argument_is_an_error_and_a_dash_where_the_text_must_go_out() -> None:
    made = build("en", HEAD + 't: "{a} {b:time}"', "en")
    with pytest.raises(ArgumentMissing, match="needs 'a'"):
        made.say("t", {})
    with pytest.raises(ArgumentMissing, match="not a whole number"):
        made.say("t", {"a": "x", "b": "soon"})
    with pytest.raises(ArgumentMissing, match="not a time zone"):
        made.say("t", {"a": "x", "b": AT}, "Hollowmere/Alder")
    assert made.say("t", {"b": "soon"}, lenient=True) == f"{MISSING} {MISSING}"


def test_an_unknown_text_is_an_error() -> None:
    with pytest.raises(UnknownText, match="'other'"):
        build("en", HEAD + "t: a", "en").say("other", {})


def languages(root: Path, **files: str) -> Catalogue:
    for lang, text in files.items():
        (root / lang).mkdir()
        (root / lang / "messages.yaml").write_text(text, encoding="utf-8")
    return Catalogue(root)


def test_texts_of_a_part_stand_in_a_file_beside(tmp_path: Path) -> None:
    catalogue = languages(tmp_path, en=HEAD + "a: one\n")
    beside = tmp_path / "en" / "messages.page.yaml"
    beside.write_text("b: two\n", encoding="utf-8")
    assert catalogue.texts("en").say("b", {}) == "two"

    beside.write_text("a: two\n", encoding="utf-8")
    with pytest.raises(CatalogueInvalid, match=r"en/messages.page.yaml: a stands in another file"):
        Catalogue(tmp_path).texts("en")
    beside.write_text("edition: 3\n", encoding="utf-8")
    with pytest.raises(CatalogueInvalid, match=r"edition belongs into messages.yaml"):
        Catalogue(tmp_path).texts("en")


def test_the_fallback_stands_in_and_completeness_is_told(tmp_path: Path) -> None:
    catalogue = languages(
        tmp_path,
        en=HEAD + 'a: "{n} of {m:minutes}"\nb: two\nb_done: Done\n',
        de=f'edition: 2\nfallback: en\na: "{{n}} {{x}}"\nc: drei\nb_done: "{"x" * 76}"\n',
    )
    german = catalogue.texts("de")
    assert german.say("b", {}) == "two"
    assert check("de", catalogue) == [
        "de: b: not translated",
        "de: a: {m:minutes} is missing",
        "de: a: {x} is not in en",
        "de: c: no such text in en",
        "de: b_done: a button label has at most 75 characters, this has 76",
    ]
    assert check("en", catalogue) == []


def test_fallbacks_that_go_round_are_refused(tmp_path: Path) -> None:
    catalogue = languages(
        tmp_path, de="edition: 1\nfallback: fr\n", fr="edition: 1\nfallback: de\n"
    )
    with pytest.raises(CatalogueInvalid, match="lead back to de"):
        catalogue.texts("de")


def test_a_language_nobody_wrote_falls_to_its_main_part_and_then_to_english(
    tmp_path: Path,
) -> None:
    catalogue = languages(tmp_path, en=HEAD + "t: two\n", de="edition: 1\nt: zwei\n")
    assert catalogue.best("de-AT").say("t", {}) == "zwei"
    assert catalogue.best("cy").say("t", {}) == "two"
    assert catalogue.languages() == ["de", "en"]
    for name in ("cy", "../en", ""):
        with pytest.raises(UnknownLanguage):
            catalogue.texts(name)


def test_every_language_that_ships_is_complete() -> None:
    assert {lang: check(lang) for lang in standard().languages()} == {
        lang: [] for lang in standard().languages()
    }
