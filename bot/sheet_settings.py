"""Settings of the printed sheets of sites."""

from pydantic import Field

from bot.intake_settings import Part

_NUMBER = r"^$|^[0-9 +()/-]{2,40}$"


class SheetSettings(Part):
    team_phone: str = Field(
        default="", pattern=_NUMBER, description="the number that contacts call; yours"
    )
    emergency: str = Field(
        default="112", pattern=r"^[0-9 /]{2,20}$", description="the emergency services' number"
    )
