"""Every text of the catalogue with arguments from Hollowmere and the buttons it goes out with.

What kind of text a key is, is decided here alone: words of other texts and what only the team
reads are named; every other key is taken to be said to a contact, so that a new one is held to
the rules for contacts until somebody says otherwise.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal

from bot.model.calls.life import taken_buttons
from bot.model.calls.state import Call
from bot.model.message import Button
from bot.model.runbook import AskKind, Runbook
from bot.model.visit import asks
from bot.model.visit.state import Question
from bot.practice import scene
from bot.speak.catalogue import REFERENCE, Texts, sources, standard

Kind = Literal["contact", "team", "label", "words"]

#: What only the team and the admins read: whole keys, or how a key begins.
TEAM = re.compile(
    r"call|call_.*|wave_.*|command_.*|status_.*|order_.*|staff_.*|mirror_.*|pin"
    r"|press_(not_taker|taken|not_critical|put_off_enough|nobody_else|needs_reason|stopped"
    r"|no_way_back|nothing|swap_waits|no_unit)"
    r"|outage|chat_trouble|readback_failed|clock_jumped|danger_(nowhere|unkept)|store_note"
    r"|alarm_mail_subject|kept_.*|stranger_says|mention_help|where_for_team|helper_.*|readiness_.*"
    r"|handover_.*|way_.*|press_page_.*"
)
#: What stands inside other texts and is never said alone.
WORDS = re.compile(
    r"(wave_is|hold|away|tried|sign|asked|severity|cause|held_(model|attended|version|unknown)"
    r"|stage|found|is|try|reason|keep|throw|at|now|gap|owner)(_.*)?|not_known|nobody|none|nothing|no_unit"
    r"|nothing_seen|seen_taken_over|sheet_other"
)


@cache
def book() -> Runbook:
    return scene.runbook()


@cache
def labels() -> frozenset[str]:
    """The keys that label buttons."""
    lights = {pattern.means for pattern in book().patterns.values()}
    return frozenset(key for key in texts(REFERENCE).own if key.startswith("b_") or key in lights)


def texts(language: str) -> Texts:
    return standard().texts(language)


def kind(key: str) -> Kind:
    """Who reads the text, or what it is a part of."""
    if key in labels():
        return "label"
    if WORDS.fullmatch(key):
        return "words"
    return "team" if TEAM.fullmatch(key) else "contact"


def of_kind(*kinds: Kind) -> list[str]:
    return [key for key in texts(REFERENCE).own if kind(key) in kinds]


# --- where a text stands in the file: when it is said ------------------------------------


@cache
def sections() -> dict[str, list[str]]:
    """The keys of the reference by the headings of its files ("the evening")."""
    found: dict[str, list[str]] = {}
    title = ""
    texts = [text for _, text in sources(resources.files("bot.speak").joinpath(REFERENCE))]
    for line in "\n".join(texts).splitlines():
        heading = re.fullmatch(r"# --- (.+?) -+", line)
        key = re.match(r"([a-z]\w*):", line)
        if heading:
            title = heading[1]
        elif key and title:
            found.setdefault(title, []).append(key[1])
    return found


# --- arguments ---------------------------------------------------------------------------

_START = "1773338400000"  # Thursday 12 March 2026, 18:00 UTC
_NOW = "1773340500000"  # 18:35
_UNTIL = "1773341100000"  # 18:45
MINUTES = 60_000

#: As in Hollowmere.
USUAL: Mapping[str, str] = {
    "site": "Alderbeck Library",
    "contact": "Ada Brightwell",
    "who": "Ines Calloway",
    "serial": "HML-4F7K2Q",
    "model": "HG-10",
    "link": "https://chat.example.org/archives/CWAVE01/p1773338400000100",
    "start": _START,
    "now": _NOW,
    "until": _UNTIL,
    "latest": _UNTIL,
    "since": _NOW,
    "sign": _NOW,
    "visit": str(40 * MINUTES),
    "checkpoint": str(10 * MINUTES),
    "minutes": str(12 * MINUTES),
    "away": str(4 * MINUTES),
    "by": str(4 * MINUTES),
    "late": "4",
    "to_users": "U0002 U0003",
    "user": "U0990",
    "address": "4 Mill Lane, Alderbeck",
    "wave": "hollowmere-1",
    "call": "e12",
    "unit_of_call": "HG-10 HML-4F7K2Q",
    "neighbours": "0",
    "circuit": "HLS-CCT-0101",
    "carrier": "the county carrier",
    "fault_line": "01632 960900",
    "mobile": "07700 900101",
    "deputy": "Bran Okoro",
    "deputy_mobile": "07700 900201",
    "phone": "01632 960101",
    "callback": "07700 900101",
    "callback_time": "20:15",
    "ticket": "T-1042",
    "words": "it is red",
    "told": "it is red",
    "place": "the team's channel",
    "count": "2",
    "seconds": "7",
    "source": "registry",
    "word": "mil lane",
    "command": "/wave",
    "press": "https://desk.example.org/p/dzpob2xsb3dtZXJl~k3",
    "way": "phone",
    "ways": "phone, mail",
    "taken": "nobody",
    "online": "12",
    "units": "40",
    "running": "6",
    "with_person": "1",
    "agreed": "18",
    "done": "12",
    "stopped": "0",
    "rebook": "1",
    "backed_out": "1",
    "old": "HML-4F7K2Q",
    "new": "HML-8T3W9X",
    "from": "the store",
    "tracking": "HL123456789",
    "wiped": "no",
    "held": "2",
    "out": "3",
    "open_calls": "1",
    "calls": "Alderbeck Library",
    "steps": "10",
    "item": "card reader",
    "found": "works",
    "passed": "2",
    "all": "3",
    "registered": "12",
    "checked": "11",
    "soaked": "9",
    "watched": "3",
    "page": "https://desk.example.org/v/hollowmere-1~alderbeck~0~qwertyuiopasdfghjklzxcvbnm",
    "photo": "https://desk.example.org/v/photo/0123456789abcdef0123~0123456789abcdef0123456789abcdef",
    "code": "K4T-9XW",
    "sites": "Alderbeck Library, Ambermere Library",
    "said": "it is red",
    "said_before": "",
    "longer": str(20 * MINUTES),
    "every": str(15 * MINUTES),
    "zone": "Europe/London",
    "others": "“till”",
    "emergency": "999 / 112",
    "slow": "5",
    "fast": "20",
    "pages": "2",
    "other": "Ambermere Library",
    **{f"site{n}": f"{name} Library" for n, name in enumerate(("Alder", "Amber", "Bex"), 1)},
    **{f"serial{n}": f"HML-4F7K2{n}" for n in (1, 2, 3)},
    **{f"gap{n}": "" for n in range(2, 9)},
    "due": _START,
}
#: Arguments that are other texts.
_TEXTS: Mapping[str, str] = {
    "keep": "keep_box",
    "throw": "throw_wrap",
    "severity": "severity_major",
    "cause": "cause_dead_line",
    "stage": "stage_registry",
    "seen": "light_not_reached",
    "asked": "asked_light",
    "at": "at_loading",
    "tried": "tried_reseat",
    "last_sign": "sign_none",
    "first_try": "try_dead_line",
    "reason": "reason_fixed",
    "rule": "reason_back_keep_calling",
    "state": "wave_is_open",
    "why": "away_store",
    "operator": "not_known",
    "gap1": "gap_line",
    "owner": "owner_carrier",
}
#: Names that people of the trade and the contacts bring: words without weight for the grade.
PLAIN_NAMES: Mapping[str, str] = {
    "site": "Alder",
    "contact": "Ada",
    "who": "Ines",
    "serial": "X1",
    "link": "X1",
    "item": "till",
    "page": "X1",
    "zone": "X1",
}


@cache
def longest() -> Mapping[str, str]:
    """The longest names of the demo wave, and at least 32 characters of each."""
    rows = scene.sites(None, 1)
    people = [person.name for row in rows for person in (row.contact, row.deputy) if person]
    names = {"site": [row.name for row in rows], "contact": people, "who": people}
    long = {name: max(found, key=len) for name, found in names.items()}
    spare = " Wolstenholme-Okonkwo-Brightwell"
    return {
        **{
            name: value if len(value) >= 32 else (value + spare)[:32]
            for name, value in long.items()
        },
        "serial": "HML-4F7K2Q9XW3",
        "item": "computers for the public upstairs",
        "link": "https://hollowmere.example.org/archives/CWAVE01/p1773338400000100"
        "?thread_ts=1773338400.000100",
    }


def arguments(key: str, language: str, changed: Mapping[str, str] = {}) -> dict[str, str]:
    """Everything that a text may ask for, in the language."""
    said = texts(language)
    unit_words = book().words.get(language) or book().words[REFERENCE]
    unit_words = {n: text.replace("{unit}", unit_words["unit"]) for n, text in unit_words.items()}
    given = {**USUAL, **unit_words, **changed}
    named = dict(_TEXTS)
    if kind(key) in ("team", "words"):
        given["unit"] = given["unit_of_call"]
    else:
        named["asked"] = "cable_nudge"
    return given | {name: said.say(text, given, "Europe/London") for name, text in named.items()}


def rendered(key: str, language: str, changed: Mapping[str, str] = {}) -> str:
    """The text as it stands in the thread. Raises ``CatalogueError`` for an unknown argument."""
    return texts(language).say(key, arguments(key, language, changed), "Europe/London")


# --- buttons -----------------------------------------------------------------------------

#: Texts about the open question that come with its buttons, and a kind of question for each.
_ABOUT: Mapping[str, AskKind] = {
    "ask_done": "confirm",
    "not_clear": "confirm",
    "catch_up": "confirm",
    "ask_again": "confirm",
    "ask_person": "confirm",
    "seen_to_do": "confirm",
    "seen_to_answer": "light",
    "still_need": "confirm",
    "known_already": "confirm",
    "number_noted": "confirm",
    "ahead": "confirm",
    "two_answers": "confirm",
    "where_we_are": "confirm",
    "question_unknown": "confirm",
    "loading_seen": "light",
    "crossed": "confirm",
    "edit_again": "confirm",
    "unread_file": "confirm",
    "unread_person": "confirm",
    "unread_picture": "light",
    "unread_voice": "confirm",
    "ask_steady_or_blinking": "light",
    "ask_colour": "light",
    "ask_fast_or_slow": "light",
    "ask_negated": "light",
    "loading_again": "light",
    "registry_after_success": "light",
    "light_after_check": "light",
    "light_again": "light",
}
#: Our own questions.
_OWN: Mapping[str, AskKind] = {
    "reseat": "confirm",
    "power_check": "confirm",
    "over": "choice",
    "old_again": "choice",
    "parked": "choice",
    "company": "choice",
    "callback": "callback",
    "callback_time": "callback",
    "serial_type": "serial",
    "serial_again": "serial",
    "serial_other": "serial",
    "ready_carton": "choice",
    "ready_label": "serial",
    "ready_label_again": "serial",
    "ready_contact": "choice",
    "ready_number": "callback",
}
#: Buttons that are made on the spot (bot/model/visit/more_time.py, answers.py).
_MADE: Mapping[str, tuple[str, ...]] = {
    "later_too_long": ("b_latest", "b_help", "b_other_evening"),
    "called_site_check": ("b_works_now",),
    "refused": ("b_more10", "b_help", "b_other_evening"),
    "refused_again": ("b_more10", "b_help", "b_other_evening"),
    "no_more_time": ("b_help", "b_other_evening"),
    "paused": ("b_unpause",),
    "check_in": ("b_fine",),
    "ready_deputy": ("b_deputy_yes", "b_deputy_no"),
    "how_long": ("b_more10", "b_more20", "b_other_evening"),
    "ask_minutes": ("b_more10", "b_more20", "b_other_evening"),
    **dict.fromkeys(
        ("morning", "morning_released", "morning_back", "morning_again"),
        ("b_all_works", "b_not_all"),
    ),
    "going_offer": ("b_pass_on", "b_nobody", "b_stay"),
    "going_offer_at": ("b_pass_on", "b_nobody", "b_stay"),
    "handing_code": ("b_keep_it",),
    "handing_ask": ("b_take_on", "b_not_me"),
}
_CALL = Call(
    id="e12",
    cause="dead_line",
    severity="major",
    first="oncall",
    raised_at=int(_NOW),
    due=int(_NOW),
    take_within=10 * MINUTES,
)
_TAKE = ("call", "call_again", "call_offered", "wave_call", "wave_call_again")


@dataclass(frozen=True)
class _Asked:
    stage: str
    ask: str
    kind: AskKind
    answers: tuple[str, ...] = ()


def button_keys(key: str) -> tuple[str, ...]:
    """The labels of the buttons below a text, by their keys."""
    asked = _asked().get(key)
    if asked is not None:
        return tuple(button.label for button in asks.buttons(_question(asked), book()))
    if key in _MADE:
        return _MADE[key]
    return tuple(button.label for button in _team_buttons(key))


def buttons(key: str, language: str) -> list[str]:
    """The labels of the buttons below a text, in words."""
    return [texts(language).say(label, USUAL) for label in button_keys(key)]


@cache
def _asked() -> Mapping[str, _Asked]:
    """By the key of a text: the question that it asks or is about."""
    found: dict[str, _Asked] = {}
    stages = {stage.asks[0].kind: stage.id for stage in book().stages}
    back = book().back_out
    for stage in (*book().stages, *(back.stages if back else ())):
        for ask in stage.asks:
            asked = _Asked(stage.id, ask.id, ask.kind, ask.answers)
            for key in (ask.text, ask.nudge):
                if key:
                    found.setdefault(key, asked)
    tried = _Asked("site_checks", "check", "check")
    for check in book().checks:
        found |= {key: tried for key in (check.text, check.try_first) if key}
    for key, kind_of in _OWN.items():
        own = _Asked("loading", key, kind_of, asks.OWN_ANSWERS.get(key, ()))
        found |= {key: own, f"{key}_nudge": own}
    for key, kind_of in _ABOUT.items():
        found[key] = _Asked(stages[kind_of], "", kind_of)
    return found


def _question(asked: _Asked) -> Question:
    return Question(
        id="q1",
        stage=asked.stage,
        ask=asked.ask,
        kind=asked.kind,
        text="",
        nudge="",
        message="",
        made_at=0,
        checkpoint=0,
        window=0,
        answers=asked.answers,
    )


#: What may be done about what was kept aside, below the line that tells of it.
_KEPT: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(
        ("kept_aside", "kept_outside", "kept_flapping", "kept_withdrawn"), ("b_kept_ignore",)
    ),
    "kept_aside_likely": (*(f"b_kept_assign{n}" for n in (1, 2, 3)), "b_kept_ignore"),
    "kept_closed": ("b_kept_count", "b_kept_ignore"),
    "kept_swapped": ("b_kept_swap", "b_kept_ignore"),
}


def _team_buttons(key: str) -> Iterator[Button]:
    if key in _TAKE:
        yield Button("", "b_take")
    elif key in ("call_taken", "wave_call_taken", "call_please_close", "wave_call_please_close"):
        yield from taken_buttons(_CALL)
    elif key in _KEPT:
        yield from (Button("", label) for label in _KEPT[key])
    elif key in ("readiness_line", "readiness_stops"):
        yield from (Button("", label) for label in ("b_ready_go", "b_ready_date"))
    elif "call_cleared_" in key:
        yield Button("", "b_close")
    elif key in ("call_why", "wave_call_why"):
        yield from (Button("", f"b_close_{why}") for why in ("fixed", "false_alarm", "rebook"))
