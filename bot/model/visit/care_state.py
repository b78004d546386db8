"""What the visit knows of the safety of its people: cautions said, driving, being alone."""

from typing import Literal

import msgspec


class Care(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """Instants in ms of wave time."""

    said: tuple[str, ...] = ()  # stages whose cautions were said
    parked_at: int | None = None  # a mobile branch: when they said that it stands
    driving_since: int | None = None  # they said that they drive: nothing is sent
    driving_due: int = 0  # when that has lasted so long that a person is called
    company: Literal["", "others", "alone"] = ""  # who is with the contact, as far as they said
    check_in: int | None = None  # by when somebody who is alone wants to have written
    check_in_asked: bool = False  # reminded of it


NO_CARE = Care()
