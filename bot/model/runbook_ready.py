"""The runbook's section ``ready``: what must be settled at a site before its evening begins."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from bot.model.runbook_stage import Minutes, Part

Item = Literal[
    "carton",  # it has come, and looks unharmed from outside
    "label",  # its serial is the right one, as read from the carton
    "line",  # the new line was tested live
    "registry",  # the registry knows the serial
    "contact",  # will be there, and may be telephoned
    "deputy",  # will stand in
    "consent",  # the evening suits
    "oncall",  # somebody on call can be reached at the start
]
#: What the people of the site are asked about; the rest the team or the site list settles.
ASKED: tuple[Item, ...] = ("carton", "label", "contact")
ReadyOwner = Literal["contact", "deputy", "admin", "oncall", "carrier"]
Days = Annotated[float, Field(ge=0, le=60)]


class ReadyItem(Part):
    """One thing that must be settled, who sees to it, and by when."""

    id: Item
    owner: ReadyOwner
    days: Days = Field(default=1, description="so many days before the start it is due")


class ReadySection(Part):
    """What must be settled before a site may begin; a site where it is not gets another date."""

    items: tuple[ReadyItem, ...] = Field(min_length=1, description="in the order of asking")
    ask_days: Days = Field(default=5, description="the site is asked from so many days before")
    first_ask: Minutes = Field(default=60, description="after the yes to the invitation")
    between: Minutes = Field(default=60, description="from one answer to the next ask")
    remind: Minutes = Field(default=24 * 60, description="asked once more after so long")
    answer_within: Minutes = Field(
        default=2 * 24 * 60, description="then it is the admin's; the team is told"
    )
    tell_team: Minutes = Field(
        default=24 * 60, description="so long before the start the team gets the site's line"
    )
    tell_contact: Minutes = Field(
        default=4 * 60, description="so long before the start the contact hears that it is put off"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        ids = [item.id for item in self.items]
        if len(set(ids)) != len(ids):
            raise ValueError("ready: an item is named twice")
        if self.answer_within < self.remind:
            raise ValueError("ready: answer_within is shorter than remind")
        return self

    def item(self, name: str) -> ReadyItem | None:
        return next((item for item in self.items if item.id == name), None)
