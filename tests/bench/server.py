"""The servers that are measured, each in a process of its own, on uvloop and loopback.

    python -m tests.bench.server floor|ours STORE_URL NOW

Prints its port; answers each line on its standard input with the CPU seconds it has used, and
ends when that is closed. ``NOW`` is wave time in milliseconds.
"""

import asyncio
import base64
import hashlib
import hmac
import sys
import time

import redis.asyncio
import uvloop
from aiohttp import web

from bot.app import Bot, Parts
from bot.practice import scene
from handlers.chat import Identity
from tests.bench.events import PATHS

#: The least that keeps an event, once: its id, and its body in a stream.
SCRIPT = """#!lua
if redis.call('SET', KEYS[1], '1', 'NX', 'EX', 259200) then
  redis.call('XADD', KEYS[2], '*', 'e', ARGV[1])
  return 1
end
return 0
"""


async def floor(url: str) -> tuple[web.AppRunner, int]:
    """A bare handler: one HMAC, one small script; the client as it comes."""
    client = redis.asyncio.Redis.from_url(url)
    sha = await client.script_load(SCRIPT)
    key = base64.b64decode(scene.WEBHOOK_SECRET.removeprefix("whsec_"))

    async def post(request: web.Request) -> web.Response:
        body = await request.read()
        headers = request.headers
        name = headers["webhook-id"]
        content = f"{name}.{headers['webhook-timestamp']}.".encode() + body
        digest = base64.b64encode(hmac.digest(key, content, hashlib.sha256)).decode()
        if not hmac.compare_digest(headers["webhook-signature"], f"v1,{digest}"):
            return web.Response(status=401)
        await client.evalsha(sha, 2, f"{{floor}}:f:{name}", "{floor}:j", body)
        return web.Response(status=202, body=b'{"outcome": "ok"}', content_type="application/json")

    app = web.Application()
    app.router.add_post(PATHS["floor"], post)
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    return runner, runner.addresses[0][1]


async def ours(url: str, now: int) -> tuple[Bot, int]:
    """The whole bot as it is served, with nobody to send to and its clock standing still."""
    settings = scene.settings("http://127.0.0.1:9/api/", "none", ["C1"], url)
    identity = Identity("T1", "U9", "B9", "http://127.0.0.1:9/")
    bot = Bot(settings, scene.runbook(), Parts(now=lambda: now, identity=identity))
    await bot.start()
    return bot, bot.port


async def main() -> None:
    which, url, now = sys.argv[1:]
    served: tuple[web.AppRunner | Bot, int]
    served = await floor(url) if which == "floor" else await ours(url, int(now))
    part, port = served
    print(port, flush=True)
    loop = asyncio.get_running_loop()
    reader = asyncio.StreamReader()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while await reader.readline():
        print(time.process_time(), flush=True)
    await (part.cleanup() if isinstance(part, web.AppRunner) else part.stop())


if __name__ == "__main__":
    uvloop.run(main())
