"""What the reader makes of plain sentences, one line each, and what it must never do.

A reading is written short: ``done``; ``light:fault`` (the pattern); ``later:20`` (minutes) and
``later:21:30`` (clock time); ``serial:HML-4F7K2Q``. A question mark and a key behind it say that
it is asked back: ``light?ask_colour``. Several readings are divided by blanks, the worst first.
"""

from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.model.reader import ASK_KEYS, read
from bot.model.reading import Heard, Kind, Reading
from bot.model.runbook import AskKind
from bot.model.runbook_course import CHECK_ANSWERS
from bot.model.settle import ORDER
from bot.runbooks.load import load
from bot.speak.catalogue import Catalogue
from bot.speak.lexicon import every_lexicon, lexicon
from tests.model.corpus import HEARD as QUESTIONS

BOOK = load(Path(__file__).parents[2] / "bot/practice/hollowmere/runbook.yaml")
EN = lexicon("en")
HEARD: dict[str, Heard] = {
    **{asked: QUESTIONS[asked] for asked in ("consent", "begin", "mobile", "confirm", "serial")},
    **{asked: QUESTIONS[asked] for asked in ("version", "callback", "none")},
    "choice": QUESTIONS["lead"],
    "light": QUESTIONS["light_registry"],
    "check": Heard(stage="site_checks", ask="check", answers=CHECK_ANSWERS),
}


def hear(asked: str, words: str) -> list[Reading]:
    return read(words, HEARD[asked], BOOK, EN, dangers=every_lexicon())


def short(reading: Reading) -> str:
    minutes = "" if reading.minutes is None else str(reading.minutes)
    said = reading.pattern or minutes or ("" if reading.kind == "danger" else reading.value)
    return reading.kind + (f":{said}" if said else "") + (f"?{reading.ask}" if reading.ask else "")


def check(asked: str, words: str, wanted: str) -> None:
    assert " ".join(short(reading) for reading in hear(asked, words)) == wanted


