"""The printed sheets: real text, real codes, on one or two sides of A4.

The pages are drawn by PDFium (pypdfium2) and their QR codes read by ZXing (zxing-cpp): readers of
another make than what wrote them. QR codes: ISO/IEC 18004 (four modules of quiet zone, levels of
error correction; from memory).
"""

import functools
import re
from collections.abc import Iterator
from typing import Any

import pypdfium2
import pypdfium2.raw as pdfium
import pytest
import zxingcpp
from msgspec.structs import replace

from bot.access import Access
from bot.model.people import person_key
from bot.model.runbook_course import called, check_of
from bot.model.visit.event import PlanSet
from bot.model.visit.evolve import evolve
from bot.model.visit.state import Unit, Visit
from bot.model.visit.steps import Step, length, steps
from bot.plan.live import plan_of
from bot.practice import scene
from bot.report.sheet.content import Door, Sheet, Team, languages, sheet_of
from bot.report.sheet.paper import QR_SIDE, QUIET, pdf
from bot.speak.catalogue import standard
from tests.speak import samples

LANGUAGES = standard().languages()
SITES = ("alderbeck", "mobile-1")
DOOR = Door(Access(b"a secret of the tests, of no use elsewhere"), "https://desk.example.org")
TEAM = Team("01632 960950", "999 / 112")
DPI = 150
A4 = (595.28, 841.89)  # ISO 216, in points
LONG = "Wolstenholme-Okonkwo-Brightwell-Featherstonehaugh Memorial Branch and Reading Rooms"


@functools.cache
def rows() -> dict[str, Any]:
    return {row.site: row for row in scene.sites(None, 0)}


def visit(site: str) -> Visit:
    row = rows()[site]
    return evolve(None, PlanSet(plan_of(row, 0), row.wave, row.site), 0)


def people(site: str) -> dict[str, dict[str, str]]:
    row = rows()[site]
    return {person_key(p.user): {"name": p.name} for p in (row.contact, row.deputy) if p}


@functools.cache
def sheet(site: str, language: str, *, door: bool = True) -> Sheet:
    texts = standard().texts(language)
    return sheet_of(visit(site), scene.runbook(), texts, people(site), TEAM, DOOR if door else None)


@functools.cache
def printed(site: str, language: str) -> bytes:
    return pdf(sheet(site, language))


def text_of(content: bytes) -> str:
    """All words as a reader extracts them, broken lines joined."""
    with pypdfium2.PdfDocument(content) as document:
        pages = [page.get_textpage().get_text_range() for page in document]
    return " ".join(" ".join(pages).split())


def codes(content: bytes) -> list[Any]:
    """All bar codes of the first page as a camera would find them."""
    with pypdfium2.PdfDocument(content) as document:
        picture = document[0].render(scale=DPI / 72).to_pil()
    return list(zxingcpp.read_barcodes(picture))


EACH = [(site, language) for site in SITES for language in LANGUAGES]


@pytest.mark.parametrize(("site", "language"), EACH)
def test_the_code_on_the_sheet_is_read_back_as_the_link_of_the_page(
    site: str, language: str
) -> None:
    (code,) = codes(printed(site, language))
    assert code.format == zxingcpp.BarcodeFormat.QRCode
    assert code.text == sheet(site, language).link
    opened = DOOR.access.read(code.text.rpartition("/")[2])
    assert opened is not None
    assert opened.site == site
    assert code.ec_level in ("M", "Q", "H")


def test_the_code_is_large_enough_and_its_quiet_zone_is_kept() -> None:
    content = printed("alderbeck", "en")
    (code,) = codes(content)
    corners = [code.position.top_left, code.position.top_right, code.position.bottom_left]
    across = corners[1].x - corners[0].x
    assert across / DPI * 25.4 >= 25
    assert across / DPI * 25.4 == pytest.approx(QR_SIDE, abs=0.5)
    with pypdfium2.PdfDocument(content) as document:
        picture = document[0].render(scale=DPI / 72).to_pil().convert("L")
    module = across / 45  # never wider: version 7 has 45 modules a side
    quiet = round(module * QUIET) - 1
    left, top = corners[0].x - 1, corners[0].y - 1
    bottom = corners[2].y + 1
    zone = [
        picture.crop((left - quiet, top - quiet, left - 1, bottom + quiet)),
        picture.crop((left, top - quiet, left + across, top - 1)),
        picture.crop((left, bottom + 1, left + across, bottom + quiet)),
    ]
    assert [part.getextrema()[0] for part in zone] == [255, 255, 255]


