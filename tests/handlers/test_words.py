"""Typed text back in plain words.

Source of the forms: "Formatting message text",
https://docs.slack.dev/messaging/formatting-message-text.
"""

import pytest

from bot.practice.chatserver.events import typed
from handlers.words import plain


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ("green &amp; blinking", "green & blinking"),
        ("signal &lt; 2 bars &gt; none", "signal < 2 bars > none"),
        ("&amp;lt; was typed", "&lt; was typed"),
        ("see <https://example.org/a?b=1&amp;c=2>", "see https://example.org/a?b=1&c=2"),
        ("see <http://example.org|example.org>", "see example.org"),
        ("<mailto:ana@example.org|ana@example.org> knows", "ana@example.org knows"),
        ("<tel:01632960101|01632 960101>", "01632 960101"),
        ("<@U0BOT00001> done", "done"),
        ("ask <@U0102|tomasz>", "ask tomasz"),
        ("in <#C0000WAVE1|wave-1>", "in wave-1"),
        ("<!here> smoke", "smoke"),
        ("<!subteam^S0001|@desk> please", "@desk please"),
        ("<!date^1392734382^{date}|18 February> is fine", "18 February is fine"),
        ("  done\n", "done"),
        ("", ""),
    ],
)
def test_words_are_as_a_person_wrote_them(sent: str, words: str) -> None:
    assert plain(sent) == words


@pytest.mark.parametrize(
    "words", ["red & <hot>", "ana@example.org", "https://example.org/x", "1<2"]
)
def test_what_was_typed_comes_back(words: str) -> None:
    assert plain(typed(words)) == words