CONFIRM = [
    ("done", "done"),
    ("Done!", "done"),
    ("DONE", "done"),
    ("ok done", "done"),
    ("ok, done", "done"),
    ("all done thanks", "done"),
    ("thats done now", "done"),
    ("doen", "done"),
    ("plugged in", "done"),
    ("I've plugged it in", "done"),
    ("finished", "done"),
    ("✅", "done"),
    (":white_check_mark:", "done"),
    # Read is not done.
    ("ok", "seen?ask_done"),
    ("OK!", "seen?ask_done"),
    ("👍", "seen?ask_done"),
    ("👍🏽", "seen?ask_done"),
    (":+1:", "seen?ask_done"),
    ("will do", "seen?ask_done"),
    ("no problem", "seen?ask_done"),
    ("yes", "yes?ask_done"),
    # Not, nearly, perhaps, except.
    ("not done", "no"),
    ("it isn't done", "no"),
    ("no", "no"),
    ("not yet", "later?ask_minutes"),
    ("nearly done", "later?ask_minutes"),
    ("hang on", "later?ask_minutes"),
    ("I think it's done", "done?ask_done"),
    ("all done except the power lead", "done?ask_done"),
    ("can't get it plugged in", "no"),
    ("no, it's done", "unclear?ask_done"),
    ("when will it be done?", "question"),
    ("is it done?", "question"),
    # More time.
    ("give me 20 min", "later:20"),
    ("20min", "later:20"),
    ("half an hour", "later:30"),
    ("an hour and a half", "later:90"),
    ("I need another twenty minutes please", "later:20"),
    ("back in 10 mins", "later:10"),
    ("1 hour", "later:60"),
    ("an hour and 10 minutes", "later:70"),
    ("can I have 15 more minutes?", "later:15 question"),
    ("at 9", "later:21:00"),
    ("at nine", "later:21:00"),
    ("at half past nine", "later:21:30"),
    ("quarter to ten", "later:21:45"),
    ("21:30", "later:21:30"),
    ("9.30pm", "later:21:30"),
    ("at 9 pm", "later:21:00"),
    ("in 10 or at 9:30?", "question"),
    ("give me 99999999 minutes", "later?ask_minutes"),
    ("give me 0 minutes", "later?ask_minutes"),
    # Times that are no wish.
    ("I need to go in 10 minutes", "unclear?ask_done"),
    ("we close at 9", "unclear?ask_done"),
    ("it has been 10 minutes", "unclear?ask_done"),
    ("I plugged it in at 9:15", "done"),
    ("10 minutes ago", "unclear?ask_done"),
    # A person, a pause, a stop.
    ("help", "help"),
    ("Help!!", "help"),
    ("hlep", "help"),
    ("can you help me", "help"),
    ("I want to talk to someone", "help"),
    ("can someone call me?", "help"),
    ("🆘", "help"),
    ("Dave's helping", "unclear?ask_done"),
    ("the helpdesk is closed", "unclear?ask_done"),
    ("I don't need help", "unclear?ask_done"),
    ("pause", "pause"),
    ("need a smoke break", "pause"),
    ("stop", "stop"),
    ("STOP", "stop"),
    ("please stop", "stop"),
    ("we have to stop now", "stop"),
    ("don't stop", "unclear?ask_done"),
    ("the bus stop is outside", "unclear?ask_done"),
    ("it won't stop raining", "small_talk"),
    ("it stopped blinking", "light?ask_colour"),
    # Power.
    ("turned it off and on again", "power_cycled"),
    ("I switched it off", "power_cycled"),
    ("the power went", "power_cycled"),
    ("we had a power cut", "power_cycled"),
    ("I haven't turned it off", "unclear?ask_done"),
    ("should I turn it off and on?", "question"),
    # Questions back, thanks, small talk.
    ("which cable?", "question"),
    ("which cable", "question"),
    ("where does it go", "question"),
    ("I don't understand", "question"),
    ("thanks", "thanks"),
    ("🙏", "thanks"),
    ("hello", "small_talk"),
    # Lights where none was asked for.
    ("the light is red", "light:fault"),
    ("it is flashing green", "light:reaching"),
    ("I used the green cable", "unclear?ask_done"),
    ("the red wire", "unclear?ask_done"),
    # Several things, the worst first.
    ("plugged in, light's red, and is there a spare?", "light:fault done question"),
    ("done thanks", "done"),
    ("done. thanks!", "done thanks"),
    ("customer just came in, 5 mins", "later:5 pause"),
    # Nothing known.
    ("asdf qwer", "unclear?ask_done"),
    ("", "unclear?ask_done"),
    ("   ", "unclear?ask_done"),
    ("???", "unclear?ask_done"),
    ("!!", "unclear?ask_done"),
]

