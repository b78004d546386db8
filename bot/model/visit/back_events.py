"""What can happen on the way back, and the visit it makes of it."""

from msgspec.structs import replace

from bot.model.event import Event
from bot.model.visit.back_state import Back
from bot.model.visit.state import Visit


class BackAsked(Event, frozen=True, tag="back_asked"):
    """On-call is asked, by this call, to go on or back out until ``latest``."""

    call: str
    latest: int


class BackLate(Event, frozen=True, tag="back_late"):
    """The latest time passed and nobody decided."""


class GoneOn(Event, frozen=True, tag="gone_on"):
    """A person goes on, until then or, without a time, at their own risk."""

    by: str
    until: int | None = None


class BackBegun(Event, frozen=True, tag="back_begun"):
    """The site is walked back. ``by`` is empty where nobody decided and the runbook says so."""

    by: str
    why: str


class BackLeft(Event, frozen=True, tag="back_left"):
    """A person goes on after all, from this step of the usual walk."""

    by: str
    step: int
    ask: int


class BackFailed(Event, frozen=True, tag="back_failed"):
    """The old unit does not work, the site says."""


class OldWorks(Event, frozen=True, tag="old_works"):
    """Backed out: the old unit works, or service was never interrupted."""

    by: str
    why: str


class LineWatched(Event, frozen=True, tag="line_watched"):
    """A site without its line whose visit is not under way is looked at again at ``until``."""

    until: int | None


class LineVouched(Event, frozen=True, tag="line_vouched"):
    """A person says that the site has service again."""

    by: str


BackEvent = (
    BackAsked
    | BackLate
    | GoneOn
    | BackBegun
    | BackLeft
    | BackFailed
    | OldWorks
    | LineWatched
    | LineVouched
)


def apply(visit: Visit, event: BackEvent, at: int) -> Visit:
    match event:
        case BackBegun():
            return _begun(visit, event, at)
        case BackLeft():
            return _left(visit, event)
        case OldWorks():
            return _backed_out(visit, event, at)
        case LineVouched():
            return replace(visit, link_down_at=None, link_late=False)
    return replace(visit, back=_back(visit.back, event, at))


def _back(back: Back, event: BackEvent, at: int) -> Back:
    match event:
        case BackAsked():
            return replace(
                back, call=event.call, latest=event.latest, late=False, decided="", until=None
            )
        case BackLate():
            return replace(back, late=True)
        case GoneOn():
            return replace(back, decided="go_on", by=event.by, until=event.until)
        case BackFailed():
            return replace(back, failed_at=at)
        case LineWatched():
            return replace(back, watch_at=event.until)
    raise LookupError(f"no rule for {type(event).__name__}")


def _quiet(visit: Visit) -> Visit:
    """Nothing is open and nobody but us has the conversation; new units are watched no more."""
    return replace(
        visit,
        question=None,
        given=None,
        paused_until=None,
        waits_hold=False,
        waits_since=None,
        units=tuple(replace(unit, watched_until=None) for unit in visit.units),
    )


def _begun(visit: Visit, event: BackBegun, at: int) -> Visit:
    back = replace(
        visit.back,
        decided="back_out",
        by=event.by,
        why=event.why,
        walking=True,
        since=at,
        from_step=visit.step,
        from_ask=visit.at_ask,
        failed_at=None,
        done_at=None,
    )
    down = at if visit.link_down_at is None else visit.link_down_at
    return replace(
        _quiet(visit), back=back, state="running", step=0, at_ask=0, link_down_at=down, checks=()
    )


def _left(visit: Visit, event: BackLeft) -> Visit:
    back = replace(visit.back, walking=False, decided="go_on", by=event.by, until=None)
    return replace(_quiet(visit), back=back, step=event.step, at_ask=event.ask, checks=())


def _backed_out(visit: Visit, event: OldWorks, at: int) -> Visit:
    back = replace(
        visit.back, walking=False, decided="back_out", by=event.by, why=event.why, done_at=at
    )
    return replace(
        _quiet(visit),
        back=back,
        state="backed_out",
        step=0,
        at_ask=0,
        link_down_at=None,
        link_late=False,
    )
