"""Serial numbers as people type them, labels print them and scanners read them.

Two people who hold the same unit must end up with the same text, so serials are compared in one
normal form: upper case, no spaces, no dashes, and without what a label puts in front of the
number. What counts as "in front":

- data identifiers of ANSI MH10.8.2, category 19: `S`, the serial number or code assigned by the
  supplier to an entity for its lifetime, and `1S`, an additional such code (this one from memory),
  but only when clearly separated from the number: in brackets, or followed by a colon, an equals
  sign or a space. `S1234567` stays whole, since nothing tells whether the S is its own.
- the GS1 application identifier `(21)`, serial number, in brackets, alone or within a longer
  element string (GS1 General Specifications; from memory). A bare leading `21` stays.
- the two ways in which a scanner hands such data over whole: the ISO/IEC 15434 envelope, format 06
  (data identifiers), and an element string behind a symbology identifier (ISO/IEC 15424; `]C1`,
  `]d2`, `]e0`, `]Q3`), both with the group separator between fields (from memory).
- words: `S/N`, `SN`, `Serial`, `Serial No.`, `Serial number`, `Ser. no.`.

Nothing else is guessed: O and 0, or I and 1, stay different.
"""

import functools
import re
import unicodedata

GROUP_SEPARATOR = "\x1d"
RECORD_SEPARATOR = "\x1e"

_DASHES = re.compile("[-\u00ad\u2010-\u2015\u2212]")
_SPACES = re.compile(r"\s+")

_WORD = r"(?:S/N|SN|SER(?:IAL)?\.?(?:\s*(?:NUMBER|NUM|NO|NR)\.?)?)"
_PREFIX = re.compile(
    rf"^\s*(?:"
    rf"[(\[]\s*1?S\s*[)\]]\s*[:=]?"  # (S) (1S) [S]
    rf"|(?:1?S|{_WORD})\s*[:=#]"  # S: 1S= S/N: SERIAL NO.:
    rf"|(?:1?S|{_WORD})\s+"  # S HML…, S/N HML…
    rf")\s*(?=\S)",
    re.IGNORECASE,
)
_BARE_PREFIX = re.compile(rf"^(?:[(\[]\s*1?S\s*[)\]]|1?S|{_WORD}|\(21\))[:=#]?$", re.IGNORECASE)

_GS1_BRACKETS = re.compile(r"\(21\)\s*([^()\x1d]+)")
_GS1_SYMBOLOGY = re.compile(r"^\](?:C1|d2|e0|Q3)")
_ENVELOPE_06 = re.compile(r"^\[\)>\x1e06\x1d(.*?)\x1e?\x04?$", re.DOTALL)

# Element strings of predefined length need no separator before the next one (GS1 General
# Specifications, from memory): first two digits -> how many characters follow them.
_GS1_FIXED = (
    {"00": 18, "01": 14, "02": 14, "03": 14, "04": 16, "20": 2, "41": 14}
    | {str(first): 6 for first in range(11, 20)}
    | {str(first): 8 for first in range(31, 37)}
)


@functools.lru_cache(maxsize=4096)
def normal(serial: str) -> str:
    """The form in which serials are compared. Applying it twice changes nothing more."""
    text = serial
    while True:
        shorter = _SPACES.sub("", _DASHES.sub("", clean(text)))
        if shorter == text:
            return text
        text = shorter


def clean(label: str) -> str:
    """The serial for showing: without label prefix, upper case, its own dashes kept."""
    text = unicodedata.normalize("NFKC", label).strip(" \t\r\n\x0b\x0c\x00")
    text = _scanned(text)
    while True:
        shorter = _PREFIX.sub("", text)
        found = _GS1_BRACKETS.search(shorter)
        if found:
            shorter = found.group(1)
        if shorter == text:
            break
        text = shorter
    return _SPACES.sub(" ", text).strip().upper()


def several(text: str) -> list[str]:
    """Split a cell or a sentence part that lists serials, each for showing (see `clean`).

    Separators are spaces, commas and semicolons. A label prefix standing alone (`S HML-4F7K2Q`)
    belongs to what follows it.
    """
    found: list[str] = []
    prefix = ""
    for token in re.split(r"[\s,;]+", _joined_words(unicodedata.normalize("NFKC", text))):
        if not token:
            continue
        if _BARE_PREFIX.match(token):
            prefix = f"{prefix}{token} "
            continue
        found.append(clean(prefix + token))
        prefix = ""
    if prefix:
        found.append(prefix.strip().upper())
    return found


def _joined_words(text: str) -> str:
    """`Serial no. X` holds a space inside its prefix; close it so that splitting keeps it."""
    return re.sub(r"(?i)\bser(?:ial)?\.?\s*(?:number|num|no|nr)\b\.?\s*[:=#]?", "SN ", text)


def _scanned(text: str) -> str:
    """The serial out of a whole scan, or the text unchanged when it is none."""
    envelope = _ENVELOPE_06.match(text)
    if envelope:
        return _by_data_identifier(envelope.group(1)) or text
    if _GS1_SYMBOLOGY.match(text):
        return _by_application_identifier(text[3:]) or text
    return text


def _by_data_identifier(body: str) -> str | None:
    fields = body.split(GROUP_SEPARATOR)
    for identifier in ("S", "1S"):
        for field in fields:
            rest = field.removeprefix(identifier)
            if rest != field and rest:
                return rest
    return None


def _by_application_identifier(body: str) -> str | None:
    rest = body.lstrip(GROUP_SEPARATOR)
    while rest:
        if rest.startswith("21"):
            return rest[2:].split(GROUP_SEPARATOR)[0] or None
        length = _GS1_FIXED.get(rest[:2])
        if length is not None:
            rest = rest[2 + length :].lstrip(GROUP_SEPARATOR)
        else:
            _, _, rest = rest.partition(GROUP_SEPARATOR)
    return None