LIGHT = [
    ("steady red", "light:fault"),
    ("red", "light:fault"),
    ("RED!!", "light:fault"),
    ("solid green", "light:registered"),
    ("green and blinking fast", "light:reaching"),
    ("green blinking", "light:reaching"),
    ("gren flahsing fast", "light:reaching"),
    ("white and blinking slowly", "light:loading"),
    ("flashing white", "light:loading"),
    ("steady white", "light:starting"),
    ("amber", "light:not_reached"),
    ("orange, slowly flashing", "light:not_reached"),
    ("off", "light:dark"),
    ("light is off", "light:dark"),
    ("no light at all", "light:dark"),
    ("nothing", "light:dark"),
    ("it's dead", "light:dark"),
    ("no lights on", "light:dark"),
    ("I don't see any light", "light:dark"),
    ("it won't turn on", "light:dark"),
    # Colour said, but not the mode, and more than one fits.
    ("green", "light?ask_steady_or_blinking"),
    ("it's white", "light?ask_steady_or_blinking"),
    ("the light is on and green", "light?ask_steady_or_blinking"),
    # Mode said, but not the colour.
    ("it's blinking", "light?ask_colour"),
    ("steady", "light?ask_colour"),
    ("it stopped blinking", "light?ask_colour"),
    ("stopped blinking, solid green now", "light:registered"),
    # Rates in numbers, by the bands of IEC 60073 (from memory).
    ("white, 2 blinks in 5 seconds", "light:loading"),  # common practice, no published source
    ("white about twice in five seconds", "light:loading"),
    ("white, blinks every 2 seconds", "light:loading"),
    ("green, blinking two times a second", "light:reaching"),
    ("green, 10 blinks in 5 seconds", "light:reaching"),
    ("green 2 hz", "light:reaching"),
    ("white, blinks once a second", "light:loading"),
    ("white, once every second", "light:loading"),
    ("green, 5 times a second", "light:reaching"),
    ("white, 1 blink in 10 seconds", "light:loading"),
    # No such light in the runbook.
    ("green and blinking slowly", "light?ask_negated"),
    ("red and flashing", "light:fault"),
    ("green then off", "light:dark"),
    ("blue", "light?ask_colour"),
    # Negation, correction, doubt, questions: never a success, never a fault guessed away.
    ("not green", "light?ask_colour"),
    ("no red", "light?ask_colour"),
    ("not green, it's red", "light:fault"),
    ("not blinking, green", "light:registered"),
    ("green but not blinking", "light:registered"),
    ("I think it's steady green", "light:registered?ask_negated"),
    ("maybe red", "light:fault"),
    ("steady green?", "light:registered?ask_negated question"),
    ("should it be green?", "question"),
    ("red and green", "light:fault?ask_negated light?ask_negated"),
    # Other things while the light is asked about.
    ("turned it off and on again", "power_cycled"),
    ("turned it off and on, steady white now", "power_cycled light:starting"),
    ("power went", "power_cycled"),
    ("done", "done?ask_negated"),
    ("ok", "seen?ask_negated"),
    ("yes", "yes?ask_negated"),
    ("same as before", "light:same"),
    ("blinking white for 10 minutes", "light:loading"),
    ("it's been 10 minutes", "unclear?ask_negated"),
    ("give me 10 minutes", "later:10"),
    ("which light?", "question"),
    ("no, it's solid green", "light:registered"),
    ("the green cable is in", "done?ask_negated"),
]

