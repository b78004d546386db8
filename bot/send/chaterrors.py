"""The chat platform's errors, sorted by what has to be done.

Source: "Errors" of https://docs.slack.dev/reference/methods/chat.postMessage, chat.update,
conversations.open, conversations.replies and pins.add. Of ``internal_error`` and
``fatal_error`` they say that some aspect of the operation may have succeeded.
"""

from collections.abc import Mapping
from typing import Any

from slack_sdk.errors import SlackApiError

from bot.send.errors import (
    ChannelAway,
    EditRefused,
    InDoubt,
    MessageRefused,
    Part,
    Passing,
    PersonAway,
    SendError,
    ThreadGone,
)

DEFAULT_PAUSE = 30_000
DONE_ALREADY = frozenset({"already_pinned", "no_pin"})

_EVERYWHERE = frozenset({
    "account_inactive",
    "token_revoked",
    "token_expired",
    "invalid_auth",
    "not_authed",
    "no_permission",
    "missing_scope",
    "not_allowed_token_type",
    "org_login_required",
    "ekm_access_denied",
    "team_access_not_granted",
    "enterprise_is_restricted",
    "access_denied",
})  # fmt: skip
_CHANNEL = frozenset({
    "channel_not_found",
    "is_archived",
    "is_inactive",
    "not_in_channel",
    "restricted_action",
    "restricted_action_read_only_channel",
    "restricted_action_thread_locked",
    "restricted_action_non_threadable_channel",
    "restricted_action_thread_only_channel",
    "method_not_supported_for_channel_type",
    "team_not_found",
})  # fmt: skip
_PERSON = frozenset({
    "user_not_found",
    "user_not_visible",
    "user_disabled",
    "users_not_found",
    "cannot_dm_bot",
    "messages_tab_disabled",
    "invalid_user_combination",
})  # fmt: skip
_PASSING = frozenset({
    "ratelimited",
    "rate_limited",
    "message_limit_exceeded",
    "service_unavailable",
    "request_timeout",
    "team_added_to_org",
    "accesslimited",
})  # fmt: skip
_DOUBT = frozenset({"internal_error", "fatal_error", "duplicate_message_not_found"})
_EDIT = frozenset({
    "message_not_found",
    "cant_update_message",
    "edit_window_closed",
    "block_mismatch",
})  # fmt: skip
_THREAD = frozenset({"thread_not_found", "invalid_thread_ts", "cannot_reply_to_message"})


def sort_api_error(error: SlackApiError, part: Part = "") -> SendError:
    """The platform's refusal in our terms. What nobody knows is of the message."""
    response: Any = error.response
    status = int(getattr(response, "status_code", 0) or getattr(response, "status", 0) or 0)
    headers: Mapping[str, str] = getattr(response, "headers", None) or {}
    word = _word(response)
    if status == 429 or word in {"ratelimited", "rate_limited"}:
        return Passing("ratelimited", _retry_after(headers), part)
    if status >= 500 or word in _DOUBT:
        return InDoubt(word or f"HTTP {status}")
    if not word:
        return InDoubt(f"HTTP {status}, not an answer of the platform")
    return _by_word(word, part)


def _by_word(word: str, part: Part) -> SendError:
    if word in _PASSING:
        return Passing(word, part=part)
    if word in _EVERYWHERE:
        return ChannelAway(word, everywhere=True)
    if word in _CHANNEL:
        return ChannelAway(word)
    if word in _PERSON:
        return PersonAway(word)
    if word in _EDIT:
        return EditRefused(word)
    if word in _THREAD:
        return ThreadGone(word)
    return MessageRefused(word)


def _word(response: Any) -> str:
    data = getattr(response, "data", None)
    if not isinstance(data, Mapping):
        return ""
    return str(data.get("error") or "")


def _retry_after(headers: Mapping[str, str]) -> int:
    given = next((v for name, v in headers.items() if name.lower() == "retry-after"), "")
    try:
        return max(1000, int(float(given) * 1000))
    except ValueError:
        return DEFAULT_PAUSE
