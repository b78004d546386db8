"""Each person of the site has a language of their own; it changes by a word."""

from bot.model.reading import Reading
from bot.model.visit import event as e
from bot.model.visit.asking import reply
from bot.model.visit.asks import prompt
from bot.model.visit.listening import Words
from bot.model.visit.turn import Turn


def speak(turn: Turn, words: Words) -> None:
    """Write to this person in the language they ask for."""
    wanted = next(r.value for r in words.readings if r.kind == "language")
    user = words.fact.actor.user
    person = turn.visit.person(user)
    if person is not None and turn.visit.lang_of(person) != wanted:
        turn.emit(e.LanguageSet(user, wanted))


def asked_for(turn: Turn, words: Words) -> tuple[Reading, ...]:
    """Speak it from now on; gives what else stands in the words.

    Where nothing else does, the open question is asked again in the new language.
    """
    rest = tuple(r for r in words.readings if r.kind not in ("language", "thanks", "small_talk"))
    speak(turn, words)
    sure = tuple(r for r in rest if not r.ask and r.kind not in ("unclear", "question", "seen"))
    if sure:
        return sure
    question = turn.visit.question
    if question is not None and not turn.visit.blocked:
        prompt(turn, question, question.text)
    else:
        reply(turn, "language_ok", "nothing_open")
    return ()
