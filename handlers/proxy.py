"""Headers of a TLS proxy before us, believed only from the addresses that the settings name.

Source: the common headers X-Forwarded-For and X-Forwarded-Proto (common practice, no published
source; RFC 7239 standardises another header for the same).
"""

from collections.abc import Sequence
from functools import lru_cache
from ipaddress import ip_address, ip_network

from aiohttp import web
from aiohttp.typedefs import Handler, Middleware

#: Marks a request that came through one of these proxies: what only they may say is believed.
TRUSTED = web.RequestKey("trusted_proxy", bool)


def believed(trusted: Sequence[str]) -> Middleware:
    """Shows each handler the address of the one who really sent the request."""
    networks = [ip_network(text, strict=False) for text in trusted]

    @lru_cache(maxsize=1024)
    def is_ours(address: str) -> bool:
        try:
            found = ip_address(address)
        except ValueError:
            return False
        return any(found in network for network in networks)

    @web.middleware
    async def middleware(request: web.Request, handler: Handler) -> web.StreamResponse:
        if networks and request.remote and is_ours(request.remote):
            chain = ",".join(request.headers.getall("X-Forwarded-For", ())).split(",")
            others = [hop.strip() for hop in chain if hop.strip()]
            sender = next((hop for hop in reversed(others) if not is_ours(hop)), request.remote)
            scheme = request.headers.get("X-Forwarded-Proto", request.scheme).strip().lower()
            if scheme not in ("http", "https"):
                scheme = request.scheme
            request = request.clone(remote=sender, scheme=scheme)
            request[TRUSTED] = True
        return await handler(request)

    return middleware
