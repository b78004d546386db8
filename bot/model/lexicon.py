"""The words of one language that the reader knows, as validated data.

One file per language; how a phrase is written stands in ``bot.model.phrases``. Nothing in the
code knows a language: a second one is a second file.
"""

from collections.abc import Iterator
from functools import cached_property
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from bot.model.phrases import EDIT_FROM, Phrases
from bot.model.runbook import AskKind, Colour
from bot.model.tokens import words_of

#: What a phrase may mean beside lights, times, serials, versions and choices.
Meaning = Literal[
    "stop",
    "help",
    "power_cycled",
    "no",
    "other_time",
    "not_yet",
    "pause",
    "no_signal",
    "question",
    "done",
    "yes",
    "seen",
    "thanks",
    "small_talk",
    "correction",
    "call_me",
    "trouble",
    "sorry",
]
#: The rules of danger; each names what was seen.
Rule = Literal[
    "smoke", "sparks", "burning", "shock", "water", "heat", "injury", "gas", "fire", "alarm"
]
#: What a phrase says about how a light behaves.
Behaviour = Literal[
    "steady", "lasting", "blinking", "not_blinking", "slow", "fast", "odd", "off", "inert", "lit"
]
#: What a phrase says about a light beside its colour and behaviour; ``idle``: it only looks so.
Mark = Literal["newer", "older", "elsewhere", "several", "every", "alternates", "same", "idle"]
#: Words that join two clauses.
Joining = Literal["and", "but", "then"]
#: Signs among the words of danger: what excuses, what denies, what only enquires.
NOT, DENIES, ENQUIRES, DENIES_AFTER = "-", "!", "?", "<"
#: Behind a rule: danger only where it is asked or hedged.
IF_ASKED = "??"
#: Stands between a kind of question and what something means only as an answer to it.
WHEN = "|"
Phrase = str
Listed = tuple[Phrase, ...]


class Words(BaseModel):
    """Base: unknown keys are errors, values cannot be changed after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Said(Words):
    """How a meaning is put into words, surest first."""

    alone: Listed = Field(default=(), description="the clause says this and nothing else")
    within: Listed = Field(default=(), description="sure wherever it stands in a clause")
    maybe: Listed = Field(default=(), description="likely, but asked back")


class Rates(Words):
    """How a flash rate is put into words; ``#`` are the numbers."""

    count_in_seconds: Listed = Field(description="# blinks in # seconds")
    per_second: Listed = Field(description="# blinks a second; without # it is one")
    every_seconds: Listed = Field(description="one blink every # seconds; without # it is one")


class Clock(Words):
    """A clock time: ``#`` is the hour, or hour and minute as in 21:30."""

    phrase: Phrase
    add: int = Field(default=0, ge=-60, le=60, description="minutes to add to the hour")
    half: Literal["", "am", "pm"] = Field(default="", description="which half of the day is said")


