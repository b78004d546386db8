"""What a page shows at one moment: what was said, and what is open."""

import re
from dataclasses import dataclass

from bot.model.message import Button, Message
from bot.model.people import BY_PAGE
from bot.model.visit.state import Visit
from bot.store.pagelog import in_order
from bot.store.store import Store

#: Messages shown, the newest; a whole evening has about fifty.
SHOWN = 40
#: Messages looked at that are on their way to the page; the sender takes them within a moment.
_ON_THEIR_WAY = 400
#: How many of the desk's last messages stand under *Now*.
_NEWEST = 4
_OWN = frozenset({"page_said", "page_pressed", "page_photo_sent"})
_QUESTION = re.compile(r"q\d+")


@dataclass(frozen=True)
class View:
    """``now``: what was said since the contact did something, what is open last."""

    visit: Visit
    now: tuple[Message, ...]
    earlier: tuple[Message, ...]  # the oldest first
    waiting: bool  # they were heard, and no answer has come yet

    def buttons(self, message: Message) -> list[Button]:
        """Those of its buttons that may be pressed now."""
        return [button for button in message.buttons if is_live(button, self.visit)]

    @property
    def all(self) -> tuple[Message, ...]:
        return (*self.earlier, *self.now)

    @property
    def mark(self) -> str:
        """Changes when there is something new to see."""
        shown = ",".join(m.id.rpartition("/v:")[2] for m in self.now)
        live = ",".join(b.action for m in self.now for b in self.buttons(m))
        return f"{len(self.earlier)};{shown};{live};{self.visit.page.generation}"

    def had(self, action: str) -> bool:
        """Whether there is or was a button that does this."""
        return any(b.action == action for m in self.all for b in m.buttons)

    def shows(self, question: str) -> bool:
        """Whether the message of a question is to be seen."""
        return any(m.id in (question, f"{question}p") for m in self.all)


async def look(store: Store, visit: Visit) -> View:
    """Also what is still on its way to the page. Raises ``StoreError``."""
    home = f"w:{visit.wave}"
    stands = {m.id: m for m in await store.page_read(home, visit.id)}
    for queued in await store.unsent(home, f"{BY_PAGE}{visit.id}", _ON_THEIR_WAY):
        stands.setdefault(queued.message.id, queued.message)
    return view_of(visit, in_order(list(stands.values())))


def view_of(visit: Visit, messages: list[Message]) -> View:
    mine = max((n for n, m in enumerate(messages) if m.template in _OWN), default=-1)
    fresh = messages[mine + 1 :][-_NEWEST:]
    asked = _asked(visit, messages)
    now = [*(m for m in fresh if m not in asked), *asked]
    earlier = [m for m in messages if m not in now][-SHOWN:]
    return View(visit, tuple(now), tuple(earlier), waiting=mine >= 0 and not fresh)


def _asked(visit: Visit, messages: list[Message]) -> list[Message]:
    """The newest message of the open question, and after it the newest other that has buttons."""
    found: list[Message] = []
    for message in reversed(messages):
        live = [b.action for b in message.buttons if is_live(b, visit)]
        if any(_of_question(action) for action in live):
            return [message, *found]
        if live and not found:
            found = [message]
    return found


def _of_question(action: str) -> bool:
    return _QUESTION.fullmatch(_name(action)) is not None


def _name(action: str) -> str:
    return [*action.split(":"), ""][1]


def is_live(button: Button, visit: Visit) -> bool:
    """Whether a button is of what is open. After a stop, no question is, but about the danger."""
    name = _name(button.action)
    if visit.danger_ask is not None:
        return name == visit.danger_ask.id
    if visit.stopped_at is not None:
        return name == "stopped"
    if _of_question(button.action):
        return visit.question is not None and name == visit.question.id
    return name != "stopped"
