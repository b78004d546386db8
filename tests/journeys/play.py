"""Plays a script against the real parts, and says in one sentence where they part ways."""

import re
from collections.abc import Callable, Coroutine
from typing import Any

from bot.model.board import state_of
from bot.model.subject import ASIDE, of_visit, of_wave
from bot.model.visit.code import codes_in
from bot.model.visit.state import Visit
from tests.journeys.house import MINUTE, STRANGER, House, Seen
from tests.journeys.page import Page
from tests.journeys.script import TEAM, Script, Step
from tests.journeys.waking import WakingDeeds

_SHOWN_BEFORE = 12
#: No script does what is asked for longer than this in one go.
_MOST_MINUTES = 120
#: What people send: title and media type.
_FILES = {
    "voice note": ("audio_message.m4a", "audio/mp4"),
    "photo": ("IMG_2041.jpg", "image/jpeg"),
    "document": ("scan.pdf", "application/pdf"),
}


class Differs(AssertionError):
    """The parts did something else than the script says."""


class Play(WakingDeeds):
    """One run of one script."""

    def __init__(self, script: Script, house: House) -> None:
        self.script, self.house = script, house
        self.at = house.clock.now()  # the time of the line being played
        self.now = self.at  # what *then* means: where that line ended
        self.newest: dict[str, Seen] = {}  # by site: what the desk was last seen to ask

    async def run(self) -> None:
        for step in self.script.steps:
            try:
                await self._step(step)
            except (LookupError, ValueError, AssertionError) as error:
                raise Differs(self._report(step, error)) from None
        try:
            self._nothing_left_out(None, "the end of the script")
            self._all_answers_named()
        except AssertionError as error:
            raise Differs(self._report(self.script.steps[-1], error)) from None

    async def _step(self, step: Step) -> None:
        if step.deed == "on":
            midnight = self.house.midnight(step.given[0])
            if midnight < self.at:
                raise ValueError("that day has begun already")
            self.at = self.now = midnight
            return
        self.at = self.time_of(step)
        self._nothing_left_out(self.at, f"{self.house.shown(self.at)[:5]}")
        self.now = self.at
        await self._deed(step)

    def time_of(self, step: Step) -> int:
        """When the line is played. Two lines may tell of one stretch of time, site by site."""
        return self.house.next_time(step.time, self.at) if step.time else self.now

    async def _deed(self, step: Step) -> None:
        act: Callable[..., Coroutine[Any, Any, None]] = getattr(self, f"do_{step.deed}")
        seeing = step.deed.startswith("desk_") or step.deed in ("wave_shows", "stopped")
        if not step.deed.startswith("desk_"):
            if self.at + MINUTE <= self.house.clock.now():
                raise ValueError(f"it is {self.house.shown(self.house.clock.now())} by now")
            await self.house.until(self.at)
            self._nothing_left_out(self.at, f"{self.house.shown(self.at)[:5]}")
        await act(step, *(self._filled(words) for words in step.given))
        if not seeing:
            await self.house.instant()

    def _filled(self, words: str) -> str:
        """``{code}`` is the newest code that anybody was given."""
        if "{code}" not in words:
            return words
        found = [code for m in self.house.seen for code in codes_in(m.text)]
        return words.replace("{code}", found[-1])

    # --- what people do --------------------------------------------------------------------

    def user(self, who: str, site: str) -> str:
        row = next(row for row in self.house.rows if row.site == site)
        if who == "contact":
            return row.contact.user
        if who == "deputy":
            if row.deputy is None:
                raise LookupError(f"{site} has no deputy")
            return row.deputy.user
        return STRANGER if who == "stranger" else TEAM[who]

    async def do_says(self, step: Step, words: str) -> None:
        channel, stamp = self.house.thread_of(step.site)
        user = self.user(step.who, step.site)
        await self.house.server.say(user, channel, words, thread_ts=stamp)

    async def do_writes(self, step: Step, words: str) -> None:
        user = self.user(step.who, step.site)
        await self.house.server.say(user, self.house.channels[0], words)

    async def do_writes_directly(self, step: Step, words: str) -> None:
        await self.house.server.dm(self.user(step.who, step.site), words)

    async def do_writes_in_copy(self, step: Step, words: str) -> None:
        channel, stamp = self.house.thread_of(step.site, "mirror")
        await self.house.server.say(self.user(step.who, step.site), channel, words, thread_ts=stamp)

    async def do_edits(self, step: Step, words: str) -> None:
        await self.do_edits_one(step, "", words)

    async def do_edits_one(self, step: Step, old: str, words: str) -> None:
        user = self.user(step.who, step.site)
        channel, stamp = self.house.newest_of(user, old)
        await self.house.server.edit(user, channel, stamp, words)

    async def do_deletes(self, step: Step, words: str) -> None:
        user = self.user(step.who, step.site)
        channel, stamp = self.house.newest_of(user, words)
        await self.house.server.delete(user, channel, stamp)

    async def do_sends(self, step: Step, what: str) -> None:
        await self.do_sends_with(step, what, "")

    async def do_sends_called(self, step: Step, what: str, title: str) -> None:
        await self.do_sends_with(step, what, "", title)

    async def do_sends_with(self, step: Step, what: str, words: str, title: str = "") -> None:
        channel, stamp = self.house.thread_of(step.site)
        name, kind = _FILES[what]
        file = {"id": "F00000001", "title": title or name, "name": name, "mimetype": kind}
        user = self.user(step.who, step.site)
        await self.house.server.say(user, channel, words, thread_ts=stamp, files=[file])

    async def do_says_held_up(self, step: Step, words: str) -> None:
        self.house.server.holding = True
        await self.do_says(step, words)
        self.house.server.holding = False

    async def do_brings_held_up(self, step: Step) -> None:
        if not await self.house.server.let_go():
            raise LookupError("nothing was held up")

    async def do_brings_again(self, step: Step) -> None:
        await self.house.bring_again()

    # --- at the contact's page -------------------------------------------------------------

    def _page(self, step: Step) -> Page:
        if step.site not in self.house.pages:
            raise LookupError(f"no link to a page of {step.site} was mailed yet")
        return self.house.pages[step.site]

    async def do_page_opens(self, step: Step) -> None:
        await self._page(step).opens()

    async def do_page_presses(self, step: Step, label: str) -> None:
        await self._page(step).presses(label, self.house.clock.now())

    async def do_page_says(self, step: Step, words: str) -> None:
        await self._page(step).says(words, self.house.clock.now())

    async def do_page_loses(self, step: Step) -> None:
        self._page(step).signal = False

    async def do_page_gets(self, step: Step) -> None:
        await self._page(step).gets_signal(self.house.clock.now())

    async def do_page_shows(self, step: Step, words: str) -> None:
        if not matches(words, self._page(step).text):
            raise AssertionError(f"it shows: {self._page(step).text}")

    async def do_page_hides(self, step: Step, words: str) -> None:
        if matches(words, self._page(step).text):
            raise AssertionError(f"it shows: {self._page(step).text}")

    async def do_desk_rings(self, step: Step, who: str, words: str) -> None:
        await self._next(step, f"phone:{self.user(who, step.site)}", words)

    async def do_desk_reaches(self, step: Step, who: str, words: str) -> None:
        await self._next(step, f"mail:{self.user(who, step.site)}", words)

    async def do_desk_mails(self, step: Step, words: str) -> None:
        await self._next(step, f"mail:{step.site}", words)

    def _asked(self, site: str) -> Seen:
        place = f"site:{site}"
        return next(m for m in reversed(self.house.seen) if m.place == place and m.buttons)

    async def do_puts(self, step: Step, mark: str) -> None:
        asked = self._asked(step.site)
        user = self.user(step.who, step.site)
        await self.house.server.react(user, asked.channel, asked.stamp, mark)

    async def do_takes_off(self, step: Step, mark: str) -> None:
        asked = self._asked(step.site)
        user = self.user(step.who, step.site)
        await self.house.server.unreact(user, asked.channel, asked.stamp, mark)

    async def do_joins(self, step: Step) -> None:
        channel, _ = self.house.thread_of(step.site)
        await self.house.server.join(self.user(step.who, step.site), channel)

    async def do_orders(self, step: Step, words: str) -> None:
        kind = "mirror" if step.site in self.house.pages else "site"
        channel, stamp = self.house.thread_of(step.site, kind)
        user = self.user(step.who, step.site)
        await self.house.server.mention(user, channel, words, thread_ts=stamp)

    async def do_commands(self, step: Step, words: str) -> None:
        user = self.user(step.who, step.site)
        done = await self.house.server.command(user, self.house.channels[0], "/wave", words)
        if not done.ok:
            raise AssertionError(f"the command was answered {done.status} {done.reason}")
        self.house.note_command(user, done.body)

    async def do_presses(self, step: Step, label: str) -> None:
        await self.do_presses_under(step, label, "")

    async def do_presses_under(self, step: Step, label: str, words: str) -> None:
        user = self.user(step.who, step.site)
        thread = "mirror" if step.site in self.house.pages else "site"  # the copy of a page
        own = (f"{thread}:{step.site}", f"alone:{user}", f"to:{user}")
        places = ("team", f"to:{user}") if step.who in TEAM else own
        for message in reversed(self.house.seen):
            actions = [action for text, action in message.buttons if text == label]
            if message.place in places and actions and matches(words, message.text):
                await self._press(user, message, actions[0])
                return
        under = f" under {words!r}" if words else ""
        raise LookupError(f"there is no button {label!r}{under} to press")

    async def _press(self, user: str, message: Seen, action: str) -> None:
        done = await self.house.server.press(user, message.channel, message.stamp, action)
        if self.house.running and not done.ok:
            raise AssertionError(f"the press was answered {done.status} {done.reason}")

    async def do_does_all(self, step: Step, words: str) -> None:
        """The first button of each question, a minute apart, until the desk says the words."""
        place = f"site:{step.site}"
        pressed = ""
        for _ in range(_MOST_MINUTES):
            fresh = [m for m in self.house.seen if m.place == place and not m.claimed]
            for message in fresh:
                message.claimed = True
                if matches(words, message.text):
                    self.newest[step.site] = message
                    self.now = self.house.clock.now()
                    return
            asked = [m for m in self.house.seen if m.place == place and m.buttons]
            if asked and asked[-1].stamp != pressed:
                pressed = asked[-1].stamp
                user = self.user(step.who, step.site)
                await self._press(user, asked[-1], asked[-1].buttons[0][1])
                await self.house.instant()
            await self.house.until(self.house.clock.now() + MINUTE)
        raise AssertionError(f"the desk never said {words!r}")

    async def do_loses_account(self, step: Step) -> None:
        await self.house.server.change_user(self.user(step.who, step.site), deleted=True)

    async def do_gets_account(self, step: Step) -> None:
        await self.house.server.change_user(self.user(step.who, step.site), deleted=False)

    # --- what happens ----------------------------------------------------------------------

    def _serial(self, step: Step, serial: str = "") -> str:
        row = next(row for row in self.house.rows if row.site == step.site)
        return serial or row.units[0].label

    async def do_registers(self, step: Step, serial: str) -> None:
        await self.house.register(self._serial(step, serial))

    async def do_registers_again(self, step: Step) -> None:
        await self.house.register_again(self._serial(step))

    async def do_lost(self, step: Step) -> None:
        await self.house.register(self._serial(step), "lost")

    async def do_reports(self, step: Step, progress: str, message: str) -> None:
        await self.house.report(self._serial(step), progress, message or "")

    async def do_stopped(self, step: Step) -> None:
        await self.house.stop_bot()

    async def do_started(self, step: Step) -> None:
        await self.house.start_bot()

    # --- what the desk says ----------------------------------------------------------------

    async def _next(self, step: Step, place: str, words: str) -> Seen:
        """The next message there, which must come in the minute of the line with these words."""
        until = self.at + (1_000 if step.time.count(":") > 1 else MINUTE)
        meant, before = self._meant(place, words)
        while meant is None and (before is None or place == "team"):
            if not await self.house.step(until):
                break
            meant, before = self._meant(place, words)
        if meant is None:
            instead = f"it said instead: {before.text}" if before else "nothing was said"
            raise AssertionError(instead)
        if not self.at <= meant.at < until:
            raise AssertionError(f"it was said at {self.house.shown(meant.at)}: {meant.text}")
        meant.claimed = True
        return meant

    def _meant(self, place: str, words: str) -> tuple[Seen | None, Seen | None]:
        """The message with these words, and the one that has to be named before any other.

        The team's channel has many threads, side by side: there the order is not looked at.
        """
        waiting = [m for m in self.house.seen if m.place == place and not m.claimed]
        first = next((m for m in waiting if not m.optional), None)
        fits = [m for m in waiting if matches(words, m.text)]
        if place != "team":
            fits = [m for m in fits if m.optional or m is first]
        return next(iter(fits), None), first

    async def do_desk_says(self, step: Step, words: str) -> None:
        message = await self._next(step, f"site:{step.site}", words)
        if message.buttons:
            raise AssertionError(f"it has buttons, so the desk asks: {message.buttons}")

    async def do_desk_asks(self, step: Step, words: str) -> None:
        message = await self._next(step, f"site:{step.site}", words)
        if not message.buttons:
            raise AssertionError("it has no buttons, so the desk says it")
        self.newest[step.site] = message

    async def do_desk_offers(self, step: Step, labels: str) -> None:
        found = [label for label, _ in self.newest[step.site].buttons]
        if found != [label.strip() for label in labels.split("|")]:
            raise AssertionError(f"the buttons are {' | '.join(found)}")

    async def do_desk_calls(self, step: Step, names: str, words: str) -> None:
        message = await self._next(step, "team", words)
        called = {name for name in TEAM if f"@{name} " in message.text}
        if called != set(names.split()):
            raise AssertionError(f"it called {' '.join(sorted(called)) or 'nobody'}")
        if not message.buttons:
            raise AssertionError("a call has a button to take it")

    async def do_desk_tells_team(self, step: Step, words: str) -> None:
        await self._next(step, "team", words)

    async def do_desk_never_tells_team(self, step: Step, words: str) -> None:
        for message in self.house.seen:
            if message.place == "team" and matches(words, message.text):
                raise AssertionError(f"it did at {self.house.shown(message.at)}: {message.text}")

    async def do_desk_said_once(self, step: Step, words: str) -> None:
        said = [m.text for m in self.house.seen if m.place == f"site:{step.site}"]
        times = sum(matches(words, text) for text in said)
        if times != 1:
            raise AssertionError(f"it did so {times} times")

    async def do_desk_tells(self, step: Step, who: str, words: str) -> None:
        await self._next(step, f"to:{self.user(who, step.site)}", words)

    async def do_desk_alone(self, step: Step, who: str, words: str) -> None:
        await self._next(step, f"alone:{self.user(who, step.site)}", words)

    async def do_desk_writes(self, step: Step, words: str) -> None:
        await self._next(step, "channel", words)

    async def do_desk_answers(self, step: Step, who: str, words: str) -> None:
        user = self.user(who, step.site)
        waiting = [c for c in self.house.commands if c.user == user and not c.claimed]
        if not waiting:
            raise AssertionError(f"{who} got no answer to a command")
        waiting[0].claimed = True
        if not matches(words, waiting[0].text):
            raise AssertionError(f"the answer was: {waiting[0].text}")

    async def do_desk_nothing(self, step: Step, until: str) -> None:
        await self._silence(f"site:{step.site}", until)

    async def do_desk_calls_nobody(self, step: Step, until: str) -> None:
        await self._silence("team", until)

    async def _silence(self, place: str, until: str) -> None:
        end = self.house.next_time(until, self.at)
        before = len(self.house.seen)
        await self.house.until(end - 1)
        for message in self.house.seen[before:]:
            if message.place == place and not message.optional:
                shown = self.house.shown(message.at)
                raise AssertionError(f"at {shown} it was said: {message.text}")

    # --- how things stand ------------------------------------------------------------------

    async def _visit(self, site: str) -> Visit:
        subject = of_visit(self.house.rows[0].wave, site)
        visit: Visit = await self.house.bot.desk.state(subject)
        return visit

    async def do_visit_is(self, step: Step, wanted: str) -> None:
        found = state_of(await self._visit(step.site))
        if found != wanted:
            raise AssertionError(f"it is {found}")

    async def do_unit_is(self, step: Step, wanted: str, serial: str) -> None:
        visit = await self._visit(step.site)
        unit = visit.unit(self._serial(step, serial))
        if unit is None:
            raise LookupError(f"{step.site} has no such unit")
        found = {
            "online": unit.online,
            "not online": not unit.online,
            "held": unit.state == "held",
            "recorded": unit.registered_at is not None,
            "marked lost": unit.lost_at is not None,
        }
        if not found[wanted]:
            raise AssertionError(", ".join(name for name, holds in found.items() if holds))

    async def do_wave_is(self, step: Step, wanted: str) -> None:
        wave = await self.house.bot.desk.state(of_wave(self.house.rows[0].wave))
        if wave.held != (wanted == "held"):
            raise AssertionError(f"its holds are {wave.holds}")

    async def do_wave_shows(self, step: Step, words: str) -> None:
        """The pin is renewed once a minute at most: it is looked at when the minute is over."""
        await self.house.until(self.at + MINUTE - 1)
        pins = [self.house.text_of(m) for m in self.house.server.pins(self.house.channels[0])]
        if len(pins) != 1 or not matches(words, pins[0]):
            raise AssertionError(f"pinned is: {pins}")

    async def do_aside_holds(self, step: Step, serial: str) -> None:
        kept = await self.house.bot.desk.state(ASIDE)
        found = [item.serial for item in kept.items] if kept else []
        if serial not in found:
            raise AssertionError(f"it holds {found}")

    # --- nothing may be left out -----------------------------------------------------------

    def _nothing_left_out(self, before: int | None, when: str) -> None:
        limit = None if before is None else before - before % MINUTE
        for message in self.house.seen:
            late = limit is None or message.at < limit
            if late and not message.claimed and not message.optional:
                raise AssertionError(
                    f"before {when} the script leaves out what was said at "
                    f"{self.house.shown(message.at)} ({message.place}): {message.text}"
                )

    def _all_answers_named(self) -> None:
        for answer in self.house.commands:
            if not answer.claimed:
                raise AssertionError(
                    f"the script leaves out the answer to a command: {answer.text}"
                )

    def _report(self, step: Step, error: Exception) -> str:
        said = [f"  {self.house.shown(m.at)} {m.place}: {m.text}" for m in self.house.seen]
        so_far = "\n".join(said[-_SHOWN_BEFORE:])
        return f"{step.where}: {step.line}\n  {error}\nWhat was said so far:\n{so_far}"


def matches(words: str, text: str) -> bool:
    """Whether ``text`` holds the words, in order, with anything where they have ``...``."""
    parts = [re.escape(" ".join(part.split())) for part in words.split("...")]
    return re.search(".*".join(part for part in parts if part), text) is not None
