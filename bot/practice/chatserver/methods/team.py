"""auth.test, team.info, api.test.

Source: https://docs.slack.dev/reference/methods/auth.test, team.info and api.test.
"""

from bot.practice.chatserver.answers import Json, Refused
from bot.practice.chatserver.methods.call import Call


def api_test(call: Call) -> Json:
    if call.args.has("error"):
        raise Refused(call.args.text("error"), args=dict(call.args.values))
    return {"ok": True, "args": dict(call.args.values)}


def auth_test(call: Call) -> Json:
    workspace = call.workspace
    return {
        "ok": True,
        "url": f"https://{workspace.team_domain}.example.org/",
        "team": workspace.team_name,
        "user": workspace.bot_name,
        "team_id": workspace.team_id,
        "user_id": workspace.bot_user,
        "bot_id": workspace.bot_id,
        "is_enterprise_install": False,
    }


def info(call: Call) -> Json:
    workspace = call.workspace
    wanted = call.args.text("team", workspace.team_id)
    if wanted != workspace.team_id:
        raise Refused("team_not_found")
    team = {
        "id": workspace.team_id,
        "name": workspace.team_name,
        "domain": workspace.team_domain,
        "email_domain": "example.org",
    }
    return {"ok": True, "team": team}
