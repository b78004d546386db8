"""Lines about going back to the old unit: by when, who decided what, and what is still wanted."""

from bot.model.roster import Roster
from bot.model.visit.back_state import Back
from bot.model.visit.state import Visit
from bot.speak.catalogue import Texts


def back_lines(visit: Visit, texts: Texts, roster: Roster | None) -> list[str]:
    """Nothing for a visit that was never on its way back, nor asked about it."""
    back, tz, lines = visit.back, visit.site.tz, []
    if back.latest is not None and not back.decided and not back.out:
        lines.append(texts.say("status_back_by", {"until": str(back.latest)}, tz))
    if back.walking:
        lines.append(texts.say("status_walking_back", _args(back, back.since, texts, roster), tz))
    if back.done_at is not None:
        args = _args(back, back.done_at, texts, roster)
        lines.append(texts.say("status_backed_out", args, tz))
    for before in back.past:
        args = _told(before.at, before.why, before.by, texts, roster)
        lines.append(texts.say("status_backed_out_before", args, tz))
    return lines


def _args(back: Back, since: int | None, texts: Texts, roster: Roster | None) -> dict[str, str]:
    return _told(since or 0, back.why, back.by, texts, roster)


def _told(at: int, why: str, by: str, texts: Texts, roster: Roster | None) -> dict[str, str]:
    staff = roster.find(by) if roster is not None else None
    who = staff.name if staff else by or texts.say("nobody", {})
    return {"since": str(at), "why": texts.say(why, {}), "who": who}
