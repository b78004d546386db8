"""Losing power is a fact: the stage's times begin again; a second time goes to a person."""

from bot.model.visit import event as e
from bot.model.visit.answers import raise_and_say
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn
from bot.model.visit.walk import close_question, load_again

_TWICE = 2


def power_cycled(turn: Turn) -> None:
    """The unit was switched off and on, or lost power."""
    step = current(turn.visit, turn.context.book)
    unit = turn.visit.unit(step.unit)
    if unit is None or unit.state != "powered":
        turn.say("power_noted", key="prompt")
        return
    turn.emit(e.PowerLost(unit.serial))
    close_question(turn, "power lost", done=False, given=False)
    if unit.power_cuts + 1 >= _TWICE:
        raise_and_say(turn, "power_twice", "power_twice")
        return
    load_again(turn, unit.serial)
