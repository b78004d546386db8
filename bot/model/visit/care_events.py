"""What happens to the safety of a visit's people, for the record."""

from typing import TYPE_CHECKING

from msgspec.structs import replace

from bot.model.event import Event

if TYPE_CHECKING:
    from bot.model.visit.state import Visit


class CautionsSaid(Event, frozen=True, tag="cautions_said"):
    stage: str


class DrivingSaid(Event, frozen=True, tag="driving_said"):
    """Somebody of the site drives: they get no message until they say that they stand."""

    by: str
    until: int  # ms: for longer, a person is called


class ParkedSaid(Event, frozen=True, tag="parked_said"):
    by: str


class DrivingTooLong(Event, frozen=True, tag="driving_too_long"):
    """They did not say in time that they stand; a person is called. ``until``: for how long now."""

    until: int


class CompanySaid(Event, frozen=True, tag="company_said"):
    """Whether the contact is alone. ``until`` (ms): the check-in time agreed, if they are."""

    alone: bool
    until: int | None = None


class CheckInMoved(Event, frozen=True, tag="check_in_moved"):
    """They were heard: the next word is expected by ``until`` (ms); none: none any more."""

    until: int | None


class CheckInAsked(Event, frozen=True, tag="check_in_asked"):
    pass


CareEvent = (
    CautionsSaid
    | DrivingSaid
    | ParkedSaid
    | DrivingTooLong
    | CompanySaid
    | CheckInMoved
    | CheckInAsked
)


def apply(visit: "Visit", event: CareEvent, at: int) -> "Visit":
    care = visit.care
    match event:
        case CautionsSaid():
            care = replace(care, said=(*care.said, event.stage))
        case DrivingSaid():
            since = care.driving_since if care.driving_since is not None else at
            care = replace(care, driving_since=since, driving_due=event.until, parked_at=None)
        case ParkedSaid():
            care = replace(care, driving_since=None, driving_due=0, parked_at=at)
        case DrivingTooLong():
            care = replace(care, driving_due=event.until)
        case CompanySaid():
            company = "alone" if event.alone else "others"
            care = replace(care, company=company, check_in=event.until, check_in_asked=False)
        case CheckInMoved():
            care = replace(care, check_in=event.until, check_in_asked=False)
        case CheckInAsked():
            care = replace(care, check_in_asked=True)
    return replace(visit, care=care)
