"""The runner itself: a script that says something else than what happens fails, and says where."""

from pathlib import Path

import pytest

from tests.journeys.house import House
from tests.journeys.play import Differs, Play, matches
from tests.journeys.script import ScriptError, read

SHORT = """
# An invitation
site ambermere, start 18:00

17:30  desk     asks: Could you put in the new box
then   desk     offers: Yes, that is fine | Another time | No, thank you
17:31  contact  presses: Yes, that is fine
then   desk     says: Thank you. I will write to you here
then   visit    is agreed
then   desk     says nothing until 18:00
18:00  desk     asks: Are you at ... Library
"""

WRONG = {
    "words": ("Thank you. I will write", "Thank you. I shall write", "it said instead: Thank you."),
    "minute": ("then   desk     says: T", "17:32  desk     says: T", "was said at 17:31:00"),
    "buttons": ("| No, thank you", "| Never", "the buttons are Yes, that is fine |"),
    "asks": ("says: Thank you", "asks: Thank you", "it has no buttons"),
    "says": ("asks: Are you at", "says: Are you at", "it has buttons"),
    "silence": ("nothing until 18:00", "nothing until 18:01", "at 18:00:00 it was said: Hello"),
    "left out": (
        "18:00  desk     asks: Are you at ... Library",
        "18:05 wave is not held",
        "out what",
    ),
    "state": ("is agreed", "is done", "it is agreed"),
    "button": ("presses: Yes, that", "presses: Yes, this", "there is no button 'Yes, this is"),
    "call": ("18:00  desk     asks", "18:00  desk  calls Ines", "nothing was said"),
}


async def play(tmp_path: Path, store_url: str, text: str) -> None:
    path = tmp_path / "short.txt"
    path.write_text(text, encoding="utf-8")
    house = House(read(path), store_url)
    await house.start()
    try:
        await Play(house.script, house).run()
    finally:
        await house.stop()


async def test_the_short_script_holds(tmp_path: Path, store_url: str) -> None:
    await play(tmp_path, store_url, SHORT)


@pytest.mark.parametrize("name", WRONG)
async def test_a_script_that_differs_fails(name: str, tmp_path: Path, store_url: str) -> None:
    before, after, told = WRONG[name]
    assert before in SHORT
    with pytest.raises(Differs) as differs:
        await play(tmp_path, store_url, SHORT.replace(before, after))
    assert told in str(differs.value)
    assert str(differs.value).startswith("short.txt:")


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("17:30 desk dances", "desk cannot 'dances'"),
        ("17:30 postman says: hello", "'postman' is none of"),
        ("25 desk says: hello", "a step is written TIME WHO DEED"),
        ("17:30 desk@nowhere says: hello", "'nowhere' is no site of this script"),
        ("site bexhollow", "the site has no start"),
        ("site bexhollow, start 18:00, colour blue", "'colour blue'"),
        ("date tomorrow", "'tomorrow' is no date"),
    ],
)
def test_a_line_that_cannot_be_read_is_named(line: str, told: str, tmp_path: Path) -> None:
    path = tmp_path / "short.txt"
    path.write_text(SHORT + line + "\n", encoding="utf-8")
    with pytest.raises(ScriptError, match=f"short.txt:{len(SHORT.splitlines()) + 1}") as error:
        read(path)
    assert told in str(error.value)


def test_words_may_leave_something_out() -> None:
    assert matches("Thank you ... until 18:20", "Thank you. We wait until 18:20, all right?")
    assert not matches("until 18:20 ... Thank you", "Thank you. We wait until 18:20.")
    assert not matches("thank you", "Thank you.")
