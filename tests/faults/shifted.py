"""The program with a wall clock that can be put: ``python -m tests.faults.shifted FILE ...``.

``FILE`` holds eight bytes, a little-endian float: seconds added to what the machine's clock says.
Whoever writes them puts the clock of this process, as a person or a time service puts a machine's.
The monotonic clock runs on, as it does there.
"""

import mmap
import struct
import sys
import time
from pathlib import Path

_SHIFT = struct.Struct("<d")
_NANO = 1_000_000_000


def write(file: Path, seconds: float) -> None:
    """Put the clock of whoever reads the file; the file is made if it is not there."""
    if not file.exists():
        file.write_bytes(_SHIFT.pack(seconds))
        return
    with file.open("r+b") as opened:
        opened.write(_SHIFT.pack(seconds))


def _shift(file: Path) -> None:
    with file.open("rb") as opened:
        shared = mmap.mmap(opened.fileno(), _SHIFT.size, prot=mmap.PROT_READ)
    real, real_ns = time.time, time.time_ns

    def shifted() -> float:
        return real() + float(_SHIFT.unpack_from(shared)[0])

    def shifted_ns() -> int:
        return real_ns() + round(float(_SHIFT.unpack_from(shared)[0]) * _NANO)

    time.time, time.time_ns = shifted, shifted_ns


if __name__ == "__main__":
    _shift(Path(sys.argv[1]))  # before anything of ours is read, which may keep the clock it finds
    from bot.__main__ import main

    raise SystemExit(main(sys.argv[2:]))
