"""One disturbed rehearsal and its undisturbed twin."""

import random
from dataclasses import dataclass
from pathlib import Path

from bot.plan.invented import invented
from bot.practice.child import Kill
from bot.practice.killing import LATE, Ended, Killing, Setting
from bot.practice.persona import Persona
from tests.faults.record import Record, import_wave, read

#: Of each boundary before and after, and somewhere in between.
BOT_POINTS = (
    "request.before",
    "ack.before",
    "commit.before",
    "commit.during",
    "commit.after",
    "claim.before",
    "claim.during",
    "claim.after",
    "post.before",
    "post.during",
    "post.after",
    LATE,
    "relay.before",
    "relay.after",
    "end.before",
    "end.after",
    "sweep.after",
    "start.store",
    "start.chat",
    "start.done",
)
STORE_POINTS = (
    "request.before",
    "ack.before",
    "commit.before",
    "commit.during",
    "commit.after",
    "claim.before",
    "claim.during",
    "claim.after",
    "post.before",
    "post.during",
    "post.after",
    "relay.before",
    "relay.after",
    "end.before",
    "end.after",
    "sweep.after",
)
#: From when a registration is sent, or a person writes or presses, to the acknowledgement.
OCCASIONS = ("registration", "person")
BETWEEN = ("request.before", "commit.before", "commit.during", "commit.after", "ack.before")
#: People with every habit that leads to messages of another kind.
CASTS: tuple[tuple[Persona, ...], ...] = (
    (
        Persona("smooth", types=0.5),
        Persona("danger"),
        Persona("smooth", "loose_cable"),
        Persona("asks_time"),
        Persona("silent"),
        Persona("power_cut"),
        Persona("smooth", "not_in_registry"),
    ),
    (
        Persona("wants_help"),
        Persona("smooth", "dead_line"),
        Persona("wrong_unit"),
        Persona("stops"),
        Persona("wordless"),
        Persona("no_signal"),
        Persona("smooth", types=0.8),
    ),
)
#: A few people for a sample: a press home of a cable, a hold of the wave, plain typed answers.
FEW = (Persona("smooth", "loose_cable"), Persona("danger"), Persona("smooth", types=0.8))
STRANGERS = ("HML-9ZZZ88",)


def setting(seed: int, people: tuple[Persona, ...] | None = None) -> Setting:
    personas = people or CASTS[seed % len(CASTS)]
    rows = invented(len(personas), seed)
    return Setting(
        rows=rows,
        seed=seed,
        personas={row.site: who for row, who in zip(rows, personas, strict=True)},
        strangers=STRANGERS,
    )


@dataclass
class Run:
    ended: Ended
    record: Record


async def run(of: Setting, data: Path, kills: list[Kill], *, gap: int = 0, chance: int = 0) -> Run:
    """``gap``: instants between one kill and the arming of the next, on the average."""
    draw = random.Random(f"{of.seed}/{chance}")
    nexts = [draw.randint(2, max(3, gap))]

    def due(instant: int) -> bool:
        if not kills or instant < nexts[0]:
            return False
        nexts[0] = instant + draw.randint(1, max(2, 2 * gap))
        return True

    found: list[Record] = []

    async def judge(data: Path, ended: Ended) -> None:
        found.append(await read(data, ended))

    ended = await Killing(of, data, kills, due).run(import_wave, judge)
    return Run(ended, found[0])
