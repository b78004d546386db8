"""What words mean beside lights, times and codes: done, yes, no, help, a question and so on.

A plain *done* or *yes* is sure only when nothing in it or behind it takes it half back: a hedge,
an exception, trouble that is told later ("done, but it won't click").
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple, cast

from bot.model.phrases import Found
from bot.model.reading import ASK_BACK, Heard, Kind, Reading
from bot.model.words import MEANINGS, Part, not_inside, outside, overlap

#: What a question may still say beside asking.
_KEPT_IN_QUESTIONS = frozenset(
    (
        "help",
        "call_me",
        "stop",
        "question",
        "small_talk",
        "no_signal",
        "other_time",
        "correction",
        "pause",
    )
)
_IN_QUESTIONS = MEANINGS | {"asks"}
#: Questions to which another time is a no.
_BOOKED = frozenset(("consent", "begin"))
#: What a word like "not" before it turns round.
_CAN_TURN = frozenset(
    ("stop", "help", "call_me", "power_cycled", "pause", "done", "yes", "trouble")
)
#: What may be wished for: "want to", "have to" turn it round as little as "once we" does.
_WISHED = frozenset(("stop", "help", "call_me", "pause"))
_UNSURE = frozenset(("done", "yes", "no_signal"))
#: So many words that no phrase accounts for may say anything: a done or yes beside them is asked
#: back, and with one word more a no that would cancel the evening.
_MANY = 2
#: How sure it is where it is asked back.
_LIKELY = 0.4
#: Questions to which trouble is a no; to others it is asked back: a no would cancel the evening.
_TROUBLED = frozenset(("mobile", "confirm", "check"))
#: What says so little that trouble beside it counts.
_ANSWERING = frozenset(("done", "yes", "no", "trouble"))
_BESIDE_TROUBLE = frozenset(
    ("done", "yes", "seen", "no", "correction", "not_yet", "asks", "question", "trouble")
)

#: What is said of the light, when its clause tells what the light does: "it's on", "not lit".
_OF_A_LIGHT = frozenset(("done", "yes", "no", "trouble", "not_yet", "seen", "pause"))


class _Said(NamedTuple):
    """A meaning, the clause it stands in, and whether it is sure."""

    meaning: str
    place: int
    sure: float


def word_readings(parts: Sequence[Part], heard: Heard) -> list[Reading]:
    """Everything meant, in the order it is said."""
    said = [each for place, part in enumerate(parts) for each in _in_part(part, place, heard)]
    said = _with_trouble(_in_time(said, heard), heard)
    if heard.ask == "callback":  # to be called is what they were asked about
        said = [each for each in said if each.meaning != "call_me"]
    doubts = _doubts(parts, said)
    doubts -= {s.place for s in said if s.meaning == "no_signal" and not parts[s.place].hedged}
    return [_reading(each, heard, doubt=each.place in doubts) for each in said]


def _in_part(part: Part, place: int, heard: Heard) -> Iterator[_Said]:
    light = heard.ask == "light" and part.tells_of_a_light
    whole = {} if light else _whole(part)
    if light and not part.asks:
        yield from (each for each in _within(part, place, heard) if each.meaning not in _OF_A_LIGHT)
    elif part.asks:
        yield from _question(set(whole), part, place, heard)
    elif whole:
        for meaning, exact in whole.items():
            yield _Said(meaning, place, 1.0 if exact else 0.9)
    else:
        yield from _within(part, place, heard)


def _whole(part: Part) -> dict[str, bool]:
    """Meanings that the clause says and nothing else, by the longest phrases; false: misspelt."""
    hits = [hit for hit in part.alone if hit.meaning in MEANINGS and part.says_only(hit)]
    whole = {hit.meaning: hit.exact for hit in not_inside(hits)}
    if "no" in whole:  # a yes beside it is no filler
        yes = outside([hit for hit in part.alone if hit.meaning == "yes"], hits)
        whole |= {hit.meaning: hit.exact for hit in yes}
    return whole


def _question(whole: set[str], part: Part, place: int, heard: Heard) -> Iterator[_Said]:
    """What a question says beside asking: a call for help is one however it is put."""
    hits = not_inside([hit for hit in part.signs if hit.meaning.rstrip("?") in _IN_QUESTIONS])
    said = {hit.meaning for hit in hits if not part.turned_round(hit, unreal=False)} | whole
    kept = sorted(said & _KEPT_IN_QUESTIONS)
    if heard.ask not in _BOOKED:
        kept = [meaning for meaning in kept if meaning != "other_time"]
    for meaning in kept:
        yield _Said(meaning, place, 0.9)
    if not kept:
        yield _Said("asks", place, 0.9)


def _within(part: Part, place: int, heard: Heard) -> Iterator[_Said]:
    hits = not_inside([hit for hit in (_as_meant(hit, part) for hit in part.signs) if hit])
    blinks = [hit for hit in part.lights if hit.meaning == "is:blinking"]  # no power was lost
    hits = [h for h in hits if h.meaning != "power_cycled" or outside([h], blinks)]
    pauses = [hit for hit in hits if hit.meaning == "pause"]
    hits = [h for h in hits if h.meaning != "stop" or not any(overlap(h, p) for p in pauses)]
    said: dict[str, float] = {}
    for hit in hits:
        meaning = hit.meaning.rstrip("?")
        cancels = meaning == "no" and heard.ask in _BOOKED
        good = meaning in ("done", "yes")
        vague = (cancels or good) and part.unexplained >= _MANY + cancels
        vague |= good and part.denies_before(hit)  # "nobody has brought a box here"
        sure = _LIKELY if vague or hit.meaning.endswith("?") else 0.9
        said[meaning] = max(said.get(meaning, 0.0), sure)
    for meaning, sure in said.items():
        yield _Said(meaning, place, sure)


def _as_meant(hit: Found, part: Part) -> Found | None:
    """The phrase if it means something here; a done that is denied is trouble."""
    meaning = hit.meaning.rstrip("?")
    if meaning not in MEANINGS:
        return None
    if meaning not in _CAN_TURN or not part.turned_round(hit, unreal=meaning not in _WISHED):
        return hit
    denied = meaning in ("done", "yes") and part.turned_round(hit, unreal=False)
    return hit._replace(meaning="trouble") if denied else None


def _in_time(said: list[_Said], heard: Heard) -> list[_Said]:
    """Without what is over: "I'm late, ready now"; "sorry" before a no takes a done back."""
    last = max((s.place for s in said if s.meaning in ("done", "yes") and s.sure > 0.5), default=-1)
    kept = [s for s in said if s.meaning != "not_yet" or s.place >= last]
    sorry = next((s for s in kept if s.meaning == "sorry"), None)
    waits = {s.place for s in kept if s.meaning == "not_yet"}
    if sorry is not None and waits & {sorry.place - 1, sorry.place + 1}:  # "wait, sorry, it's two"
        kept.append(sorry._replace(meaning="correction"))
    kept = [s for s in kept if s.meaning != "sorry"]
    if any(s.meaning == "correction" for s in kept):  # of two answers the later one counts
        final = max((s.place for s in kept if s.meaning in _ANSWERING), default=-1)
        kept = [s for s in kept if s.meaning not in _ANSWERING or s.place == final]
    refused = {"no", "trouble"} & {s.meaning for s in kept}
    if sorry is not None and refused and heard.ask == "confirm":
        kept.append(sorry._replace(meaning="correction"))
    return kept


def _with_trouble(said: list[_Said], heard: Heard) -> list[_Said]:
    """Trouble is a no where it stands for itself; what was done before it is not done then."""
    troubles = [each.place for each in said if each.meaning == "trouble"]
    if not troubles:
        return said
    other = {each.meaning for each in said} - _BESIDE_TROUBLE
    after = [each for each in said if each.meaning in ("done", "yes", "no")]
    overcome = any(each.place > max(troubles) for each in after)
    rest = [each for each in said if each.meaning != "trouble"]
    if overcome or other:
        return rest
    if any(each.meaning == "yes" for each in after):
        return [each._replace(sure=min(each.sure, _LIKELY)) for each in rest]
    sure = heard.ask in _TROUBLED and all(e.sure > _LIKELY for e in said if e.meaning == "trouble")
    rest = [each for each in rest if each.meaning != "done" or each.place not in troubles]
    if any(each.meaning == "done" for each in rest):  # done, but something is not as it should be
        return [each._replace(sure=_LIKELY) if each.meaning == "done" else each for each in rest]
    return [*rest, _Said("trouble", max(troubles), 0.8 if sure else _LIKELY)]


def _doubts(parts: Sequence[Part], said: Sequence[_Said]) -> set[int]:
    """The clauses in which a done or a yes is not quite one."""
    known = {each.place for each in said}
    found: set[int] = set()
    for place, part in enumerate(parts):
        if any(hit.meaning in ("hedges", "unless") for hit in part.signs):
            found.add(place)
            if place not in known:  # "done. I think": the hedge is all that is said
                found.update((place - 1, place + 1))
            if part.join:
                found.add(place - 1)
        elif part.join == "but" and place not in known and not part.tells_of_a_light:
            found.add(place - 1)
    return found


def _reading(said: _Said, heard: Heard, *, doubt: bool) -> Reading:
    meaning, sure = said.meaning, said.sure
    if meaning == "asks":
        return Reading(kind="question", confidence=sure, rule="asks")
    if sure < 0.5 or (doubt and meaning in (*_UNSURE, "trouble")):
        kind = cast(Kind, meaning) if meaning in _UNSURE else "unclear"
        return Reading(
            kind=kind, confidence=_LIKELY, rule=f"maybe:{meaning}", ask=ASK_BACK[heard.ask]
        )
    if meaning == "call_me":
        meaning = "help"
    if meaning == "trouble" or (meaning == "other_time" and heard.ask in _BOOKED):
        return Reading(kind="no", confidence=sure, rule=meaning)
    if meaning in ("other_time", "not_yet"):
        return Reading(kind="later", confidence=sure, rule=meaning, ask="ask_minutes")
    return Reading(kind=cast(Kind, meaning), confidence=sure, rule=f"words:{meaning}")
