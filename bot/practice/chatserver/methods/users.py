"""users.*

Source: https://docs.slack.dev/reference/methods/users.info and users.list, and
https://docs.slack.dev/reference/objects/user-object for the fields.
"""

import datetime
import zoneinfo

from bot.practice.chatserver.answers import Json
from bot.practice.chatserver.methods.call import Call, cursor_at
from bot.practice.chatserver.state import User, Workspace


def describe(workspace: Workspace, user: User, *, locale: bool = False) -> Json:
    """The user object; a disabled account shows less."""
    profile = {
        "real_name": user.name,
        "real_name_normalized": user.name,
        "display_name": user.name,
        "display_name_normalized": user.name,
        "team": workspace.team_id,
    }
    shown: Json = {
        "id": user.id,
        "team_id": workspace.team_id,
        "name": user.name.lower().replace(" ", "."),
        "deleted": user.deleted,
        "profile": profile,
        "is_bot": user.is_bot,
        "is_app_user": False,
        "updated": user.updated,
    }
    if user.deleted:
        return shown
    shown |= {
        "real_name": user.name,
        "tz": user.tz,
        "tz_label": user.tz,
        "tz_offset": _offset(user.tz, workspace.clock()),
        "is_admin": False,
        "is_owner": False,
        "is_primary_owner": False,
        "is_restricted": False,
        "is_ultra_restricted": False,
    }
    return {**shown, "locale": user.locale} if locale else shown


def _offset(zone: str, now: int) -> int:
    """Seconds east of UTC at the instant `now` (ms)."""
    moment = datetime.datetime.fromtimestamp(now / 1000, zoneinfo.ZoneInfo(zone))
    offset = moment.utcoffset()
    return int(offset.total_seconds()) if offset is not None else 0


def info(call: Call) -> Json:
    user = call.workspace.user(call.args.text("user"))
    shown = describe(call.workspace, user, locale=call.args.flag("include_locale"))
    return {"ok": True, "user": shown}


def list_all(call: Call) -> Json:
    everyone = list(call.workspace.users.values())
    offset, limit = call.page(default=1000, most=1000)
    end = min(len(everyone), offset + limit)
    locale = call.args.flag("include_locale")
    shown = [describe(call.workspace, user, locale=locale) for user in everyone[offset:end]]
    cursor = cursor_at(end) if end < len(everyone) else ""
    return {
        "ok": True,
        "members": shown,
        "cache_ts": call.workspace.clock() // 1000,
        "response_metadata": {"next_cursor": cursor},
    }
