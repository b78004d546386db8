"""From a place or a person to the visit that is meant. Index hits are hints and are verified."""

from dataclasses import dataclass
from typing import NamedTuple

from bot.desk import Desk, Seen
from bot.model.serial import normal
from bot.model.subject import Subject
from bot.model.visit.state import Visit

Found = tuple[Subject, Visit]


@dataclass(frozen=True)
class Route:
    """Where words belong. ``several``: the person's visits, where it is not said which."""

    subject: Subject | None = None
    visit: Visit | None = None
    in_thread: bool = False
    several: tuple[Found, ...] = ()


async def by_words(desk: Desk, channel: str, thread: str, user: str) -> Route:
    """The visit whose thread it is, else the one live visit of that person."""
    if thread:
        for subject in await desk.store.find("thread", f"{channel}:{thread}"):
            visit = await desk.state(subject)
            if isinstance(visit, Visit):
                return Route(subject, visit, in_thread=True)
            if subject.kind == "wave":
                return Route(subject, in_thread=True)
    found = await visits_of(desk, user)
    latest = sorted(found, key=lambda one: one[1].start)[-1:]  # of what is over, the last
    live = [(s, v) for s, v in found if v.live] or latest
    under_way = [(s, v) for s, v in live if v.state == "running"]
    chosen = under_way if len(under_way) == 1 else live
    if len(chosen) == 1:
        return Route(*chosen[0])
    return Route(several=tuple(chosen))


async def visits_of(desk: Desk, user: str) -> list[Found]:
    """All visits whose contact or deputy this is."""
    subjects = await desk.store.find("user", user)
    return [(subject, v) for subject in subjects if (v := await _of(desk, subject, user))]


async def _of(desk: Desk, subject: Subject, user: str) -> Visit | None:
    """The visit, if that person really is its contact or deputy."""
    visit = await desk.state(subject)
    if not isinstance(visit, Visit):
        return None
    people = [visit.contact.user] + ([visit.deputy.user] if visit.deputy else [])
    return visit if user in people else None


class Expected(NamedTuple):
    """A visit that expects a serial, as read."""

    subject: Subject
    seen: Seen
    visit: Visit


async def expecting(desk: Desk, serial: str) -> Expected | None:
    """The visit that expects this serial, as read; the newest wave first where several do."""
    wanted = normal(serial)
    found = []
    for subject in await desk.store.find_lately("serial", wanted):
        seen = await desk.glance(subject)
        visit = seen.state
        if isinstance(visit, Visit) and visit.spares.withdraws(wanted):
            return Expected(subject, seen, visit)  # whoever else lists it: it counts for nobody
        if not isinstance(visit, Visit) or visit.spares.gave(wanted):
            continue
        if any(normal(u.serial) == wanted for u in visit.units):
            found.append((visit.live, visit.start, subject, Expected(subject, seen, visit)))
    return max(found, key=lambda one: one[:3])[3] if found else None


async def by_serial(desk: Desk, serial: str) -> Subject | None:
    """The visit that expects this serial; the newest wave first where several do."""
    found = await expecting(desk, serial)
    return found.subject if found else None


async def is_own_thread(desk: Desk, route: Route, thread: str) -> bool:
    """Whether it is the visit's own thread, and not that of a call about it, or a mirror."""
    visit = route.visit
    return visit is not None and await _is(desk, route, thread, desk.surroundings.thread_of(visit))


async def is_mirror(desk: Desk, route: Route, thread: str) -> bool:
    """Whether it is the team's copy of a private conversation."""
    visit = route.visit
    return visit is not None and await _is(desk, route, thread, desk.surroundings.mirror_of(visit))


async def _is(desk: Desk, route: Route, thread: str, name: str) -> bool:
    if not (thread and route.in_thread and route.subject is not None):
        return False
    return (await desk.store.thread_info(route.subject.home, name)).root == thread


async def concerned(desk: Desk, route: Route, user: str) -> list[Subject]:
    """Whom words of danger stop: the visit of that place, and every live one of that person."""
    found = [route.subject] if route.subject is not None else []
    for subject in await desk.store.find("user", user):
        visit = await _of(desk, subject, user)
        if visit is not None and visit.live and subject not in found:
            found.append(subject)
    return found


async def waves_in_danger(desk: Desk, channel: str) -> list[Subject]:
    """The wave of that channel; where there is none, every open wave, else the next one."""
    here = await wave_of_channel(desk, channel)
    if here is not None:
        return [here]
    waves = []
    for home in await desk.store.homes():
        if home.startswith("w:"):
            subject = Subject(home, "wave")
            wave = await desk.state(subject)
            if wave is not None:
                waves.append((wave.state, wave.opens_at, subject))
    is_open = [subject for state, _, subject in waves if state == "open"]
    planned = sorted((at, subject) for state, at, subject in waves if state == "planned")
    return is_open or [subject for _, subject in planned[:1]]


async def wave_of_channel(desk: Desk, channel: str) -> Subject | None:
    """The wave that is carried in this channel, an open one before any other."""
    found = []
    for home in await desk.store.homes():
        if not home.startswith("w:"):
            continue
        subject = Subject(home, "wave")
        wave = await desk.state(subject)
        if wave is not None and channel in wave.channels:
            found.append((wave.state == "open", subject))
    return max(found)[1] if found else None
