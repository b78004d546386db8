"""Rows of an import wait here until one commit of their wave makes them live."""

from typing import cast

from bot.store import keys
from bot.store.base import Connected

_AT_ONCE = 500
_KEPT_SECONDS = 7 * 24 * 3600


class Staging(Connected):
    """Staged rows are no subject: nobody decides on them, and they go by themselves."""

    async def stage(self, home: str, name: str, rows: dict[str, bytes]) -> None:
        """Lay rows down under ``name``: site to plan. The same again changes nothing."""
        key = keys.of(home).stage(name)
        sites = sorted(rows)
        for start in range(0, len(sites), _AT_ONCE):
            part = sites[start : start + _AT_ONCE]
            await self._write(key, "HSET", key, *(x for site in part for x in (site, rows[site])))
        await self._write(key, "EXPIRE", key, _KEPT_SECONDS)

    async def staged(self, home: str, name: str) -> dict[str, bytes]:
        """The rows under ``name``; empty when they are live already."""
        key = keys.of(home).stage(name)
        flat = cast("list[bytes]", await self._read(key, "HGETALL", key))
        return {site.decode(): row for site, row in zip(flat[::2], flat[1::2], strict=True)}

    async def unstage(self, home: str, name: str) -> None:
        key = keys.of(home).stage(name)
        await self._write(key, "DEL", key)