OTHERS = [
    ("check", "card machine works now", "choice:works"),
    ("check", "yes it does", "yes"),
    ("check", "done", "done"),
    ("check", "it's not working", "choice:broken"),
    ("check", "nothing comes out", "choice:broken"),
    ("check", "no dial tone", "choice:broken"),
    ("check", "no wifi", "choice:broken"),
    ("check", "nope", "no"),
    ("check", "we don't have one", "choice:absent"),
    ("check", "works, thanks", "choice:works thanks"),
    ("check", "it works but there is smoke", "danger choice:works"),
    ("check", "I think so", "unclear?ask_again"),
    ("check", "ok", "seen?ask_again"),
    ("consent", "yes", "yes"),
    ("consent", "Yes, that's fine", "yes"),
    ("consent", "sounds good", "yes"),
    ("consent", "sure thing", "yes"),
    ("consent", "ok", "seen?ask_again"),
    ("consent", "👍", "seen?ask_again"),
    ("consent", "no", "no"),
    ("consent", "No thanks", "no"),
    ("consent", "can't do tonight", "no"),
    ("consent", "another evening please", "no"),
    ("consent", "yes no", "unclear?ask_again"),
    ("consent", "what is this?", "question"),
    ("begin", "I'm here", "yes"),
    ("begin", "ready", "done"),
    ("begin", "not tonight", "no"),
    ("begin", "tomorrow?", "no"),
    ("begin", "running late, 20 min", "later:20"),
    ("begin", "stuck in traffic", "later?ask_minutes"),
    ("mobile", "done", "done"),
    ("mobile", "wifi is off", "done"),
    ("mobile", "yes im on mobile data", "done"),
    ("mobile", "no signal", "no_signal"),
    ("mobile", "I have no signal here", "no_signal"),
    ("mobile", "no, no bars at all", "no_signal"),
    ("mobile", "shocking signal here", "no_signal?ask_again"),
    ("serial", "HML-4F7K2Q", "serial:HML-4F7K2Q"),
    ("serial", "hml-4f7k2q.", "serial:HML-4F7K2Q"),
    ("serial", "it's HML4F7K2Q", "serial:HML4F7K2Q"),
    ("serial", "hml 4f7k2q", "serial:HML4F7K2Q"),
    ("serial", "serial number: HML-4F7K2Q", "serial:HML-4F7K2Q"),
    ("serial", "S/N HML-4F7K2Q", "serial:HML-4F7K2Q"),
    ("serial", "S HML-4F7K2Q", "serial:HML-4F7K2Q"),
    ("serial", "(21)HML-4F7K2Q", "serial:HML-4F7K2Q"),
    ("serial", "IT SAYS HML 4F7K2Q", "serial:HML4F7K2Q"),
    ("serial", "H M L 4 F 7 K 2 Q", "serial:HML4F7K2Q"),
    ("serial", "HG-10, S/N HML-4F7K2Q", "serial:HML-4F7K2Q"),
    ("serial", "HML-4F7K2Q or HML-4F7K2R", "serial?ask_again"),
    ("serial", "HML-4F7K2Q, HML-4F7K2Q", "serial:HML-4F7K2Q"),
    ("serial", "yes", "yes"),
    ("serial", "no", "no"),
    ("serial", "yes, exactly the same", "yes"),
    ("serial", "it's different", "no"),
    ("serial", "no, it says HML-9999ZZ", "serial:HML-9999ZZ"),
    ("serial", "I can't read it", "unclear?ask_again"),
    ("serial", "give me 20min", "later:20"),
    ("confirm", "the sticker says HML-4F7K2Q", "serial:HML-4F7K2Q"),
    ("confirm", "call me on 01632 960123", "help number"),
    ("version", "4.2.0", "version:4.2.0"),
    ("version", "v4.2.0", "version:4.2.0"),
    ("version", "it says Version 4.4.1", "version:4.4.1"),
    ("version", "SW 4.2", "version:4.2"),
    ("version", "4 point 2 point 0", "version:4.2.0"),
    ("version", "4.2.0-rc1", "version:4.2.0-rc1"),
    ("version", "4.2.0 or 4.2.1", "version?read_version_nudge"),
    ("version", "version 4", "version?read_version_nudge"),
    ("version", "4", "unclear?read_version_nudge"),
    ("version", "ok", "seen?read_version_nudge"),
    ("confirm", "192.0.2.1", "unclear?ask_done"),
    ("choice", "one part", "choice:lead_one"),
    ("choice", "just one", "choice:lead_one"),
    ("choice", "it's in two parts", "choice:lead_two"),
    ("choice", "2", "choice:lead_two"),
    ("choice", "missing", "choice:lead_missing"),
    ("choice", "there isn't one", "choice:lead_missing"),
    ("choice", "one is missing", "choice?ask_again"),
    ("choice", "which lead?", "question"),
    ("choice", "is it one part or two?", "question"),
    ("choice", "yes", "yes?ask_again"),
    ("none", "hello", "small_talk"),
    ("none", "done", "done"),
    ("none", "ok", "seen"),
    ("none", "help", "help"),
    ("none", "asdf", "unclear?ask_again"),
    ("none", "the light is red", "light:fault"),
]

DANGER = [
    ("confirm", "there's smoke coming out", "danger"),
    ("light", "green but there is a burning smell", "danger light?ask_steady_or_blinking"),
    ("none", "smoke", "danger"),
    ("confirm", "done, but my hand is tingling", "danger done?ask_done"),
    ("confirm", "stop, there is water everywhere", "danger stop"),
    ("confirm", "no smoke here", "danger?ask_danger"),
]


@pytest.mark.parametrize(("words", "wanted"), CONFIRM)
def test_a_thing_to_do(words: str, wanted: str) -> None:
    check("confirm", words, wanted)


