"""What a site's people found when they tried what the site lives on; and when the watch began."""

from typing import Literal

import msgspec

#: ``works`` and ``absent`` (there is none) pass; ``broken`` is called for.
Found = Literal["works", "broken", "absent"]


class Course(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """Part of a visit. Instants are milliseconds of wave time."""

    found: tuple[tuple[str, Found], ...] = ()  # by item of the site list, as said last
    vouched: tuple[str, ...] = ()  # items that a person of the team says are right
    watched_at: int | None = None  # since when nobody is asked any more

    def of(self, item: str) -> Found | None:
        """What was found last; ``None`` while it was not tried."""
        return dict(self.found).get(item)

    @property
    def broken(self) -> tuple[str, ...]:
        """What did not work when it was tried last."""
        return tuple(item for item, found in self.found if found == "broken")

    def passed(self, item: str) -> bool:
        return item in self.vouched or self.of(item) in ("works", "absent")
