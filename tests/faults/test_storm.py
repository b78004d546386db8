"""A sample of the storm: registrations under load while the store, the disk and the bot give way.

All faults, more often: ``python -m tests.faults.storm``.
"""

from pathlib import Path

import pytest

from tests.faults.storm import Phase, Row, good, storm, table_row

FEW = {"nothing": 1, "store killed": 1, "disk full": 1, "bot killed": 1}


async def test_what_is_answered_2xx_is_in_the_journal_once_whatever_breaks(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    rows = await storm(Path(tmp_path_factory.mktemp("m")), FEW)
    assert [row.fault for row in rows] == list(FEW)
    assert good(rows), rows
    assert all(row.accepted >= 40 for row in rows)


def test_what_is_lost_doubled_or_refused_is_seen() -> None:
    phase = Phase("x", 1, first={"a": 1.0, "b": 1.0}, taken={"a": 2.0, "b": 4.5})
    phase.answers.update({"202": 2, "503": 3, "lost": 1})
    kept = {"a": 1, "b": 1}
    fine = table_row(phase, kept)
    assert fine == Row("x", 1, 2, 2, 0, 0, 0, 3.5)
    assert good([fine])
    assert table_row(phase, {"a": 1}).lost == 1
    assert table_row(phase, {"a": 2, "b": 1}).doubled == 1
    phase.answers["401"] += 1
    refused = table_row(phase, kept)
    assert refused.refused == 1
    assert not good([refused])
