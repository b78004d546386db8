"""Everyday ways of putting things, one line each: colours, rates, times, negation, corrections.

Readings are written short as in ``test_reader``.
"""

import pytest

from tests.model.test_reader import check, hear, short

LIGHT = [
    # Everyday names of colours.
    ("orange, flashing slowly", "light:not_reached"),
    ("amber blinking", "light:not_reached"),
    ("yellowish and blinking", "light:not_reached"),
    ("bluish white, pulsing", "light:loading"),
    ("sort of a cold white, winking", "light:loading"),
    ("crimson", "light:fault"),
    ("reddish", "light:fault"),
    ("lime green, solid", "light:registered"),
    ("🔴", "light:fault"),
    ("bluey", "light?ask_colour"),
    ("turquoise-ish", "light?ask_colour"),
    # Steady, blinking, and how fast.
    ("green, not moving at all", "light:registered"),
    ("white, on all the time", "light:starting"),
    ("constantly flashing white", "light:loading"),
    ("white, on and off, on and off", "light:loading"),
    ("it goes on, off, on, off. White", "light:loading"),
    ("white like a heartbeat", "light:loading"),
    ("white about twice in five seconds", "light:loading"),
    ("white once a second", "light:loading"),  # whatever the rate, only one white light blinks
    ("white every couple of seconds", "light:loading"),
    ("green, two flashes then a pause", "light?ask_fast_or_slow"),
    ("green, 20 flashes in ten seconds", "light:reaching"),
    ("amber one, on for a second off for a second", "light:not_reached"),
    # What does nothing is dark, unless it has a colour; all of them dark are as one.
    ("it isn't doing anything", "light:dark"),
    ("its just green now not doing anything else", "light?ask_steady_or_blinking"),
    ("all the lights have gone out on it", "light:dark"),
    ("light went red and do you have a spare one", "light:fault question"),
    ("the light went off a minute ago and hasnt come back", "light:dark"),
    ("the light has gone", "light:dark"),
    ("the light has gone solid green", "light:registered"),
    # Negation and its reach.
    ("oh no red", "light:fault"),
    ("not blinking any more, green", "light:registered"),
    ("no red", "light?ask_colour"),
    ("isn't green", "light?ask_colour"),
    ("it never went green", "light?ask_colour"),
    ("red light is not on", "light?ask_negated"),
    ("not green it's red", "light:fault"),
    ("no its not green its red", "light:fault"),
    ("not green or white, red", "light:fault"),
    ("waiting for it to go green", "light?ask_colour"),
    # Hedges: a success is asked back, a fault is taken.
    ("I think it's steady green", "light:registered?ask_negated"),
    ("steady green, I think", "light:registered?ask_negated"),
    ("sort of steady green", "light:registered?ask_negated"),
    ("I think it's red", "light:fault"),
    ("looks like red", "light:fault"),
    # The latest state counts; going on and on is asked back.
    ("was white, now green and steady", "light:registered"),
    ("green then off", "light:dark"),
    ("it was green but now it's flashing yellow", "light:not_reached"),
    ("steady green, was blinking white before", "light:registered"),
    ("white then red", "light:fault"),
    ("went from white to red", "light:fault"),
    ("was steady green", "light:registered?ask_negated"),
    ("alternating red and green", "light:fault?ask_negated"),
    ("white then green then white again", "light?ask_negated"),
    # Taken back.
    ("no, that was the other light, it's red", "correction light:fault"),
    ("scrap that, solid green", "correction light:registered"),
    ("sorry I meant red", "correction light:fault"),
    ("scratch that, red", "correction light:fault"),
    ("no actually its red", "correction light:fault"),
    ("Sorry I said white, I meant green. Blinking", "correction light:reaching"),
    # Nothing, the same, several.
    ("nothing", "light:dark"),
    ("was white now nothing", "light:dark"),
    ("same as before", "light:same"),
    ("no change", "light:same"),
    ("several lights", "light:several?ask_which_light"),
    ("one is green and the other one is red", "light:fault?ask_which_light"),
    # On another thing: asked back, never a success, and red is not dropped.
    ("the old box is solid green", "light:registered?ask_which_light"),
    ("the router upstairs is red", "light:fault?ask_which_light"),
    ("the little light next to the cable is green", "light:elsewhere?ask_which_light"),
    ("steady green, the old box is off", "light:registered"),
    ("steady green, but the old box is red", "light:fault?ask_which_light"),
    # What only sounds like it.
    ("it stopped blinking", "light?ask_colour"),
    ("it's stopped raining", "small_talk"),
    # No punctuation, capitals, slips.
    ("its red what do i do", "light:fault question"),
    ("FLASHING GREEN FAST!!", "light:reaching"),
    ("gren n flahsing", "light:reaching"),
    ("slolid geen", "light:registered"),
]

