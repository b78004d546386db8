"""A wave and a visit in a few plain lines, for the chat command and the terminal."""

from bot.model.board import Board, late_by, state_of
from bot.model.policy import MINUTE
from bot.model.visit.state import Visit
from bot.model.wave.decide import pin_args
from bot.model.wave.state import Wave
from bot.speak.catalogue import Texts


def board_lines(wave: Wave | None, board: Board, texts: Texts) -> list[str]:
    """The summary that is also pinned, and each open call and late site on a line."""
    if wave is None:
        return [texts.say("command_no_wave", {"command": ""})]
    lines = texts.say("pin", pin_args(wave, board)).split("\n")
    for late in board.late:
        stage = texts.say(f"stage_{late.stage}", {}) if late.stage else ""
        by = str(late.by)
        lines.append(texts.say("status_late", {"site": late.name, "stage": stage, "by": by}))
    for call in board.calls:
        args = {
            "site": call.name,
            "cause": texts.say(f"cause_{call.cause}", {}),
            "severity": texts.say(f"severity_{call.severity}", {}),
            "operator": call.operator,
            "minutes": str(board.at - call.raised_at),
        }
        lines.append(texts.say("status_call", args))
    return lines


def visit_lines(visit: Visit, at: int, texts: Texts) -> list[str]:
    """One site: its state, its units, the open question, the open calls."""
    question = visit.question
    args = {
        "site": visit.site.name,
        "state": state_of(visit),
        "start": str(visit.start),
        "stage": texts.say(f"stage_{question.stage}", {}) if question else texts.say("none", {}),
        "late": str(late_by(visit, at) // MINUTE),
    }
    lines = [texts.say("status_site", args, visit.site.tz)]
    for unit in visit.units:
        lines.append(
            texts.say(
                "status_unit",
                {"unit": f"{unit.model} {unit.serial}", "state": unit.state},
                visit.site.tz,
            )
        )
    for call in visit.open_calls:
        lines.append(
            texts.say(
                "status_call",
                {
                    "site": visit.site.name,
                    "cause": texts.say(f"cause_{call.cause}", {}),
                    "severity": texts.say(f"severity_{call.severity}", {}),
                    "operator": call.operator,
                    "minutes": str(at - call.raised_at),
                },
            )
        )
    return lines
