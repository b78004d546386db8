"""Typed text as the platform sends it, turned back into the words that a person wrote.

Source: "Formatting message text", https://docs.slack.dev/messaging/formatting-message-text
(``&``, ``<`` and ``>`` arrive escaped; links and mentions stand in angle brackets, with an
optional label behind a bar).
"""

import re

_TOKEN = re.compile(r"<([^<>]*)>")
_ENTITIES = (("&lt;", "<"), ("&gt;", ">"), ("&amp;", "&"))  # the ampersand last


def plain(text: str) -> str:
    """The words alone: links as they were typed, people and groups by their name if it is given.

    A mention without a name becomes nothing: an id is no word, and might be read as a serial.
    """
    shown = _TOKEN.sub(_shown, text)
    for entity, character in _ENTITIES:
        shown = shown.replace(entity, character)
    return shown.strip()


def _shown(token: re.Match[str]) -> str:
    target, _, label = token[1].partition("|")
    if target[:1] in ("@", "#", "!"):
        return label
    return label or target.removeprefix("mailto:").removeprefix("tel:")
