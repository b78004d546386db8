"""Invented waves of any size, for rehearsals. The same seed gives the same wave.

Nothing here names a real person, place or number: names are put together from syllables,
telephone numbers come from the ranges reserved for fiction (Ofcom: 01632 960000-960999 and
07700 900000-900999) and repeat in larger waves, addresses of the network from RFC 5737.
"""

import random
from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import lru_cache

from bot.model import serial
from bot.plan import zones
from bot.plan.rows import PersonRow, SiteRow, UnitRow

PER_TEN_MINUTES = 60
PER_EVENING = PER_TEN_MINUTES * 18  # starts from 18:00 to 21:00
FIRST_EVENING = datetime(2026, 3, 12, 18, 0)  # noqa: DTZ001 - wall time; a Thursday
WINDOW_END = 22  # o'clock

_TZ = "Europe/London"
# Without what is misread on a label: 0 O D, 1 I L, 2 Z, 5 S, 8 B, U V.
_LABEL = "34679ACEFGHJKMNPQRTWXY"
_FIRST = ("Ada", "Tomasz", "Priya", "Owen", "Chiamaka", "Ruth", "Yusuf", "Elsie", "Mei-Lin",
          "Harold", "Amina", "Gwen", "Piotr", "Nadia", "Sunita", "Kofi", "Hannah", "Luis", "Tariq",
          "Irena")  # fmt: skip
_LAST = (
    ("Bright", "Fen", "Lark", "Mar", "Oster", "Pell", "Quill", "Thorn", "Wex", "Zel"),
    ("acre", "borne", "field", "hollow", "ick", "low", "mere", "shade", "wick", "wright"),
)
_PLACE = (("Alder", "Amber", "Birken", "Brindle", "Crow", "Dapple", "Elms", "Farthing", "Fenn",
           "Gorse", "Harts", "Kestrel", "Low", "Marsh", "Nettle", "Oaten", "Quill", "Salt",
           "Thorn", "Wren"),
          ("brannock", "fallow", "gleam", "hollow", "loe", "mallow", "marrow", "shade",
           "turn", "whistle"))  # fmt: skip


_NETWORKS = [
    f"{block}.{part * 16}/28"
    for block in ("192.0.2", "198.51.100", "203.0.113")
    for part in range(16)
]


def invented(units: int, seed: int) -> list[SiteRow]:
    """A wave of `units` sites with one unit each, in the order of their starts.

    At most 60 visits start within any ten minutes, from 18:00 to 21:00 in Europe/London; from
    1,080 on the next weekday evening is used. Only the first 48 sites have address ranges, as many
    as the documentation ranges hold. Raises ValueError for less than one unit.
    """
    if units < 1:
        raise ValueError("a wave needs at least one unit")
    draw = random.Random(seed)  # noqa: S311 - a rehearsal wants a seed, not secrecy
    labels = _labels(draw)
    return [_site(n, f"invented-{seed}", next(labels), draw) for n in range(units)]


def _site(n: int, wave: str, label: str, draw: random.Random) -> SiteRow:
    place = _place(n)
    start, end = _times(n)
    large = draw.random() < 0.25
    return SiteRow(
        wave=wave,
        site=f"s{n + 1:05}",
        name=f"{place} Library",
        tz=_TZ,
        contact=_person("U1", n, draw),
        deputy=_person("U2", n, draw),
        phone=f"01632 960{n % 900:03}",
        address=f"{draw.randrange(1, 60)} Mill Lane, {place}",
        units=[
            UnitRow(
                serial=serial.normal(label),
                label=label,
                model="HG-20" if large else "HG-10",
                version="4.4.1" if large else "4.2.0",
            )
        ],
        link_type="fibre" if draw.random() < 0.5 else "copper",
        circuit=f"HLS-CCT-{n + 1:05}",
        carrier="the county carrier",
        carrier_fault_line="01632 960900",
        networks=[_NETWORKS[n]] if n < len(_NETWORKS) else [],
        depends=["public computers", "self-service kiosk"],
        where="cupboard behind the issue desk",
        access="staff door at the side, key at the desk",
        opening_hours="Mon-Fri 09:00-17:30",
        alarm_hours="22:30-07:00",
        start=start,
        end=end,
        ready=["carton", "label", "contact", "deputy", "line", "registry"],
    )


def _times(n: int) -> tuple[int, int]:
    """Start and window end of the n-th site: ten seconds after the one before it."""
    evening, place = divmod(n, PER_EVENING)
    begin = _evening(evening)
    end = begin.replace(hour=WINDOW_END)
    begin += timedelta(minutes=10) * place / PER_TEN_MINUTES
    return zones.instant(zones.Wall(begin), _TZ), zones.instant(zones.Wall(end), _TZ)


@lru_cache(maxsize=1024)
def _evening(number: int) -> datetime:
    """The number-th weekday evening, counted from the first."""
    week, day = divmod(FIRST_EVENING.weekday() + number, 5)
    return FIRST_EVENING + timedelta(weeks=week, days=day - FIRST_EVENING.weekday())


def _person(prefix: str, n: int, draw: random.Random) -> PersonRow:
    start, end = _LAST
    name = f"{draw.choice(_FIRST)} {draw.choice(start)}{draw.choice(end)}"
    mobile = n % 500 + (500 if prefix == "U2" else 0)
    return PersonRow(user=f"{prefix}{n + 1:05}", name=name, mobile=f"07700 900{mobile:03}")


def _place(n: int) -> str:
    start, end = _PLACE
    turn, place = divmod(n, len(start) * len(end))
    name = start[place % len(start)] + end[place // len(start)]
    return f"{name} {turn + 1}" if turn else name


def _labels(draw: random.Random) -> Iterator[str]:
    """Serials that differ from each other, with letters and digits."""
    seen: set[str] = set()
    while True:
        label = "".join(draw.choice(_LABEL) for _ in range(6))
        if label not in seen and not label.isalpha() and not label.isdigit():
            seen.add(label)
            yield f"HML-{label}"