class Lexicon(Words):
    """The words of one language."""

    language: str = Field(pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]+)*$", description="BCP 47 tag")
    name: str = Field(min_length=1, description="the language's own name for itself")

    danger: dict[Rule, Listed]
    in_question: dict[Rule, Listed] = Field(
        default={}, description="danger where it is asked or hedged, else not"
    )
    not_danger: Listed = Field(description="what only sounds like danger; must be one clause")
    glued: Listed = Field(
        default=(), description="small words that are typed without the blank beside a danger word"
    )
    own: Listed = Field(
        default=(), description="ordinary words that are words of danger in another language"
    )
    denies: Listed = Field(description="words before a danger word that deny it")
    denies_through: Listed = Field(description="words that may stand between the two")
    denies_after: Listed = Field(
        default=(), description="words behind a danger word that deny it, at the clause's end"
    )
    denies_after_through: Listed = Field(
        default=(), description="words that may stand between the two, or behind both"
    )
    enquires: Listed = Field(description="how a clause starts that only asks about danger")

    meanings: dict[Meaning, Said]
    when: dict[AskKind | Literal["none"], dict[Meaning, Said]] = Field(
        default_factory=dict,
        description="what means something only as the answer to this question; none: unasked",
    )
    negates: Listed = Field(description="what turns a phrase behind it into its opposite")
    negates_next: Listed = Field(
        default=(), description="what turns only the very next phrase: no, none"
    )
    unreal: Listed = Field(
        default=(), description="what says that a phrase behind it is not so yet: when, should be"
    )
    negates_on: Listed = Field(
        default=(), description="words that carry a negation on to the next phrase: or, nor"
    )
    negates_after: Listed = Field(
        default=(), description="what turns a phrase before it, where a language does so"
    )
    negates_through: Listed = Field(description="words that may stand between the two")
    joins: dict[Joining, Listed] = Field(
        default_factory=dict, description="words at which a clause that runs on is cut"
    )
    whole: Listed = Field(default=(), description="what stays whole though it holds such a word")
    cuts: Listed = Field(default=(), description="how a question starts amid a clause that runs on")
    own_language: Said = Field(
        default_factory=Said, description="how this language is asked for, in any language"
    )
    unless: Listed = Field(description="what makes 'done' not quite done")
    hedges: Listed = Field(description="what says that the speaker is not sure")
    vague: Listed = Field(default=(), description="what says that a value is not given in full")
    asks: Listed = Field(description="how a clause starts that asks something")
    tells: Listed = Field(
        default=(), description="words before such a start that make it no question: jetzt ist es"
    )
    fillers: Listed = Field(description="words that change nothing")

    colours: dict[Colour, Listed]
    other_colours: Listed = Field(description="colours that no light of ours has")
    behaviour: dict[Behaviour, Listed] = Field(
        description="what a light does; lasting: steady, unless it is said to blink; "
        "inert: off, unless a colour is said"
    )
    marks: dict[Mark, Listed] = Field(
        default_factory=dict, description="newer and older states, other lights, several, same"
    )
    nothing: Listed = Field(description="no light at all, when the light was asked about")
    light_words: Listed = Field(description="words for the light itself")
    things: Listed = Field(description="things with a colour of their own that are no light")
    rates: Rates

    numbers: dict[str, float]
    durations: dict[Phrase, float] = Field(description="minutes; times # where there is one")
    later: Listed = Field(description="with a duration or clock time: asks for more time")
    elapsed: Listed = Field(description="with a duration: says how long it has been")
    around: Listed = Field(description="small words that may stand around a wish for time")
    clock: tuple[Clock, ...]

    serial_labels: Listed = Field(description="words printed or said before a serial number")
    dashes: Listed = Field(default=(), description="words for the dash in a serial number")
    version_labels: Listed = Field(description="words printed or said before a version")
    dots: Listed = Field(description="words for the dot in a version")
    choices: dict[str, Listed] = Field(default_factory=dict, description="by the answer's key")

    misspelt: dict[str, Listed] = Field(
        default_factory=dict, description="spellings of short words that no rule covers"
    )
    folds: dict[str, str] = Field(
        default_factory=dict,
        description="letters written in two ways, and what both are compared as: ue is u",
    )
    plain: Listed = Field(
        default=(), description="ordinary words that are near one of ours and not a misspelling"
    )

    @model_validator(mode="after")
    def _phrases_can_be_read(self) -> Self:
        for rule in Rule.__args__:  # type: ignore[attr-defined]
            if not self.danger.get(rule):
                raise ValueError(f"danger: no words for {rule}")
        for meaning in Meaning.__args__:  # type: ignore[attr-defined]
            if meaning not in self.meanings:
                raise ValueError(f"meanings: {meaning} is missing")
        groups = (self.dangers, self.danger_signs, self.within, self.alone, self.lights, self.times)
        for phrases in groups:
            phrases.find(())
        return self

    @cached_property
    def known(self) -> frozenset[str]:
        """Every word of the file: none of them is a misspelling of another."""
        plain = {word for phrase in self._all_phrases() for word in words_of(phrase)}
        return frozenset(plain | {words_of(word)[0] for word in self.numbers})

    @cached_property
    def denying_words(self) -> frozenset[str]:
        """Words over which a denial reaches a word of danger, folded."""
        return frozenset(word for phrase in self.denies_through for word in words_of(phrase))

    @cached_property
    def glued_words(self) -> frozenset[str]:
        """Small words that may be joined to a word of danger, folded."""
        return frozenset(word for phrase in self.glued for word in words_of(phrase))

    @cached_property
    def own_words(self) -> frozenset[str]:
        """Words of danger of another language that mean nothing of the kind in this one."""
        return frozenset(word for phrase in self.own for word in words_of(phrase))

    @cached_property
    def after_words(self) -> frozenset[str]:
        """Words over which a denial behind a word of danger reaches back, folded."""
        return frozenset(word for phrase in self.denies_after_through for word in words_of(phrase))

    @cached_property
    def turning_words(self) -> frozenset[str]:
        """Words over which a negation reaches a phrase, folded."""
        return frozenset(word for phrase in self.negates_through for word in words_of(phrase))

    @cached_property
    def linking_words(self) -> frozenset[str]:
        """Words that carry a negation from one phrase on to the next."""
        return frozenset(word for phrase in self.negates_on for word in words_of(phrase))

    @cached_property
    def negating_words(self) -> frozenset[str]:
        """Single words that turn what stands behind them, folded."""
        phrases = (words_of(phrase) for phrase in (*self.negates, *self.negates_next))
        return frozenset(words[0] for words in phrases if len(words) == 1)

    def _all_phrases(self) -> Iterator[str]:
        for _, said in self._meant():
            yield from (*said.alone, *said.within, *said.maybe)
        for group in (
            self.danger,
            self.in_question,
            self.colours,
            self.behaviour,
            self.choices,
            self.joins,
            self.marks,
        ):
            for listed in group.values():
                yield from listed
        for name, value in self:
            if isinstance(value, tuple) and name != "clock":
                yield from value
        yield from (*self.rates.count_in_seconds, *self.rates.per_second)
        yield from (*self.rates.every_seconds, *self.durations)
        yield from (clock.phrase for clock in self.clock)
        yield from (*self.own_language.alone, *self.own_language.within)

    def _ready(self, meanings: dict[str, Listed]) -> Phrases:
        return Phrases(
            meanings,
            numbers=self.numbers,
            misspelt=self.misspelt,
            known=self.known,
            folds=self.folds,
        )

    @cached_property
    def dangers(self) -> Phrases:
        """The words of danger, by rule; few sentences hold any."""
        rules = {str(rule): listed for rule, listed in self.danger.items()}
        rules |= {f"{rule}{IF_ASKED}": listed for rule, listed in self.in_question.items()}
        return self._ready(rules)

    @cached_property
    def danger_signs(self) -> Phrases:
        """What is looked for where there is a word of danger: what excuses, denies, enquires."""
        return self._ready(
            {
                NOT: self.not_danger,
                DENIES: self.denies,
                DENIES_AFTER: self.denies_after,
                ENQUIRES: self.enquires,
            }
        )

    @cached_property
    def danger_words(self) -> dict[str, str]:
        """Single words of danger of five letters or more, folded, with their rule."""
        every = ((rule, words_of(p)) for rule, listed in self.danger.items() for p in listed)
        return {
            words[0]: rule
            for rule, words in every
            if len(words) == 1 and len(words[0]) >= EDIT_FROM and words[0].isalpha()
        }

    def _meant(self) -> Iterator[tuple[str, Said]]:
        """Every meaning with its words; ``ask|meaning`` where it depends on the question."""
        for meaning, said in self.meanings.items():
            yield meaning, said
        for ask, meanings in self.when.items():
            for meaning, said in meanings.items():
                yield f"{ask}{WHEN}{meaning}", said

    def _fillers(self) -> Listed:
        """What changes nothing: fillers, and what joins a clause to the one before."""
        return (*self.fillers, *(phrase for listed in self.joins.values() for phrase in listed))

    @cached_property
    def alone(self) -> Phrases:
        """What a clause may say and nothing else."""
        said = {meaning: said.alone for meaning, said in self._meant()}
        return self._ready({**said, "filler": self._fillers(), "nothing": self.nothing})

    @cached_property
    def within(self) -> Phrases:
        """What may stand anywhere in a clause; ``?`` marks the unsure ones."""
        sure = {meaning: said.within for meaning, said in self._meant()}
        unsure = {f"{meaning}?": said.maybe for meaning, said in self._meant()}
        signs = {
            "negates": self.negates,
            "negates_next": self.negates_next,
            "negates_after": self.negates_after,
            "unreal": self.unreal,
            "unless": self.unless,
            "hedges": self.hedges,
            "vague": self.vague,
            "asks": self.asks,
            "tells": self.tells,
        }
        return self._ready({**sure, **unsure, **signs})

    @cached_property
    def lights(self) -> Phrases:
        """Colours, behaviour, rates and the words that tell a light from a thing."""
        colours = {f"colour:{k}": v for k, v in self.colours.items()}
        behaviour = {f"is:{k}": v for k, v in self.behaviour.items()}
        rates = {
            "rate:count": self.rates.count_in_seconds,
            "rate:per": self.rates.per_second,
            "rate:every": self.rates.every_seconds,
        }
        marks = {f"mark:{k}": v for k, v in self.marks.items()}
        rest = {"colour:other": self.other_colours, "light": self.light_words}
        things = {"thing": self.things}
        return self._ready({**colours, **behaviour, **rates, **marks, **rest, **things})

    @cached_property
    def seams(self) -> Phrases:
        """Where a clause may be cut, and the phrases that hold such a word and stay whole."""
        joins = {f"join:{k}": v for k, v in self.joins.items()}
        words = {words_of(phrase)[0] for phrases in joins.values() for phrase in phrases}
        then = map(words_of, self.joins.get("then", ()))
        times = {own[0] for own in then if len(own) == 1}
        bound = set()
        for phrase in self._all_phrases():
            own = words_of(phrase.replace("*", ""))
            if words.intersection(own[1:-1]) or times.intersection(own[1:]):
                bound.add(phrase)
        behind = (*self.meanings["correction"].within, *self.meanings["correction"].alone)
        return self._ready({**joins, "cut": self.cuts, "behind": behind, "bound": tuple(bound)})

    @cached_property
    def asked_for(self) -> Phrases:
        """How this language is asked for: ``alone`` or ``within`` a clause."""
        return self._ready({"alone": self.own_language.alone, "within": self.own_language.within})

    @cached_property
    def times(self) -> Phrases:
        """Durations and clock times, and what is asked or told with them."""
        merged: dict[str, Listed] = {
            "later": self.later,
            "elapsed": self.elapsed,
            "around": self.around,
        }
        for key, value in self.durations.items():
            merged[f"minutes:{value}"] = (*merged.get(f"minutes:{value}", ()), key)
        for index, clock in enumerate(self.clock):
            merged[f"clock:{index}"] = (clock.phrase,)
        return self._ready(merged)

    @cached_property
    def picks(self) -> Phrases:
        """The words of choices, by the answer's key."""
        return self._ready(self.choices)
