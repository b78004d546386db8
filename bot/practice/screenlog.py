"""What happens in a rehearsal, in short lines: who said or did what, at which site."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import msgspec

from bot.model.subject import parse
from bot.practice import scene
from bot.practice.chatserver import Posted
from bot.practice.chatserver.attempt import Delivery
from bot.practice.house import House
from bot.report.words import unmarked

_MENTION = re.compile(r"<@([UW][A-Z0-9]+)(?:\|[^>]*)?>")
_LINK = re.compile(r"<(https?://[^>|]+)(?:\|[^>]*)?>")
_SPACE = re.compile(r"\s+")
_SAID = 96


class Line(msgspec.Struct, frozen=True):
    """One thing that happened. ``site`` is empty where it belongs to the wave as a whole."""

    at: int
    site: str
    who: str
    said: str

    def __str__(self) -> str:
        return f"{clock(self.at)}  {self.site or 'wave':<15} {self.who}: {shortened(self.said)}"


class Chronicle:
    """Collects lines from the chat, the buttons and commands of people, and the registry.

    ``presses`` are also kept by channel and thread, as (stamp, user, label): a button leaves no
    message, yet a conversation cannot be followed without it.
    """

    def __init__(self, house: House) -> None:
        self._world = house.world
        self._now = house.clock.now
        self.lines: list[Line] = []
        self.presses: dict[tuple[str, str], list[tuple[float, str, str]]] = {}
        self._deliveries = self._registrations = 0
        self._names = {p.user: p.name for p in scene.PEOPLE}
        self._site_of_user: dict[str, str] = {}
        self._site_of_serial: dict[str, str] = {}
        for row in house.rows:
            for person in (row.contact, row.deputy):
                if person is not None:
                    self._names[person.user] = person.name or person.user
                    self._site_of_user[person.user] = row.site
            for unit in row.units:
                self._site_of_serial[unit.label or unit.serial] = row.site
        self._world.seen.append(self._posted)

    def catch_up(self) -> None:
        """Take in what people did and what registered since the last time."""
        deliveries = self._world.server.deliveries
        for delivery in deliveries[self._deliveries :]:
            self._delivered(delivery)
        self._deliveries = len(deliveries)
        answered = self._world.registry.answered
        for _, serial in answered[self._registrations :]:
            site = self._site_of_serial.get(serial, "")
            self._add(site, "registry", f"{serial} has registered")
        self._registrations = len(answered)

    def note(self, who: str, said: str) -> None:
        """Something of no site."""
        self._add("", who, said)

    def plain(self, text: str) -> str:
        """A message as one line: people by name, no marks of the chat's own notation."""
        named = _MENTION.sub(lambda found: self.name(found[1]), text)
        return unmarked(_SPACE.sub(" ", _LINK.sub(r"\1", named)).strip())

    def name(self, user: str) -> str:
        return self._names.get(user, user)

    # --- the desk --------------------------------------------------------------------------

    def _posted(self, posted: Posted) -> None:
        self.catch_up()  # what came first stands first
        if posted.kind != "posted":
            return
        mark = posted.message.get("metadata", {}).get("event_payload", {})
        text = self.plain(str(posted.message.get("text", "")))
        thread = str(mark.get("thread", ""))
        self._add(_site(mark), self._speaker(thread), text)

    def _speaker(self, thread: str) -> str:
        kind, _, rest = thread.partition(":")
        if kind == "user":
            return f"desk to {self.name(rest)}"
        return "desk to team" if kind in ("esc", "team") else "desk"

    # --- people ----------------------------------------------------------------------------

    def _delivered(self, delivery: Delivery) -> None:
        body = delivery.payload
        if delivery.attempt:
            return  # the platform sends again what was not acknowledged
        if delivery.kind == "command":
            user = str(body["user_id"])
            self._add("", self.name(user), f"{body['command']} {body['text']}".strip())
        elif delivery.kind == "interactive":
            self._pressed(body)
        else:
            self._said(body.get("event", {}))

    def _pressed(self, body: Mapping[str, Any]) -> None:
        user, action = str(body["user"]["id"]), body["actions"][0]
        label = str(action.get("text", {}).get("text", action["action_id"]))
        message = body.get("message") or {}
        place = (str(body["channel"]["id"]), str(message.get("thread_ts", message.get("ts", ""))))
        said = (float(action["action_ts"]), user, f"[{label}]")
        self.presses.setdefault(place, []).append(said)
        mark = message.get("metadata", {}).get("event_payload", {})
        site = _site(mark) or self._site_of_user.get(user, "")
        self._add(site, self.name(user), f"[{label}]")

    def _said(self, event: Mapping[str, Any]) -> None:
        user = str(event.get("user", ""))
        if event.get("type") != "message" or user == self._world.server.bot_user or not user:
            return
        text = self.plain(str(event.get("text", "")))
        self._add(self._site_of_user.get(user, ""), self.name(user), text)

    def _add(self, site: str, who: str, said: str) -> None:
        self.lines.append(Line(self._now(), site, who, said))


def _site(mark: Mapping[str, Any]) -> str:
    """The site whose visit a message of the desk is about, from the message's own id."""
    try:
        return parse(str(mark.get("id", "")).rsplit(":", 2)[0]).site
    except ValueError:
        return ""


def shortened(text: str, room: int = _SAID) -> str:
    return text if len(text) <= room else f"{text[: room - 1]}…"


def clock(at: int) -> str:
    """Time of day of an instant in UTC, which is what a rehearsal's log counts in."""
    return datetime.fromtimestamp(at / 1000, UTC).strftime("%H:%M:%S")
