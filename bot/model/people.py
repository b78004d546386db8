"""Keys of personal data: what the journal holds instead of names, numbers and words."""

import hashlib

#: How the name of a person begins who has no chat account and answers on a page of their own.
BY_PAGE = "page:"
#: How the thread of mail to a person of a site begins.
MAIL_TO = "mail:@p:"


def page_user(site: str, who: str = "contact") -> str:
    """What stands in place of a chat account for a site's ``contact`` or ``deputy``."""
    return f"{BY_PAGE}{site}" if who == "contact" else f"{BY_PAGE}{site}:{who}"


def by_page(user: str) -> bool:
    return user.startswith(BY_PAGE)


def mail_thread(key: str) -> str:
    """The outbox's thread of mail to a person; the address stays with their personal data."""
    return f"{MAIL_TO}{key}:mail"


def person_key(user: str) -> str:
    """The key of a chat user's personal data; says nothing about the person by itself."""
    return hashlib.sha256(f"person:{user}".encode()).hexdigest()[:20]


def text_key(fact_id: str) -> str:
    """The field under which a person's words of one message lie."""
    return f"t_{hashlib.sha256(fact_id.encode()).hexdigest()[:20]}"
