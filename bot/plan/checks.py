"""Checks of single cells. Each takes the cleaned text and returns the value, or raises Refused."""

import ipaddress
import re
import unicodedata
from collections.abc import Callable

from bot.model import serial
from bot.plan import zones
from bot.plan.problem import Refused

LIMIT = 200
_THING = 40  # characters of a cable's or a check's name: it stands in the contact's texts

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,47}")
_USER = re.compile(r"[UW][A-Z0-9]{2,20}")
_MENTION = re.compile(r"<@([UW][A-Z0-9]{2,20})(?:\|[^>]*)?>")
_PHONE = re.compile(r"[0-9 +()-]+")
# Language, then script, region, variants as far as RFC 5646 (BCP 47) has them; the subtags
# themselves are not looked up.
_LANG = re.compile(
    r"[A-Za-z]{2,3}(-[A-Za-z]{4})?(-(?:[A-Za-z]{2}|[0-9]{3}))?"
    r"(-(?:[A-Za-z0-9]{5,8}|[0-9][A-Za-z0-9]{3}))*"
)
_SERIAL = re.compile(r"[A-Z0-9][A-Z0-9./_+]{3,39}")
_DAMAGED = re.compile(r"[0-9](?:[.,][0-9]+)?E\+[0-9]{1,3}", re.IGNORECASE)
#: What the people on site confirm, as a list names it.
OF_SITE = ("carton", "label", "contact", "deputy")
_DATE = re.compile(r"20\d\d-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])")
_JOINERS = "\u200c\u200d"  # needed to spell names in some scripts
_UNSEEN = ("Cc", "Cf", "Co", "Cs", "Cn")


def cleaned(raw: str) -> str:
    """A cell's text: NFC, plain spaces, line breaks folded to a comma or space, trimmed."""
    if raw.isascii() and raw.isprintable():
        return raw.strip()
    text = unicodedata.normalize("NFC", raw).replace("\ufeff", "")
    text = re.sub(r"[ \t\u00a0\u2007\u202f]*[\r\n\u2028\u2029]+[\s\u00a0]*", "\n", text.strip())
    text = re.sub(r"([,;]?)\n", lambda m: f"{m[1]} " if m[1] else ", ", text)
    text = re.sub(r"[\t\u00a0\u2007\u202f]", " ", text).strip()
    for character in text:
        if character not in _JOINERS and unicodedata.category(character) in _UNSEEN:
            raise Refused(
                f"holds the invisible or control character U+{ord(character):04X}",
                "delete the cell and type it again",
            )
    return text


def text(value: str) -> str:
    """Any text of at most 200 characters."""
    if len(value) > LIMIT:
        raise Refused(
            f"is {len(value)} characters long, at most {LIMIT} are kept",
            "shorten it (and look for a quotation mark that was never closed)",
        )
    return value


def slug(value: str) -> str:
    """A wave or site id."""
    if _ID.fullmatch(value):
        return value
    near = re.sub(r"[^A-Za-z0-9._-]+", "-", value).strip("-._")[:48]
    remedy = "use at most 48 letters, digits, dots, dashes and underscores"
    raise Refused("is not an id", f"{remedy}, as {near}" if near else remedy)


def user(value: str) -> str:
    """A chat user id; a pasted mention is unwrapped."""
    mention = _MENTION.fullmatch(value)
    if mention:
        return mention[1]
    if _USER.fullmatch(value):
        return value
    near = f", as {value.upper()}" if _USER.fullmatch(value.upper()) else ""
    raise Refused(
        "is not a chat user id",
        f"copy the id from the person's chat profile: U or W, then capitals and digits{near}",
    )


def language(value: str) -> str:
    """A language tag in the usual case (en, pt-BR, zh-Hant)."""
    if not _LANG.fullmatch(value):
        near = value.replace("_", "-")
        hint = near if near != value and _LANG.fullmatch(near) else "en or en-GB"
        raise Refused("is not a language tag", f"write it as {hint}")
    first, *others = value.split("-")
    cased = [
        o.upper() if len(o) == 2 else o.title() if len(o) == 4 and o.isalpha() else o.lower()
        for o in others
    ]
    return "-".join([first.lower(), *cased])


def yes_no(value: str) -> bool:
    """Yes or no, as people and spreadsheets write it."""
    if value.casefold() in ("yes", "y", "true", "1", "x"):
        return True
    if value.casefold() in ("no", "n", "false", "0", "-"):
        return False
    raise Refused("is neither yes nor no", "write yes or no, or leave it empty for no")


