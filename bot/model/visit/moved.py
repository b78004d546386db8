"""Units a person gives to this visit: a serial assigned to it, or two boxes that were swapped.

Both sides hear of a swap and neither must be first: what one knows of the unit it gives away goes
to the other, which swaps at once if it has not done so yet.
"""

from bot.model.fact import Told
from bot.model.serial import normal
from bot.model.subject import ASIDE, parse
from bot.model.visit import event as e
from bot.model.visit.registering import find_unit, online
from bot.model.visit.state import Unit
from bot.model.visit.turn import Turn


def assigned(turn: Turn, fact: Told) -> None:
    """The unit ``serial`` stands where ``instead`` was expected; it has registered."""
    serial, instead = fact.args["serial"], fact.args["instead"]
    unit = find_unit(turn.visit, serial)
    if turn.visit.spares.withdraws(serial):
        _not_done(turn, serial)
        return
    if unit is None:
        unit = _replace(turn, instead, serial, "", fact.args["by"])
    if unit is None:
        _not_done(turn, serial)
    elif fact.args.get("kind", "registered") == "registered" and not unit.online:
        online(turn, unit, fact.args["source"], {})


def swapped(turn: Turn, fact: Told) -> None:
    """This visit gives ``give`` to ``other`` and takes ``take``."""
    give, take = fact.args["give"], fact.args["take"]
    if find_unit(turn.visit, take) is not None or turn.visit.spares.withdraws(take):
        turn.answer = "nothing"  # what the other side knew came first, and did it
        return
    before = find_unit(turn.visit, give)
    if before is None:
        _not_done(turn, give)
        return
    _swap(turn, before, take, fact.args)


def arrives(turn: Turn, fact: Told) -> None:
    """What the other side knew of the unit ``take``: it had registered there."""
    args = fact.args
    unit = find_unit(turn.visit, args["take"])
    if unit is None:
        before = find_unit(turn.visit, args["give"])
        unit = None if before is None else _swap(turn, before, args["take"], args)
    if unit is None:
        _not_done(turn, args["take"])
    elif not unit.online:
        online(turn, unit, args["source"], {})


def _swap(turn: Turn, before: Unit, take: str, args: dict[str, str]) -> Unit | None:
    after = _replace(turn, before.serial, take, args.get("model", ""), args["by"])
    if before.online:
        turn.tell(
            parse(args["other"]),
            "arrives",
            give=take,
            take=before.serial,
            model=before.model,
            other=str(turn.fact.subject),
            by=args["by"],
            source=args["source"],
        )
    return after


def _replace(turn: Turn, old: str, new: str, model: str, by: str) -> Unit | None:
    unit = find_unit(turn.visit, old)
    if unit is None:
        return None
    turn.emit(e.UnitReplaced(unit.serial, new, by, model))
    turn.index("serial", normal(new))
    if unit.registered_at is not None:  # the walk is past it: should the new one never register,
        # it is called for all the same
        turn.emit(e.UnitWatched(new, turn.at + turn.context.policy.watch))
    return find_unit(turn.visit, new)


def _not_done(turn: Turn, serial: str) -> None:
    turn.answer = "nothing"
    turn.tell(ASIDE, "not_done", serial=serial, site=turn.visit.site.name)
