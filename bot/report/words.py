"""A wave and a visit in a few plain lines, for the chat command and the terminal."""

from bot.model.board import Board, OpenCall, late_by, state_of
from bot.model.calls.state import Call
from bot.model.policy import MINUTE
from bot.model.roster import Roster
from bot.model.runbook import Runbook
from bot.model.visit.state import Helped, Unit, Visit
from bot.model.wave.decide import pin_args
from bot.model.wave.state import Wave
from bot.report.back import back_lines
from bot.report.finished import finished_lines
from bot.report.spares import spares_lines
from bot.speak.catalogue import Texts

_TEXT = "@x:"


def board_lines(wave: Wave | None, board: Board, texts: Texts) -> list[str]:
    """The summary that is also pinned, and each open call and late site on a line."""
    if wave is None:
        return [texts.say("command_no_wave", {"command": ""})]
    args = {name: _looked_up(value, texts) for name, value in pin_args(wave, board).items()}
    lines = texts.say("pin", args).split("\n")
    for late in board.late:
        stage = texts.say(f"stage_{late.stage}", {}) if late.stage else ""
        by = str(late.by)
        lines.append(texts.say("status_late", {"site": late.name, "stage": stage, "by": by}))
    lines += [_call_line(call.name, call, board.at, texts) for call in board.calls]
    for one in board.undated:
        args = {"site": one.name, "since": str(one.since)}
        lines.append(
            texts.say("status_no_date" if one.backed_out else "status_put_off", args, one.tz)
        )
    return lines


def _looked_up(value: str, texts: Texts) -> str:
    """An argument that names another text of the catalogue, as a message's would be resolved."""
    return texts.say(value.removeprefix(_TEXT), {}) if value.startswith(_TEXT) else value


def visit_lines(
    visit: Visit, at: int, texts: Texts, book: Runbook, roster: Roster | None = None
) -> list[str]:
    """One site: its state and units, what makes it done, what is open, who took over."""
    question = visit.question
    args = {
        "site": visit.site.name,
        "state": state_of(visit),
        "start": str(visit.start),
        "stage": texts.say(f"stage_{question.stage}", {}) if question else texts.say("none", {}),
        "late": str(late_by(visit, at) // MINUTE),
    }
    lines = [texts.say("status_site", args, visit.site.tz)]
    lines += [_unit_line(unit, texts) for unit in visit.units]
    lines += back_lines(visit, texts, roster)
    lines += finished_lines(visit, at, texts, book)
    lines += spares_lines(visit, texts, roster)
    lines += [_call_line(visit.site.name, call, at, texts) for call in visit.open_calls]
    lines += [_helped_line(visit, helped, texts, roster) for helped in visit.helped]
    return lines


def _helped_line(visit: Visit, helped: Helped, texts: Texts, roster: Roster | None) -> str:
    """When a person of the team had the conversation, by the site's clock."""
    staff = roster.find(helped.by) if roster is not None else None
    args = {"who": staff.name if staff else helped.by, "since": str(helped.since)}
    if helped.until is None:
        return texts.say("status_helping", args, visit.site.tz)
    return texts.say("status_helped", args | {"until": str(helped.until)}, visit.site.tz)


def _unit_line(unit: Unit, texts: Texts) -> str:
    args = {"unit": f"{unit.model} {unit.serial}", "state": unit.state}
    return texts.say("status_unit", args)


def _call_line(site: str, call: Call | OpenCall, at: int, texts: Texts) -> str:
    args = {
        "site": site,
        "cause": texts.say(f"cause_{call.cause}", {}),
        "severity": texts.say(f"severity_{call.severity}", {}),
        "operator": call.operator,
        "minutes": str(at - call.raised_at),
    }
    return texts.say("status_call", args)


def unmarked(text: str) -> str:
    """Without the asterisks and grave accents that the chat shows as type."""
    return text.replace("*", "").replace("`", "")
