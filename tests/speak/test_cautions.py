"""The cautions: all there, short enough below their stage, and never an invitation to risk."""

import re

import pytest

from bot.model.runbook_cautions import Cautions
from bot.speak.catalogue import standard
from tests.speak import samples

LANGUAGES = standard().languages()
LONGEST = 300
#: What every sheet must say, by words of the caution in each language (common practice, no
#: published source).
TOPICS = {
    "own supply": {"en": "from the carton", "de": "aus dem Karton"},
    "damaged plug": {"en": "damaged", "de": "Schaden"},
    "chained leads": {"en": "extension leads, end to end", "de": "Steckdose ans nächste"},
    "wet": {"en": "dry", "de": "trocken"},
    "ladders": {"en": "ladder", "de": "Leiter"},
    "ceiling": {"en": "ceiling", "de": "Decke"},
    "unplug": {"en": "medical", "de": "Medizin"},
    "fibre": {"en": "glass cable", "de": "Glas-Kabel"},
    "vents": {"en": "vents", "de": "Schlitze"},
    "storm": {"en": "thunderstorm", "de": "Blitz"},
    "alone": {"en": "alone unless", "de": "Nicht allein"},
    "emergency services": {"en": "emergency services", "de": "Notruf"},
    "dead lines": {"en": "lift phone", "de": "Aufzug"},
    "open nothing": {"en": "Open nothing", "de": "Öffnen Sie nur"},
    "local rules": {"en": "local rules", "de": "Regeln bei Ihnen"},
}


def section() -> Cautions:
    found = samples.book().cautions
    assert found is not None
    return found


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("topic", TOPICS)
def test_every_sheet_says_it(topic: str, language: str) -> None:
    said = " ".join(samples.rendered(key, language) for key in section().on_sheet(vehicle=False))
    assert TOPICS[topic][language] in said


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_sheet_of_a_mobile_branch_says_more(language: str) -> None:
    fixed, mobile = section().on_sheet(vehicle=False), section().on_sheet(vehicle=True)
    assert set(fixed) < set(mobile)
    more = " ".join(samples.rendered(key, language) for key in mobile if key not in fixed)
    for word in {"en": ("parked", "engine", "driver"), "de": ("steht", "Motor", "Steuer")}[
        language
    ]:
        assert word in more


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("stage", [s.id for s in samples.book().stages if section().at(s.id)])
def test_below_its_stage_it_still_fits_a_glance(stage: str, language: str) -> None:
    """With the longest names, and the longest name of a unit among several."""
    if stage in section().apart:
        keys = list(section().at(stage))
    else:
        keys = [samples.book().stage(stage).asks[0].text, *section().at(stage)]
    words = samples.book().words[language]
    units = [name for part, name in words.items() if re.fullmatch(r"units?|unit_\d", part)]
    names = {**samples.longest(), "unit": max(units, key=len)}
    said = "\n".join(samples.rendered(key, language, names) for key in keys)
    assert len(said) <= LONGEST, said


#: Asked to do what only licensed people may: an order with the thing it is about.
RISKY = {
    "en": re.compile(
        r"\b(?:open|unscrew|dismantle|take apart|lift off) (?:up )?(?:the|its|your|this|that|a) "
        r"(?:\w+ ){0,3}(?:box|unit|case|cover|lid|housing|panel|socket|plate)\b"
        r"|\bscrewdriver|\bmains\b|\bfuse|\brewire|\bsolder",
        re.IGNORECASE,
    ),
    "de": re.compile(
        r"\b(?:öffnen|schrauben) Sie (?:bitte )?(?:das|die|den|dessen|ein|eine) "
        r"(?:\w+ ){0,3}(?:gerät|gehäuse|deckel|dose|klappe|abdeckung)\b"
        r"|\bmachen Sie (?:bitte )?(?:das|die|den) (?:\w+ ){0,3}(?:gerät|gehäuse|dose) auf\b"
        r"|aufschrauben|schraubendreher|sicherungskasten|\blöten",
        re.IGNORECASE,
    ),
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_text_tells_anybody_to_open_a_unit_or_to_touch_mains_wiring(language: str) -> None:
    """In whatever part of the catalogue it stands; every text there is, of every language."""
    said = {key: samples.rendered(key, language) for key in samples.of_kind("contact", "label")}
    assert len(said) > 200
    told = {key: RISKY[language].search(text) for key, text in said.items()}
    assert {key: found[0] for key, found in told.items() if found} == {}


@pytest.mark.parametrize(
    ("text", "language"),
    [
        ("Please open the new box.", "en"),
        ("Take a screwdriver.", "en"),
        ("Check the mains wiring.", "en"),
        ("Unscrew the cover and look inside.", "en"),
        ("Bitte öffnen Sie das Gehäuse.", "de"),
        ("Machen Sie bitte das neue Gerät auf.", "de"),
        ("Nehmen Sie einen Schraubendreher.", "de"),
    ],
)
def test_such_a_text_would_be_found(text: str, language: str) -> None:
    assert RISKY[language].search(text)
