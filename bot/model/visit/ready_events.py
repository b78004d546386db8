"""What happens to a visit before its evening: what is settled, asked and decided of it."""

from bot.model.event import Event


class DateSet(Event, frozen=True, tag="date_set"):
    """A person gave the visit another date; for the record. Instants in ms UTC."""

    by: str
    before: int
    start: int


ReadyEvent = DateSet
