"""How long whole rehearsals take, with no waiting: everything on real parts, one process.

    python -m tests.bench.rehearse [--units N [N ...]] [--longest SECONDS]

Each is ``musterline rehearse`` in a process of its own, ended after ``--longest``. The figure is
what one registration, from invitation to wrap-up, costs in the end.
"""

import argparse
import json
import subprocess
import sys
import time

from tests.bench.bench import ROOT, Failed, last_line, table


def rehearsed(units: int, longest: float) -> dict[str, float]:
    """The final figures of one rehearsal, with the whole process's wall time in seconds."""
    command = [sys.executable, "-m", "bot", "rehearse", "--headless", "--json"]
    since = time.monotonic()
    try:
        done = subprocess.run(
            [*command, "--speed", "0", "--units", str(units)],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=longest,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise Failed(f"a rehearsal of {units} units took longer than {longest:.0f} s") from None
    if done.returncode:
        raise Failed(f"a rehearsal of {units} units ended with {done.returncode}: {done.stderr}")
    figures: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    if figures["events_lost"] or figures["messages_doubled"]:
        raise Failed(f"a rehearsal of {units} units lost events or doubled messages: {figures}")
    return {**figures, "process_seconds": time.monotonic() - since}


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.rehearse", description=__doc__)
    parser.add_argument("--units", type=int, nargs="+", default=[40, 200])
    parser.add_argument("--longest", type=float, default=600, help="seconds for one rehearsal")
    args = parser.parse_args(arguments)
    rows: list[list[object]] = [["units", "s", "ms per unit", "messages", "messages/s"]]
    seconds: dict[str, float] = {}
    try:
        for units in args.units:
            figures = rehearsed(units, args.longest)
            wall, sent = figures["process_seconds"], figures["messages_sent"]
            rows.append([units, wall, round(wall / units * 1000), round(sent), sent / wall])
            seconds[str(units)] = round(wall, 1)
    except Failed as error:
        print(f"{error}.", file=sys.stderr)
        return 1
    table(rows)
    last_line({"seconds": seconds})
    return 0


if __name__ == "__main__":
    sys.exit(main())