def test_without_a_page_there_is_no_code_and_the_chat_is_named() -> None:
    plain = sheet("alderbeck", "en", door=False)
    content = pdf(plain)
    assert codes(content) == []
    assert plain.link == plain.proof == ""
    assert standard().texts("en").raw["sheet_by_chat"] in text_of(content)


@pytest.mark.parametrize(("site", "language"), EACH)
def test_every_caution_is_real_text_in_its_language(site: str, language: str) -> None:
    section = scene.runbook().cautions
    assert section is not None
    found = text_of(printed(site, language))
    keys = section.on_sheet(vehicle=visit(site).site.vehicle)
    assert len(keys) > 10
    missing = [key for key in keys if standard().texts(language).say(key, {}) not in found]
    assert missing == []


@pytest.mark.parametrize(("site", "language"), EACH)
def test_all_that_is_on_the_sheet_is_on_the_paper(site: str, language: str) -> None:
    made, found = sheet(site, language), text_of(printed(site, language))
    words = [made.title, made.danger, made.proof, *made.with_us, made.blink, *made.parts]
    words += [*made.keep, *made.headings.values()]
    words += [part for pair in (*made.facts, *made.lights) for part in pair]
    words += [step.text for step in made.steps]
    assert [one for one in words if one.replace("*", "") not in found] == []


def test_the_head_says_who_when_where_and_which_box() -> None:
    found = text_of(printed("alderbeck", "en"))
    for word in (
        "Thursday 12 March at 18:00",
        "Europe/London",
        "Ada Brightwell",
        "Bran Okoro",
        "01632 960950",
        "HML-4F7K2Q",
        DOOR.access.proof("hollowmere-1", "alderbeck"),
        "999 / 112",
    ):
        assert word in found
    assert "07700" not in found  # nobody's own number hangs on a wall


def test_danger_comes_before_everything_else() -> None:
    for language in LANGUAGES:
        made, found = sheet("alderbeck", language), text_of(printed("alderbeck", language))
        assert found.index(made.danger) < min(found.index(step.text[:9]) for step in made.steps)
        assert found.startswith(f"{made.title} {made.danger}")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("site", ["alderbeck", "coldharrow"])
def test_the_steps_are_the_words_of_the_chat(site: str, language: str) -> None:
    """Each sentence on the sheet stands in the chat's text of that stage, and each question of the
    evening is there; what is true only at its moment is not."""
    made, of = sheet(site, language), visit(site)
    walk = [step for step in steps(scene.runbook(), of) if step.stage.id != "invitation"]
    stages = list(dict.fromkeys(step.stage.id for step in walk))
    assert len(made.steps) == len(stages)
    for stage, printed_step in zip(stages, made.steps, strict=True):
        mine = [step for step in walk if step.stage.id == stage]
        chat = [text for step in mine for text in _in_chat(step, of, language)]
        own = samples.texts(language).raw["sheet_same"].partition("{")[0]
        for sentence in re.split(r"(?<=[.!?]) ", printed_step.text):
            assert sentence.startswith(own) or any(sentence in text for text in chat), sentence
        for text in chat:
            parts = re.split(r"(?<=[.!?])\s+", text)
            assert [one for one in parts if one in printed_step.text], text
        assert "18:45" not in printed_step.text
        assert "–" not in printed_step.text  # what an argument that is missing would show
        for step in mine[1:]:
            if step.stage.each == "cables":
                assert step.item in printed_step.text


def _in_chat(step: Step, of: Visit, language: str) -> Iterator[str]:
    """What the chat says at a step, before anything is answered."""
    checks = scene.runbook().checks
    known = check_of(checks, step.item)
    name = called(checks, step.item, language) if step.stage.each == "checks" else step.item
    given = {
        "site": of.site.name,
        "contact": people(of.id)[of.contact.key]["name"],
        "serial": of.units[0].serial,
        "item": name,
        "visit": str(length(scene.runbook(), of.site)),
    }
    for ask in step.stage.asks:
        if ask.kind != "version":
            text = known.text if known is not None and known.text else ask.text
            yield samples.rendered(text, language, given)


