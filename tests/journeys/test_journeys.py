"""Every script of this folder, played against the real parts. The grammar is in script.py.

One alone: ``python -m pytest tests/journeys -k cable_fault_cured``.
"""

from pathlib import Path

import pytest

from tests.journeys.house import House
from tests.journeys.play import Differs, Play
from tests.journeys.script import read

SCRIPTS = sorted(Path(__file__).parent.glob("*.txt"))


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.stem)
async def test_journey(path: Path, store_url: str) -> None:
    script = read(path)
    house = House(script, store_url)
    await house.start()
    differs = ""
    try:
        await Play(script, house).run()
    except Differs as found:
        differs = str(found)
    finally:
        await house.stop()
    if differs:
        pytest.fail(differs, pytrace=False)