@pytest.mark.parametrize(("words", "wanted"), LIGHT)
def test_a_light(words: str, wanted: str) -> None:
    check("light", words, wanted)


@pytest.mark.parametrize(("asked", "words", "wanted"), OTHERS)
def test_other_questions(asked: str, words: str, wanted: str) -> None:
    check(asked, words, wanted)


@pytest.mark.parametrize(("asked", "words", "wanted"), DANGER)
def test_danger_comes_first(asked: str, words: str, wanted: str) -> None:
    check(asked, words, wanted)


def test_a_denial_is_less_sure_and_says_so() -> None:
    said, denied = hear("confirm", "smoke")[0], hear("confirm", "no smoke here")[0]
    assert (said.rule, said.confidence) == ("smoke", 1.0)
    assert (denied.kind, denied.rule) == ("danger", "denied")
    assert denied.confidence < said.confidence


def test_a_described_light_is_given_even_when_no_pattern_fits() -> None:
    light = hear("light", "green and blinking slowly")[0].light
    assert light is not None
    assert (light.colour, light.mode) == ("green", "slow")


def test_a_clock_time_says_whether_the_half_of_the_day_is_known() -> None:
    assert hear("confirm", "at 9")[0].rule == "clock12"
    assert hear("confirm", "at 9 pm")[0].rule == "clock"
    assert hear("confirm", "at 09:00")[0].rule == "clock"


def test_every_question_back_is_in_the_catalogue() -> None:
    texts = Catalogue.load("en").texts("en")
    assert {key for key in ASK_KEYS if not texts.has(key)} == set()


# --- properties -----------------------------------------------------------------------------

ASKED = st.sampled_from(sorted(HEARD))
SENTENCES = [words for words, _ in CONFIRM + LIGHT] + [words for _, words, _ in OTHERS]
PIECES = st.lists(
    st.sampled_from(sorted(EN.known)) | st.sampled_from([",", ".", "?", "-", "5", "21:30", "4.2"])
)
TEXTS = st.text() | PIECES.map(" ".join) | st.sampled_from(SENTENCES)


@given(ASKED, TEXTS)
def test_any_text_gives_at_least_one_reading_worst_first(asked: str, words: str) -> None:
    readings = hear(asked, words)
    assert readings
    places = [ORDER.index(reading.kind) for reading in readings]
    assert places == sorted(places)


@given(ASKED, TEXTS)
def test_readings_keep_their_promises(asked: str, words: str) -> None:
    for reading in hear(asked, words):
        assert 0 <= reading.confidence <= 1
        assert reading.rule
        assert reading.ask == "" or reading.ask in ASK_KEYS
        assert reading.pattern == "" or reading.pattern in BOOK.patterns
        assert reading.minutes is None or 0 < reading.minutes <= 7 * 24 * 60
        if reading.kind == "choice" and not reading.ask:
            assert reading.value in HEARD[asked].answers
        if reading.kind == "unclear":
            assert reading.ask


@given(st.sampled_from(SENTENCES), st.sampled_from(["smoke", "I got a shock", "its on fire"]))
def test_danger_beside_anything_comes_first(words: str, danger: str) -> None:
    assert hear("confirm", f"{words}. {danger}")[0].kind == "danger"


@given(st.sampled_from(["red", "amber", "orange", "steady red"]), st.sampled_from(["not ", "no "]))
def test_a_negated_fault_is_never_a_success(fault: str, negation: str) -> None:
    for reading in hear("light", negation + fault):
        assert reading.ask
        assert reading.pattern not in ("registered", "reaching")


def test_an_unknown_stage_is_no_error() -> None:
    heard = Heard(stage="no_such_stage", ask="light")
    assert read("red", heard, BOOK, EN)[0].pattern == "fault"


def test_every_kind_of_question_is_tried_here() -> None:
    assert {heard.ask for heard in HEARD.values()} == {None, *get_args(AskKind)}
    assert set(get_args(Kind)) == set(ORDER)
