"""A site list once read and checked: plain values, nothing of the store or the chat."""

from pydantic import BaseModel, ConfigDict


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid")


class PersonRow(_Row):
    """A contact or deputy. `user` is the chat user id, or what stands in its place for who has
    none (bot.model.people.page_user); `lang` a BCP 47 tag."""

    user: str
    lang: str = "en"
    name: str = ""
    mobile: str = ""
    mail: str = ""


class UnitRow(_Row):
    """One unit. `serial` is in the normal form for comparing, `label` as it is printed."""

    serial: str
    label: str = ""
    model: str = ""
    version: str | None = None


class SiteRow(_Row):
    """One site of one wave.

    `start` and `end` (of the change window) are milliseconds since 1970 UTC; `tz` is an IANA zone
    name; `networks` are CIDR ranges; `depends` is what else hangs on the line; `cables` move to
    the new unit, `checks` are tried in the end; `ready` is what was settled before
    (bot.model.runbook_ready.Item).
    """

    wave: str
    site: str
    name: str = ""
    tz: str
    contact: PersonRow
    deputy: PersonRow | None = None
    phone: str = ""
    address: str = ""
    units: list[UnitRow]
    link_type: str = ""
    circuit: str = ""
    carrier: str = ""
    carrier_fault_line: str = ""
    networks: list[str] = []
    depends: list[str] = []
    cables: list[str] = []
    checks: list[str] = []
    where: str = ""
    access: str = ""
    opening_hours: str = ""
    alarm_hours: str = ""
    vehicle: bool = False
    start: int | None = None
    end: int | None = None
    ready: list[str] = []
