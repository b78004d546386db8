"""The key of the codes by which a visit is passed on: made of a secret the bot has anyway."""

from bot.access import keyed
from bot.settings import Settings


def code_key(settings: Settings) -> bytes:
    """That of the contact pages where there is one, else of the chat app's token.

    Open codes end when the secret changes. Empty where there is no secret: then there are none.
    """
    secret = settings.page.secret.get_secret_value() or settings.chat.bot_token.get_secret_value()
    return keyed(secret.encode(), b"codes of visits") if secret else b""
