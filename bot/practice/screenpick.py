"""Which site the person at the screen has chosen, and what of it is shown."""

from bot.practice.screenstate import Watched


class Pick:
    """Until a site is chosen the table follows the newest activity; then its order stands still."""

    def __init__(self, watched: Watched) -> None:
        self._watched = watched
        self._order: list[str] = []
        self.site = ""  # the chosen one; empty: none
        self.reading = False
        self.back = 0  # lines scrolled back in the thread

    def order(self) -> list[str]:
        """The sites in the order of the table."""
        if not self.site:
            return self._watched.newest_first()
        known = set(self._order)
        return self._order + [s for s in self._watched.newest_first() if s not in known]

    def key(self, key: str) -> bool:
        """Take a key; whether it changed anything."""
        match key:
            case "down" | "n" | "j":
                return self._move(1)
            case "up" | "p" | "k":
                return self._move(-1)
            case "enter":
                return self._read()
            case "escape" | "back" | "f":
                return self._let_go()
            case "page up" | "b":
                return self._scroll(8)
            case "page down" | " ":
                return self._scroll(-8)
        return False

    def _move(self, by: int) -> bool:
        self._order = self.order()
        if not self._order:
            return False
        at = self._order.index(self.site) + by if self.site else 0
        self.site = self._order[max(0, min(len(self._order) - 1, at))]
        self.back = 0
        return True

    def _read(self) -> bool:
        if not self.site:
            self._move(1)
        self.reading = bool(self.site) and not self.reading
        self.back = 0
        return True

    def _let_go(self) -> bool:
        """First the thread is closed, then the table follows the newest activity again."""
        if self.reading:
            self.reading = False
        else:
            self.site = ""
        self.back = 0
        return True

    def _scroll(self, by: int) -> bool:
        if not self.reading:
            return False
        self.back = max(0, self.back + by)
        return True
