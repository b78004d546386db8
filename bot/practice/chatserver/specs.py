"""Which methods there are, with their scopes, rate-limit tier and arguments.

Source: the page of each method, https://docs.slack.dev/reference/methods/METHOD
("Facts", "Arguments"); `tier` 0 is a special limit, None is without limit.
"""

from dataclasses import dataclass

_PAGES = frozenset({"limit", "cursor"})
_TIMES = frozenset({"oldest", "latest", "inclusive", "include_all_metadata"})
_WRITTEN = frozenset(
    {"text", "blocks", "attachments", "markdown_text", "link_names", "parse", "as_user"}
)
_LOOKS = frozenset({"username", "icon_emoji", "icon_url"})
_POSTED = frozenset(
    {"thread_ts", "reply_broadcast", "unfurl_links", "unfurl_media", "mrkdwn", "metadata"}
)


@dataclass(frozen=True)
class Spec:
    """Any one of `scopes` lets the call begin; a channel's kind may narrow it further."""

    scopes: tuple[str, ...]
    tier: int | None
    need: tuple[str, ...] = ()
    may: frozenset[str] = frozenset()

    @property
    def names(self) -> frozenset[str]:
        return self.may | set(self.need) | {"token"}


def _kinds(what: str) -> tuple[str, ...]:
    return tuple(f"{kind}:{what}" for kind in ("channels", "groups", "im", "mpim"))


SPECS: dict[str, Spec] = {
    "api.test": Spec((), None, may=frozenset({"error", "foo"})),
    "auth.test": Spec((), 0),
    "team.info": Spec(("team:read",), 3, may=frozenset({"team", "domain"})),
    "apps.connections.open": Spec((), 3),
    "chat.postMessage": Spec(
        ("chat:write",),
        None,
        ("channel",),
        _WRITTEN | _LOOKS | _POSTED | {"unfurled_attachments", "client_msg_id"},
    ),
    "chat.postEphemeral": Spec(
        ("chat:write",), 4, ("channel", "user"), _WRITTEN | _LOOKS | {"thread_ts"}
    ),
    "chat.update": Spec(
        ("chat:write",),
        3,
        ("channel", "ts"),
        _WRITTEN | {"metadata", "reply_broadcast", "file_ids"},
    ),
    "chat.delete": Spec(("chat:write",), 3, ("channel", "ts"), frozenset({"as_user"})),
    "chat.getPermalink": Spec((), 0, ("channel", "message_ts")),
    "conversations.history": Spec(_kinds("history"), 3, ("channel",), _PAGES | _TIMES),
    "conversations.replies": Spec(_kinds("history"), 3, ("channel", "ts"), _PAGES | _TIMES),
    "conversations.info": Spec(
        _kinds("read"), 3, ("channel",), frozenset({"include_locale", "include_num_members"})
    ),
    "conversations.members": Spec(_kinds("read"), 4, ("channel",), _PAGES),
    "conversations.list": Spec(
        _kinds("read"), 2, (), _PAGES | {"exclude_archived", "types", "team_id"}
    ),
    "conversations.join": Spec(("channels:join",), 3, ("channel",)),
    "conversations.open": Spec(
        ("im:write", "mpim:write"),
        3,
        (),
        frozenset({"channel", "users", "return_im", "prevent_creation"}),
    ),
    "pins.add": Spec(("pins:write",), 2, ("channel",), frozenset({"timestamp"})),
    "pins.remove": Spec(("pins:write",), 2, ("channel",), frozenset({"timestamp"})),
    "pins.list": Spec(("pins:read",), 2, ("channel",)),
    "reactions.add": Spec(("reactions:write",), 3, ("channel", "name", "timestamp")),
    "reactions.remove": Spec(
        ("reactions:write",), 2, ("name",), frozenset({"channel", "timestamp"})
    ),
    "users.info": Spec(("users:read",), 4, ("user",), frozenset({"include_locale"})),
    "users.list": Spec(
        ("users:read",), 2, (), _PAGES | {"include_locale", "team_id", "include_deleted"}
    ),
}

#: Every scope that some method asks for, and posting to public channels unasked.
ALL_SCOPES = frozenset(s for spec in SPECS.values() for s in spec.scopes) | {
    "chat:write.public",
    "chat:write.customize",
    "commands",
    "app_mentions:read",
    "reactions:read",
}
