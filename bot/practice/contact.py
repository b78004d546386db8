"""A simulated site contact: sees what the bot posts in the thread, and acts after a while."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from bot.practice import words
from bot.practice.agenda import Agenda
from bot.practice.device import Device
from bot.practice.dice import dice
from bot.practice.persona import Persona

SECOND = 1_000
#: The share of things that do not work at first, and of those that do not come back either.
_FAILS, _FAILS_AGAIN = 0.08, 0.3
#: Texts after which the contact looks at the light again when it changes.
_WATCH = {"light_wait", "light_still", "light_too_early", "light_success_wait"}
_LIGHT = {
    "loading",
    "loading_again",
    "registry",
    "registry_after_success",
    "light_after_check",
    "light_again",
    "light_nudge",
    "catch_up",
}


class Chat(Protocol):
    """What a contact can do in the chat."""

    async def say(self, user: str, channel: str, text: str, *, thread_ts: str) -> object: ...
    async def press(self, user: str, channel: str, ts: str, action_id: str) -> object: ...


@dataclass
class Contact:
    """One person at one site. All chance comes from the seed, the site and the occasion."""

    site: str
    user: str
    persona: Persona
    devices: list[Device]
    seed: int
    chat: Chat
    agenda: Agenda
    now: Callable[[], int]
    powered: Callable[[Device], None]
    channel: str = ""
    thread: str = ""
    asked: dict[str, int] = field(default_factory=dict)
    buttons: tuple[str, list[str]] = ("", [])
    done_once: set[str] = field(default_factory=set)

    @property
    def device(self) -> Device:
        """The unit being worked on: the first that has not registered yet."""
        now = self.now()
        waiting = [d for d in self.devices if (r := d.registers_at()) is None or r > now]
        return waiting[0] if waiting else self.devices[-1]

    def sees(self, message: dict[str, Any], channel: str) -> None:
        """A message of the bot appeared in the thread."""
        mark = message.get("metadata", {}).get("event_payload", {})
        template = str(mark.get("template", ""))
        self.channel, self.thread = channel, str(message.get("thread_ts") or message["ts"])
        offered = _actions(message)
        if any(a.startswith(("a:", "m:")) for a in offered):
            self.buttons = (str(message["ts"]), offered)
        self.asked[template] = self.asked.get(template, 0) + 1
        self._react(template)

    # --- reacting ------------------------------------------------------------------------

    def _react(self, template: str) -> None:
        habit = self.persona.habit
        if habit == "silent" and template != "invite":
            return
        if habit == "refuses" and template == "invite":
            self._later(20, 90, lambda: self._answer("no"))
        elif template in _LIGHT:
            if not self._special_light(template) and habit != "wordless":
                self._later(25, 70, self._report_light)
        elif template in _WATCH:
            if habit != "wordless":
                self._watch()
        else:
            self._step(template, habit)

    def _special_light(self, template: str) -> bool:
        """What some people do once while the unit loads."""
        habit = self.persona.habit
        if template != "loading" or habit in self.done_once:
            return False
        if habit == "danger":
            self._once(habit, 60, lambda: self._type(words.SMOKE))
        elif habit == "power_cut":
            self._once(habit, 180, self._cut_power)
        elif habit == "wants_help":
            self._once(habit, 90, lambda: self._type(words.HELP))
        else:
            return False
        return True

    def _step(self, template: str, habit: str) -> None:
        if habit == "asks_time" and template == "begin" and habit not in self.done_once:
            self._once(habit, 40, lambda: self._type(words.MORE_TIME))
        elif habit == "no_signal" and template == "mobile_data":
            self._later(30, 60, lambda: self._answer("no_signal"))
        elif habit == "no_signal" and template == "callback":
            self._later(40, 80, lambda: self._type(words.CALLBACK))
        elif habit == "wrong_unit" and template == "serial":
            self._later(40, 80, lambda: self._answer("different"))
        elif habit == "wrong_unit" and template in ("serial_type", "serial_again"):
            self._later(30, 60, lambda: self._type(words.WRONG_SERIAL))
        elif habit == "no_lead" and template == "lead":
            self._later(30, 60, lambda: self._answer("lead_missing"))
        elif habit == "stops" and template == "place":
            self._once(habit, 60, lambda: self._type(words.STOP))
        else:
            self._usual(template)

    def _tries(self, template: str) -> bool:
        """Tries one of the site's things; few fail, and most of those come back by themselves."""
        first = template.startswith("check_") and template != "check_nudge"
        if not first and not template.startswith("cure_"):
            return False
        chance = self._chance(f"try:{template}").random()
        value = "broken" if chance < (_FAILS if first else _FAILS_AGAIN) else "works"
        soonest, latest = (30, 100) if first else (130, 240)
        self._later(soonest, latest, lambda: self._answer(value))
        return True

    def _usual(self, template: str) -> None:
        if self._tries(template):
            return
        answers: dict[str, tuple[int, int, str]] = {
            "invite": (60, 600, "yes"),
            "ready_carton": (30, 90, "carton_fine"),
            "ready_label": (20, 60, "same"),
            "ready_contact": (20, 60, "contact_yes"),
            "begin": (20, 120, "here"),
            "begin_nudge": (20, 60, "here"),
            "mobile_data": (30, 90, "done"),
            "unpack": (90, 240, "done"),
            "serial": (30, 90, "same"),
            "read_version": (30, 60, ""),
            "lead": (20, 60, "lead_one"),
            "old_photo": (60, 180, "done"),
            "old_plug": (60, 180, "done"),
            "tag_cable": (40, 120, "done"),
            "unplug_old": (30, 90, "done"),
            "move_cable": (40, 120, "done"),
            "place": (90, 240, "done"),
            "cable": (60, 180, "done"),
            "power": (30, 90, "done"),
            "power_check": (30, 60, "done"),
            "reseat": (40, 120, "done"),
            "tidy": (60, 200, "done"),
            "over": (30, 60, "go_on"),
            "parked": (20, 90, "parked"),
            "morning": (60, 1200, "all_works"),
            "back_unplug": (30, 90, "done"),
            "back_cable": (60, 180, "done"),
            "back_power": (240, 360, "done"),
            "back_works": (60, 180, "old_works"),
            "old_again": (300, 600, "old_works"),
        }
        if template not in answers:
            return
        soonest, latest, answer = answers[template]
        if template == "power":
            self._later(soonest, latest, self._power)
        elif template == "back_unplug":
            self._later(soonest, latest, self._unplug)
        elif template == "reseat":
            self._later(soonest, latest, self._reseat)
        elif template == "read_version":
            self._later(soonest, latest, lambda: self._type("4.6.0"))
        else:
            self._later(soonest, latest, lambda: self._answer(answer))

    # --- doing ---------------------------------------------------------------------------

    async def _power(self) -> None:
        self.device.power_on(self.now())
        self.powered(self.device)
        await self._answer("done")

    async def _unplug(self) -> None:
        self.device.power_off()
        await self._answer("done")

    async def _reseat(self) -> None:
        self.device.press_cable(self.now())
        self.powered(self.device)
        await self._answer("done")

    async def _cut_power(self) -> None:
        self.device.power_on(self.now())
        self.powered(self.device)
        await self._type(words.POWER_CUT)

    async def _report_light(self) -> None:
        await self._answer(f"light:{self.device.light(self.now())}")

    def _watch(self) -> None:
        """Look again when the light changes; a person sees that a little later."""
        change = self.device.next_change(self.now())
        if change is None:
            return
        late = self._chance("watch").randrange(15, 75) * SECOND
        shown = self.device.light(change)
        self.agenda.add(change + late, self.site, lambda: self._if_still(shown))

    async def _if_still(self, shown: str) -> None:
        if (self.device.light(self.now()) == shown and shown != "registered") or (
            shown == "registered" and self.device.flaw == "not_in_registry"
        ):
            await self._report_light()

    async def _answer(self, value: str) -> None:
        """By the button, or in words where this person types."""
        stamp, offered = self.buttons
        action = next((a for a in offered if a.split(":", 2)[2:] == [value]), "")
        chance = self._chance(f"answer:{value}:{self.now()}")
        typed = words.TYPED.get(value)
        if typed and (not action or chance.random() < self.persona.types):
            await self._type(chance.choice(typed))
        elif action:
            await self.chat.press(self.user, self.channel, stamp, action)

    async def _type(self, text: str) -> None:
        await self.chat.say(self.user, self.channel, text, thread_ts=self.thread)

    # --- when ----------------------------------------------------------------------------

    def _later(self, soonest: int, latest: int, doing: Callable[[], Any]) -> None:
        """Between so many seconds from now."""
        wait = self._chance(f"wait:{self.now()}").randrange(soonest, latest) * SECOND
        self.agenda.add(self.now() + wait, self.site, doing)

    def _once(self, what: str, seconds: int, doing: Callable[[], Any]) -> None:
        self.done_once.add(what)
        self.agenda.add(self.now() + seconds * SECOND, self.site, doing)

    def _chance(self, occasion: str) -> Any:
        return dice(self.seed, self.site, occasion, sorted(self.asked.items()))


def _actions(message: dict[str, Any]) -> list[str]:
    return [
        str(element["action_id"])
        for block in message.get("blocks", [])
        if block.get("type") == "actions"
        for element in block["elements"]
    ]
