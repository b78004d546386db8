"""The picture of a rehearsal's live screen, fitted into whatever terminal there is."""

from collections import Counter

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from bot.model.board import Board
from bot.practice.screenchart import curve, in_marks_of
from bot.practice.screenlog import clock
from bot.practice.screenpick import Pick
from bot.practice.screenstate import Row, Watched
from bot.practice.show import STATES, thread
from bot.speak.catalogue import standard

_STYLES = {
    "done": "green",
    "rebook": "dim",
    "backed out": "dim",
    "stopped": "bold red",
    "with a person": "yellow",
    "waiting": "magenta",
    "held": "magenta",
    "running": "",
}
_TO_START = ("planned", "held", "invited", "agreed", "waiting")
_ALWAYS = ("calls", "late", "to start", "walking", "done")
_NEWS = 4
_CURVE_HEIGHT = 3
_NARROW = 36  # columns of the table while a thread is read beside it


class Painter:
    """Makes the picture from what is known now. ``began``: wave time of the start, ms."""

    def __init__(
        self, watched: Watched, pick: Pick, speed: float, began: int, console: Console
    ) -> None:
        self._watched, self._pick, self._speed = watched, pick, speed
        self._began, self._console = began, console
        self._texts = standard().best("en")
        self._top = 0  # first row of the table that is seen

    def picture(self) -> RenderableType:
        width, height = self._console.size
        board = self._watched.board()
        figures = [self._figures(board, width), self._finished(board, width)]
        head = [self._title(width), *figures, *self._curve(board, width)]
        foot = [*self._news(width), self._help(width)]
        room = max(3, height - len(head) - len(foot))
        return Group(*head, self._middle(width, room), *foot)

    # --- above and below -------------------------------------------------------------------

    def _title(self, width: int) -> Text:
        house = self._watched.house
        state = self._state()
        pace = f"{self._speed:g}x" if self._speed else "no waiting"
        left = f" {house.wave}   {clock(self._watched.now)} UTC   {state}"
        right = f"rehearsal, seed {house.world.seed}, {pace} "
        return Text(_between(left, right, width), style="reverse")

    def _state(self) -> str:
        wave = self._watched.wave
        if wave is None:
            return "starting"
        return self._texts.say(f"wave_is_{'held' if wave.held else wave.state}", {})

    def _figures(self, board: Board, width: int) -> Text:
        states = Counter(board.states)
        parts = {
            "calls": len(board.calls),
            "late": len(board.late),
            "to start": sum(states[state] for state in _TO_START),
            "walking": states["running"],
            "watched": states["watched"],
            "done": states["done"],
            "rebooked": states["rebook"],
            "backed out": states["backed out"],
            "with a person": states["with a person"],
            "stopped": states["stopped"],
        }
        shown = [f"{name} {count}" for name, count in parts.items() if count or name in _ALWAYS]
        return _cut("  ".join([f" online {board.online}/{board.units}", *shown]), width)

    def _finished(self, board: Board, width: int) -> Text:
        """What makes sites done, each on its own."""
        told = (
            f" of {board.sites} sites: registered {board.sites_registered}"
            f"  checks passed {board.sites_checked}  soak passed {board.sites_soaked}"
        )
        return _cut(told, width)

    def _curve(self, board: Board, width: int) -> list[Text]:
        lines = curve(
            board.curve,
            since=self._began,
            until=self._watched.now,
            total=board.units,
            width=max(10, width - 16),
            height=_CURVE_HEIGHT,
        )
        lines = in_marks_of(self._console.encoding, lines)
        marks = [f"of {board.units} online", "", f"from {clock(self._began)[:5]}"]
        return [
            Text.assemble(f" {mark:<13}", (line, "green"))
            for mark, line in zip(marks, lines, strict=True)
        ]

    def _news(self, width: int) -> list[Text]:
        lines = self._watched.chronicle.lines[-_NEWS:]
        shown = [
            _cut(f" {clock(x.at)[:5]} {x.site or 'wave'} - {x.who}: {x.said}", width, "dim")
            for x in lines
        ]
        return shown + [Text("")] * (_NEWS - len(shown))

    def _help(self, width: int) -> Text:
        if self._pick.reading:
            keys = " up/down another site   PgUp/PgDn earlier, later   Enter close   q stop"
        elif self._pick.site:
            keys = " up/down choose   Enter read its thread   Esc newest first again   q stop"
        else:
            keys = " up/down choose a site   Enter read its thread   q stop and sum up"
        return Text(_between(keys, "", width), style="reverse")

    # --- the middle ------------------------------------------------------------------------

    def _middle(self, width: int, room: int) -> RenderableType:
        if not self._pick.reading:
            return self._table(width, room)
        if width < 2 * _NARROW:
            return Group(*self._thread(width, room))
        beside = Table.grid(padding=0)
        beside.add_column(width=_NARROW)
        beside.add_column(width=width - _NARROW)
        said = Group(*self._thread(width - _NARROW, room))
        beside.add_row(self._table(_NARROW - 1, room), said)
        return beside

    def _table(self, width: int, room: int) -> RenderableType:
        narrow = width <= _NARROW
        table = Table(
            box=None, padding=(0, 1, 0, 0), width=width, pad_edge=False, header_style="bold"
        )
        table.add_column(" site", no_wrap=True, ratio=None if narrow else 4, min_width=15)
        if not narrow:
            table.add_column("unit", no_wrap=True, min_width=10)
        table.add_column("state", no_wrap=True, min_width=12 if narrow else 13)
        if not narrow:
            table.add_column("stage", no_wrap=True, ratio=3)
        table.add_column("min", justify="right", no_wrap=True, min_width=3)
        if not narrow:
            table.add_column("late", justify="right", no_wrap=True, min_width=4)
            table.add_column("call", no_wrap=True, ratio=3)
        order = self._pick.order()
        for site in order[self._first(order, room - 1) :][: room - 1]:
            self._add(table, self._watched.row(site), narrow)
        missing = room - 1 - min(room - 1, len(order))
        return Group(table, *[Text("")] * missing)

    def _first(self, order: list[str], room: int) -> int:
        """The first row to show, moved only as far as the chosen site asks for."""
        if not self._pick.site:
            self._top = 0
            return 0
        at = order.index(self._pick.site)
        self._top = max(min(self._top, at), at - room + 1, 0)
        return self._top

    def _add(self, table: Table, row: Row, narrow: bool) -> None:
        chosen = row.site == self._pick.site
        style = "reverse" if chosen else _STYLES.get(row.state, "dim")
        stage = self._texts.say(f"stage_{row.stage}", {}) if row.stage else ""
        minutes = "" if row.minutes < 0 else str(row.minutes)
        late = "" if row.late < 0 else f"+{row.late}"
        call = self._texts.say(f"cause_{row.call}", {}) if row.call else ""
        mark = ">" if chosen else " "
        state = STATES.get(row.state, row.state)
        cells = (
            [f"{mark}{row.site}", state, minutes]
            if narrow
            else [f"{mark}{row.site}", row.unit, state, stage, minutes, late, call]
        )
        table.add_row(*(Text(cell, style=style, overflow="ellipsis") for cell in cells))

    def _thread(self, width: int, room: int) -> list[Text]:
        """The chosen site's conversation, its end at the bottom unless scrolled back."""
        house, site = self._watched.house, self._pick.site
        inner = width - 2
        lines: list[Text] = []
        for at, who, said in thread(house, self._watched.chronicle, site):
            style = "" if who == "desk" else "cyan"
            whole = Text.assemble(
                (f"{at[:5]} ", "dim"), (f"{who}: ", f"bold {style}"), (said, style)
            )
            lines += whole.wrap(self._console, inner)
        if not lines:
            lines = [Text("Nothing was said here yet.", style="dim")]
        space = room - 1
        self._pick.back = max(0, min(self._pick.back, len(lines) - space))
        end = len(lines) - self._pick.back
        seen = lines[max(0, end - space) : end]
        title = Text(f"| {self._watched.visits[site].site.name}"[:width], style="bold")
        return [title, *(Text.assemble("| ", line) for line in seen)] + [Text("|")] * (
            space - len(seen)
        )


def _between(left: str, right: str, width: int) -> str:
    """One line of exactly ``width``: ``right`` at its end where both have room."""
    gap = width - len(left) - len(right)
    return (left + " " * gap + right) if gap >= 1 else left[:width].ljust(width)


def _cut(text: str, width: int, style: str = "") -> Text:
    line = Text(text, style=style, no_wrap=True, overflow="ellipsis")
    line.truncate(width, overflow="ellipsis")
    return line
