"""A contact ahead of the conversation: noted and told so kindly; the order of safety stays.

What was seen ahead is used when we get there: a unit that is on already is not asked to be
switched on, and its times count from when it was said. The checks before are asked all the same.
"""

from bot.model.reading import Reading
from bot.model.visit import event as e
from bot.model.visit.asks import prompt
from bot.model.visit.state import Question, Unit
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn


def lit(reading: Reading) -> bool:
    """Whether a light is said to be on, whatever it shows."""
    light = reading.light
    if reading.kind != "light" or reading.value or light is None or light.mode == "off":
        return False  # none was described, or it is another light
    return light.colour is not None or bool(light.colours) or light.blinking


def shows_power(turn: Turn, question: Question, reading: Reading) -> bool:
    """Whether the light proves the step that is asked for: the power is on."""
    stage = current(turn.visit, turn.context.book).stage
    unit = turn.visit.unit(question.unit)
    off = unit is not None and unit.state != "powered"
    return off and question.kind == "confirm" and stage.powered and lit(reading)


def noted(turn: Turn, question: Question, reading: Reading) -> bool:
    """Note a unit that is on before we asked for it; false when there is nothing to note."""
    unit = _unit(turn)
    if not lit(reading) or unit is None or question.kind == "light":
        return False
    if unit.serial not in dict(turn.visit.ahead):
        turn.emit(e.Ahead(unit.serial))
    if reading.pattern:
        turn.emit(e.LightSeen(reading.pattern))
    said = turn.visit.replied
    if turn.asked_now(question.message):  # it is on its way, and says so itself
        turn.reword(question.message, "ahead")
        return True
    prompt(turn, question, "ahead" if said != "ahead" else question.nudge)
    return True


def _unit(turn: Turn) -> Unit | None:
    """The unit the walk is at, or the only one that is left; ``None`` when it is on already."""
    visit = turn.visit
    unit = visit.unit(current(visit, turn.context.book).unit)
    left = [u for u in visit.units if u.registered_at is None]
    if unit is None and len(left) == 1:
        unit = left[0]
    if unit is None or unit.registered_at is not None or unit.state == "powered":
        return None
    return unit