@pytest.mark.parametrize("language", LANGUAGES)
def test_title_and_language_are_set(language: str) -> None:
    with pypdfium2.PdfDocument(printed("alderbeck", language)) as document:
        assert document.get_metadata_dict()["Title"] == sheet("alderbeck", language).title
        size = pdfium.FPDFCatalog_GetLanguage(document, None, 0) if _tells_language() else 0
    assert f"/Lang ({language})".encode() in printed("alderbeck", language) or size


def _tells_language() -> bool:
    return hasattr(pdfium, "FPDFCatalog_GetLanguage")


def crowded() -> Visit:
    """Four boxes, names as long as the site list takes them, words that cannot be broken."""
    full = visit("alderbeck")
    units = tuple(Unit(f"HML-4F7K2Q9XW{n}", "HG-10", "") for n in range(4))
    cables = tuple(f"{LONG} {n}" for n in range(3))
    checks = ("till", "telephone", "printer", "Wi-Fi", LONG)
    site = replace(
        full.site,
        cables=cables,
        checks=checks,
        name=LONG,
        address=f"{'Unbreakable' * 9}, {LONG}"[:200],
    )
    return replace(full, site=site, units=units, id="s" * 48, wave="w" * 48)


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_runs_over_with_the_longest_names(language: str) -> None:
    texts = standard().texts(language)
    named = {key: {"name": f"{LONG} {LONG}"} for key in people("alderbeck")}
    made = sheet_of(crowded(), scene.runbook(), texts, named, TEAM, DOOR)
    content = pdf(made)
    _fits(content)
    (code,) = codes(content)
    assert code.text == made.link
    for unit in crowded().units:
        assert unit.serial in text_of(content)


def test_the_longest_of_the_wave_have_one_or_two_sides_and_nothing_runs_over() -> None:
    """The site with the longest name, that with the longest address, and a mobile branch."""
    every = rows().values()
    longest = {
        max(every, key=lambda row: len(getattr(row, key))).site for key in ("name", "address")
    }
    for site in sorted({*longest, "mobile-4"}):
        for language in LANGUAGES:
            texts = standard().texts(language)
            _fits(pdf(sheet_of(visit(site), scene.runbook(), texts, people(site), TEAM)))


def _fits(content: bytes) -> None:
    """One or two A4 pages, and every letter within the margins."""
    with pypdfium2.PdfDocument(content) as document:
        assert 1 <= len(document) <= 2
        for page in document:
            assert page.get_size() == pytest.approx(A4, abs=0.5)
            words = page.get_textpage()
            for index in range(words.count_rects()):
                left, bottom, right, top = words.get_rect(index)
                assert 30 <= left <= right <= A4[0] - 30, words.get_text_bounded(left, bottom)
                assert 30 <= bottom <= top <= A4[1] - 30


def test_a_sheet_for_each_language_of_the_people_there() -> None:
    made = visit("alderbeck")
    assert made.deputy is not None
    german = replace(made, deputy=replace(made.deputy, lang="de-AT"))
    assert languages(german, LANGUAGES) == ["en", "de"]
    french = replace(made, contact=replace(made.contact, lang="fr"))
    assert languages(french, LANGUAGES) == ["en"]


def test_a_name_in_letters_that_the_typeface_has_not_is_still_a_name() -> None:
    made = visit("alderbeck")
    named = {made.contact.key: {"name": "Małgorzata Dębska-Źródło"}}
    texts = standard().texts("en")
    found = text_of(pdf(sheet_of(made, scene.runbook(), texts, named, TEAM)))
    assert "gorzata D" in found
    assert "?" not in found.partition("In your place")[0].partition("You ")[2]
    assert "Debska-" in found or "Dębska-" in found


def test_the_same_words_give_the_same_bytes() -> None:
    assert pdf(sheet("alderbeck", "en")) == printed("alderbeck", "en")
