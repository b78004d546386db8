"""What a site lives on, as its list names it: how each thing is tried, and what to do first."""

from collections.abc import Iterator

from pydantic import Field

from bot.model.runbook_stage import Minutes, Part, Stage

#: The answers to a check; each is a button.
CHECK_ANSWERS = ("works", "broken", "absent")


class SiteCheck(Part):
    """One thing that many sites live on. A site list may name others: they are asked about too."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    names: dict[str, tuple[str, ...]] = Field(
        min_length=1,
        description="per language: what it is called to the contact, then other names that a "
        "site list may use for it",
    )
    text: str | None = Field(default=None, description="catalogue key, where not the ask's own")
    try_first: str | None = Field(
        default=None, description="catalogue key: the one simple thing to try before a call"
    )
    wait: Minutes = Field(default=2, description="how long what is tried takes by itself")


def check_of(checks: tuple[SiteCheck, ...], item: str) -> SiteCheck | None:
    """The runbook's entry for what a site list calls ``item``; ``None`` for anything else."""
    wanted = item.casefold()
    for check in checks:
        names = (name for listed in check.names.values() for name in listed)
        if wanted == check.id or any(wanted == name.casefold() for name in names):
            return check
    return None


def called(checks: tuple[SiteCheck, ...], item: str, lang: str) -> str:
    """What the contact is told instead of the list's word, where the runbook knows one."""
    check = check_of(checks, item)
    names = check.names.get(lang) or check.names.get("en") if check is not None else None
    return names[0] if names else item


def problems(
    stages: tuple[Stage, ...], checks: tuple[SiteCheck, ...], back: tuple[Stage, ...] = ()
) -> Iterator[str]:
    """What a schema cannot say, of the way there and the way ``back``; one sentence each."""
    for stage in back:
        if stage.each and (stage.each != "cables" or stage.scope == "unit"):
            yield f"back_out: stage {stage.id}: each is for cables, and no scope unit"
    units = [i for i, stage in enumerate(stages) if stage.scope == "unit"]
    for number, stage in enumerate(stages):
        if stage.each and stage.scope == "unit":
            yield f"stage {stage.id}: each and scope unit do not go together"
        kinds = {ask.kind for ask in stage.asks}
        if ("check" in kinds) != (stage.each == "checks"):
            yield f"stage {stage.id}: asks of kind check go with each: checks, and only there"
        if stage.each == "checks" and kinds != {"check"}:
            yield f"stage {stage.id}: each: checks takes asks of kind check alone"
        if stage.each == "checks" and units and number < units[-1]:
            yield f"stage {stage.id}: what the site lives on is checked after the units"
    if sum(stage.each == "checks" for stage in stages) > 1:
        yield "only one stage has each: checks"
    ids = [check.id for check in checks]
    if len(set(ids)) != len(ids):
        yield "checks: two have the same id"
    for check in checks:
        if not all(check.names.values()):
            yield f"checks: {check.id}: a language has no name"
