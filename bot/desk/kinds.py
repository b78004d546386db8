"""One handling for each kind of subject: how it is read, decided, written and counted."""

from typing import Any, Protocol

import msgspec

from bot.model.context import Context
from bot.model.decision import Decision
from bot.model.fact import AnyFact
from bot.model.kept import Kept
from bot.model.kept import decide as decide_kept
from bot.model.rota.decide import deadlines as rota_deadlines
from bot.model.rota.decide import decide as decide_rota
from bot.model.rota.state import SCHEMA as ROTA_SCHEMA
from bot.model.rota.state import Rota
from bot.model.visit.decide import decide as decide_visit
from bot.model.visit.state import SCHEMA as VISIT_SCHEMA
from bot.model.visit.state import Visit
from bot.model.visit.tally import tally
from bot.model.visit.timing import deadlines as visit_deadlines
from bot.model.wave.decide import deadlines as wave_deadlines
from bot.model.wave.decide import decide as decide_wave
from bot.model.wave.state import SCHEMA as WAVE_SCHEMA
from bot.model.wave.state import Wave


class TooNew(Exception):
    """The store holds a snapshot of a later schema than this program knows."""


class Kind(Protocol):
    """What the desk needs to know of a kind of subject."""

    def read(self, body: bytes) -> Any: ...
    def decide(self, state: Any, fact: AnyFact, context: Context) -> Decision[Any] | None: ...
    def deadlines(self, state: Any, context: Context) -> dict[str, int]: ...
    def tally(self, state: Any) -> dict[str, int]: ...


def checked(found: int, known: int, what: str) -> None:
    """Raises ``TooNew`` for what a later version of this program has written."""
    if found > known:
        raise TooNew(
            f"The store holds a {what} of schema {found}, this program knows {known}: "
            "start the newer version again."
        )


class VisitKind:
    _decoder = msgspec.json.Decoder(Visit)

    def read(self, body: bytes) -> Visit | None:
        if not body:
            return None
        visit = self._decoder.decode(body)
        checked(visit.schema, VISIT_SCHEMA, "visit")
        return visit

    def decide(self, state: Visit | None, fact: AnyFact, context: Context) -> Decision[Any] | None:
        return decide_visit(state, fact, context)

    def deadlines(self, state: Visit | None, context: Context) -> dict[str, int]:
        return visit_deadlines(state, context.book, context.policy) if state else {}

    def tally(self, state: Visit | None) -> dict[str, int]:
        return tally(state) if state else {}


class WaveKind:
    _decoder = msgspec.json.Decoder(Wave)

    def read(self, body: bytes) -> Wave | None:
        if not body:
            return None
        wave = self._decoder.decode(body)
        checked(wave.schema, WAVE_SCHEMA, "wave")
        return wave

    def decide(self, state: Wave | None, fact: AnyFact, context: Context) -> Decision[Any] | None:
        return decide_wave(state, fact, context)

    def deadlines(self, state: Wave | None, _context: Context) -> dict[str, int]:
        return wave_deadlines(state) if state else {}

    def tally(self, _state: Wave | None) -> dict[str, int]:
        return {}


class KeptKind:
    """The list of what was kept aside: unknown serials, facts that failed."""

    _decoder = msgspec.json.Decoder(Kept)

    def read(self, body: bytes) -> Kept | None:
        return self._decoder.decode(body) if body else None

    def decide(self, state: Kept | None, fact: AnyFact, context: Context) -> Decision[Any] | None:
        return decide_kept(state, fact, context)

    def deadlines(self, _state: Kept | None, _context: Context) -> dict[str, int]:
        return {}

    def tally(self, state: Kept | None) -> dict[str, int]:
        return {"kept": state.count} if state else {}


class RotaKind:
    """Whose shift it is, and which of their ways were confirmed."""

    _decoder = msgspec.json.Decoder(Rota)

    def read(self, body: bytes) -> Rota | None:
        if not body:
            return None
        rota = self._decoder.decode(body)
        checked(rota.schema, ROTA_SCHEMA, "rota")
        return rota

    def decide(self, state: Rota | None, fact: AnyFact, context: Context) -> Decision[Any] | None:
        return decide_rota(state, fact, context)

    def deadlines(self, state: Rota | None, _context: Context) -> dict[str, int]:
        return rota_deadlines(state) if state else {}

    def tally(self, _state: Rota | None) -> dict[str, int]:
        return {}


KINDS: dict[str, Kind] = {
    "visit": VisitKind(),
    "wave": WaveKind(),
    "aside": KeptKind(),
    "rota": RotaKind(),
}