def phone(value: str) -> str:
    """A telephone number, kept as text."""
    undamaged(value)
    if not _PHONE.fullmatch(value) or not 3 <= sum(c.isdigit() for c in value) <= 18:
        raise Refused(
            "is not a telephone number",
            "use digits, spaces, +, - and brackets only, and 3 to 18 digits",
        )
    return value


def mail(value: str) -> str:
    """A mail address, of the plain form of RFC 5321."""
    name, _, host = text(value).rpartition("@")
    if not name or "." not in host or re.search(r"[\s<>,;\"()]", value):
        raise Refused("is no mail address", "write it as name@example.org")
    return value


def done(value: str) -> bool:
    """Whether something was done: a date on which it was, yes or no."""
    if value.casefold() in ("no", "n", "-"):
        return False
    if value.casefold() in ("yes", "y") or _DATE.fullmatch(value):
        return True
    raise Refused("does not say whether it was done", "write yes, no, or the date: 2026-03-05")


def of_site(value: str) -> list[str]:
    """What the people on site have confirmed, in the order of the words allowed."""
    found = {part.casefold() for part in each(value)}
    if found - set(OF_SITE):
        wrong = min(found - set(OF_SITE))
        raise Refused(f"names '{wrong}'", f"use only {', '.join(OF_SITE)}")
    return [word for word in OF_SITE if word in found]


def undamaged(value: str) -> str:
    """Refuse what a spreadsheet leaves of a long number."""
    if _DAMAGED.fullmatch(value):
        raise Refused(
            "was turned into a rounded number by a spreadsheet, its digits are lost",
            "set the column to text and type the value again",
        )
    return text(value)


def serials(value: str) -> list[str]:
    """The serials of a cell, as they are printed."""
    undamaged(value.strip())
    found = serial.several(value)
    for one in found:
        form = serial.normal(one)
        if not _SERIAL.fullmatch(form) or not any(c.isdigit() for c in form):
            shown = "" if one == value else f" (at {one})"
            raise Refused(
                f"is not a list of serials{shown}: one has 4 to 40 letters and digits, "
                "and at least one digit",
                "copy the serials from the labels, without spaces inside",
            )
    if not found:
        raise Refused("names no serial", "write at least one")
    return found


def each(value: str) -> list[str]:
    """Values separated by semicolons, or by commas where there is no semicolon."""
    text(value)
    mark = ";" if ";" in value else ","
    return [part.strip() for part in value.split(mark) if part.strip()]


def things(value: str) -> list[str]:
    """Cables or checks by name: each is asked about by it, so it is short and stands there once."""
    found = each(value)
    for number, name in enumerate(found):
        if len(name) > _THING:
            raise Refused(
                f"has a name of {len(name)} characters (at {name})",
                f"name it in at most {_THING}, as the site's people call it",
            )
        if name.casefold() in (other.casefold() for other in found[:number]):
            raise Refused(f"names one thing twice (at {name})", "give each a name of its own")
    return found


def networks(value: str) -> list[str]:
    """Address ranges in CIDR form, IPv4 or IPv6."""
    return [_network(part) for part in re.split(r"[\s,;]+", text(value)) if part]


def _network(part: str) -> str:
    try:
        return str(ipaddress.ip_network(part))
    except ValueError:
        pass
    try:
        near = ipaddress.ip_network(part, strict=False)
    except ValueError:
        raise Refused(f"is not an address range (at {part})", "write it as 192.0.2.0/28") from None
    raise Refused(
        f"is an address within a range, not the range itself (at {part})", f"write {near}"
    )


CHECKS: dict[str, Callable[[str], object]] = {
    "wave": slug, "site": slug, "tz": zones.zone,
    "contact": user, "contact_lang": language, "contact_mobile": phone,
    "contact_mail": mail, "deputy_mail": mail,
    "deputy": user, "deputy_lang": language, "deputy_mobile": phone,
    "phone": phone, "carrier_fault_line": phone, "networks": networks, "depends": each,
    "cables": things, "checks": things,
    "line_tested": done, "in_registry": done, "seen_on_site": of_site,
    "circuit": undamaged, "start": zones.wall, "vehicle": yes_no,
}  # fmt: skip
