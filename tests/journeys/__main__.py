"""Play one script and print all that was said: ``python -m tests.journeys FILE``.

With ``--draft`` only what people and units do is taken from the script, and the whole comes out
as a script again with what the desk said to it: to be read line by line before it is kept.
"""

import argparse
import asyncio
import re
import sys
import tempfile
from pathlib import Path

from tests.conftest import running_server
from tests.journeys.house import STRANGER, House, Seen
from tests.journeys.play import Differs, Play
from tests.journeys.script import TEAM, Script, ScriptError, Step, read

_LINE = 90
#: Checks that let time pass.
_WAITS = ("desk_nothing", "desk_calls_nobody")
#: Checks of how things stand.
_LOOKS = ("wave_", "link_sees", "unit_", "visit_", "aside_", "page_shows", "page_hides")


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.journeys", description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--draft", action="store_true", help="write what the desk says to it")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="mu-") as name:
        path = Path(name) / "s"
        options = ["--port", "0", "--unixsocket", str(path), "--appendonly", "no"]
        with running_server(Path(name), f"unix://{path}", *options) as url:
            return asyncio.run(_run(args.file, url, draft=args.draft))


async def _run(path: Path, url: str, *, draft: bool) -> int:
    try:
        script = read(path)
    except (ScriptError, OSError) as error:
        print(error, file=sys.stderr)
        return 2
    house = House(script, url)
    await house.start()
    try:
        if draft:
            await Draft(script, house).run()
            return 0
        await Play(script, house).run()
    except Differs as error:
        print(error, file=sys.stderr)
        return 1
    finally:
        await house.stop()
    for message in house.seen:
        print(line(house, message))
    return 0


def line(house: House, message: Seen, time: str = "", *, short: bool = False) -> str:
    """A message as a line of a script; ``short``: only how it begins."""
    time = time or _time(house, message.at)
    kind, _, whom = message.place.partition(":")
    first, users = house.rows[0].site, _names(house)
    who, deed = "desk", "writes in the channel"
    if kind == "site":
        who += "" if whom == first else f"@{whom}"
        deed = "asks" if message.buttons else "says"
    elif kind == "mirror":
        deed = "copies"
    elif kind == "phone" or (kind == "mail" and whom in users):
        who, deed = kind, f"{'tells' if kind == 'phone' else 'reaches'} {users[whom]}"
    elif kind == "mail":
        who += "" if whom == first else f"@{whom}"
        deed = "mails"
    elif kind == "team":
        called = [n for n, u in TEAM.items() if f"@{house.name_of(u)} " in message.text]
        deed = f"calls {' '.join(called)}" if called and message.buttons else "tells the team"
    elif kind == "to":
        deed = f"tells {users[whom]}"
    elif kind == "alone":
        deed = f"shows {users[whom]} alone"
    text = _beginning(message.text) if short else message.text
    return f"{time:<6} {who:<8} {deed}: {text}"


def _names(house: House) -> dict[str, str]:
    """Chat users as a script calls them."""
    users = {STRANGER: "stranger"} | {user: name for name, user in TEAM.items()}
    for row in house.rows:
        at = "" if row is house.rows[0] else f"@{row.site}"
        users.setdefault(row.contact.user, f"contact{at}")
        if row.deputy is not None:
            users.setdefault(row.deputy.user, f"deputy{at}")
    return users


def _time(house: House, at: int) -> str:
    """The minute; with its second where that is no mere matter of sending in turn."""
    shown = house.shown(at)
    return shown[:5] if shown[6:] < "10" else shown


def _beginning(text: str) -> str:
    """Whole sentences, as many as make a line, and times; of a call what it is about."""
    call = re.match(
        r"@.*?((?:still open: )?(?:CRITICAL|Major|Minor|Warning): .*?) (?:at|in) ", text
    )
    if call is not None:
        return call[1]
    sentences = re.findall(r"[^.?!]+[.?!]*", text)
    found = ""
    while sentences and (not found or len(found) + len(sentences[0]) <= _LINE):
        found += sentences.pop(0)
    times = [rest.strip() for rest in sentences if re.search(r"\d\d:\d\d", rest)]
    return " ... ".join([found.strip(), *times])


class Draft(Play):
    """Plays the deeds alone and prints everything in its order."""

    def __init__(self, script: Script, house: House) -> None:
        super().__init__(script, house)
        self._done, self._shown = 0, ""

    async def run(self) -> None:
        self._copy(self._number(self.script.steps[0]) - 1)
        await super().run()
        self._copy(len(self.script.lines))

    def _number(self, step: Step) -> int:
        return int(step.where.rpartition(":")[2])

    def _copy(self, until: int) -> None:
        """Headings, remarks and blank lines as they are."""
        for text in self.script.lines[self._done : until]:
            print(text)
        self._done = until

    async def _step(self, step: Step) -> None:
        if step.deed == "on":
            self._copy(self._number(step))
            await super()._step(step)
            self._shown = ""
            return
        if step.deed.startswith("desk_") and step.deed not in _WAITS:
            self._copy(self._number(step) - 1)
            self._done += 1
            return
        at = self.time_of(step)
        if step.time:
            await self.house.until(at)
        if step.deed != "does_all":
            self._print()
        self._copy(self._number(step) - 1)
        self._done += 1
        self._say(step.time or _time(self.house, at), step.line.partition(" ")[2].strip())
        if step.deed in _WAITS or step.deed.startswith(_LOOKS):
            self.at = self.now = at
        if step.deed in _WAITS:
            await self.house.until(self.house.next_time(step.given[0], at) - 1)
        elif not step.deed.startswith(_LOOKS):
            await super()._step(step)
            if step.deed == "does_all":
                self._shown = _time(self.house, self.now)
        self._print()

    def _say(self, time: str, rest: str) -> None:
        """One line; *then* where the minute is that of the line above."""
        print(f"{'then' if time == self._shown else time:<6} {rest}")
        self._shown = time

    def _print(self) -> None:
        for message in self.house.seen:
            if not message.claimed:
                message.claimed = True
                if not message.optional:
                    text = line(self.house, message, "x", short=True)
                    self._say(_time(self.house, message.at), text.partition(" ")[2].strip())
        for answer in self.house.commands:
            if not answer.claimed:
                answer.claimed = True
                who = _names(self.house)[answer.user]
                self._say(self._shown, f"desk     answers {who}: {_beginning(answer.text)}")

    def _nothing_left_out(self, before: int | None, when: str) -> None:
        """In a draft everything is printed, nothing is demanded."""


if __name__ == "__main__":
    sys.exit(main())