CONFIRM = [
    ("Dave's helping", "unclear?ask_done"),
    ("help yourself to tea", "small_talk"),
    ("no help needed", "small_talk"),
    ("plugged in and its red and is there a spare", "light:fault done question"),
    ("plugged in but its red", "light:fault done"),
    ("done but it didn't click", "done?ask_done"),
    ("well its in but it feels loose", "done?ask_done"),
    ("maybe, it didnt click though", "unclear?ask_done"),
    ("it wouldn't go in at first but its done now", "done"),
    ("done now what", "done question"),
    ("once its plugged in i'll tell you", "unclear?ask_done"),
    ("sorry, not plugged in yet", "correction no"),
    ("oops, not done", "correction no"),
    ("no wait, it's in now", "correction done"),
    ("in English please", "language:en"),
    ("gotta stop for a bit", "pause"),
    ("need to pop to the loo", "pause"),
    ("this is too difficult, someone please ring", "help"),
    ("done, but I need a person", "help done"),
    ("I can't see a socket marked LINE", "unclear?ask_done"),
    ("there are three cables in the old box", "unclear?ask_done"),
    ("can we stop now", "stop"),
    ("when it stops raining", "small_talk"),
    ("got it", "seen?ask_done"),
    ("👍👍", "seen?ask_done"),
]

TIMES = [
    ("quarter past eight", "later:20:15"),
    ("half seven", "later:19:30"),
    ("ten to nine", "later:20:50"),
    ("five past nine", "later:21:05"),
    ("20 mins", "later:20"),
    ("half an hour", "later:30"),
    ("an hour and a half", "later:90"),
    ("three quarters of an hour", "later:45"),
    ("in 10", "later:10"),
    ("20", "later:20"),
    ("can we start in half an hour?", "later:30 question"),
    ("8ish", "later:20:00"),
    ("7.45", "later:19:45"),
    ("stuck behind a tractor, 20 min away", "later:20"),
]

OTHERS = [
    ("callback", "07700 900123 at 20:15", "number later:20:15"),
    ("callback", "ring me on 01632 960123 in 10 mins", "number later:10"),
    ("callback", "+44 (0)1632 960123", "number"),
    ("mobile", "call me on 07700 900123", "help number"),
    ("mobile", "turned wifi off but no signal", "no_signal done"),
    ("mobile", "it's off", "done"),
    ("confirm", "it's off", "unclear?ask_done"),
    ("version", "four point two point zero", "version:4.2.0"),
    ("version", "4 2 0", "version:4.2.0"),
    ("version", "sw4.3.0", "version:4.3.0"),
    ("version", "4.4.1 not 4.2.0", "version:4.4.1"),
    ("version", "4.2 something", "version?read_version_nudge"),
    ("serial", "H M L dash 4 F 7 K 2 Q", "serial:HML4F7K2Q"),
    ("serial", "HML\u20134F7K2Q", "serial:HML-4F7K2Q"),
    ("serial", "not the same", "no"),
    ("choice", "I think two", "choice?ask_again"),
    ("choice", "not two pieces, one", "choice:lead_one"),
    ("consent", "yes but how long will it take?", "yes question"),
    ("consent", "why not", "yes"),
    # No refusal of the evening.
    ("begin", "nobody has brought a box here", "yes?ask_again"),
    ("begin", "i cant find the box", "unclear?ask_again"),
    ("begin", "the cupboard is locked and i cant get in", "unclear?ask_again"),
    ("begin", "not quite ready", "later?ask_minutes"),
    ("consent", "ive never done anything like this", "unclear?ask_again"),
    ("consent", "booked it in my diary", "yes"),
    ("consent", "will the internet be off", "question"),
    ("consent", "can we do Thursday instead?", "no"),
    ("none", "we have no internet", "help"),
]


def shown(asked: str, words: str) -> str:
    return " ".join(short(reading) for reading in hear(asked, words))


@pytest.mark.parametrize(("words", "wanted"), LIGHT)
def test_a_light(words: str, wanted: str) -> None:
    check("light", words, wanted)


@pytest.mark.parametrize(("words", "wanted"), CONFIRM)
def test_a_thing_to_do(words: str, wanted: str) -> None:
    check("confirm", words, wanted)


@pytest.mark.parametrize(("words", "wanted"), TIMES)
def test_a_time(words: str, wanted: str) -> None:
    check("begin", words, wanted)


@pytest.mark.parametrize(("asked", "words", "wanted"), OTHERS)
def test_other_questions(asked: str, words: str, wanted: str) -> None:
    check(asked, words, wanted)


@pytest.mark.parametrize("words", ["alternating red and green", "the old box is red"])
def test_red_is_never_dropped(words: str) -> None:
    colours = {colour for r in hear("light", words) if r.light for colour in r.light.colours}
    assert "red" in colours


def test_a_telephone_number_is_not_repeated() -> None:
    assert hear("callback", "01632 960123")[0].value == ""
