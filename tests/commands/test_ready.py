"""``musterline ready``: what is missing, whose it is, and what the exit code says."""

import json

from tests.commands.kit import HEADER, SAMPLE, SETTINGS, Folder, said

ITEMS = """
ready:
  items:
    - {id: carton, owner: contact, days: 2}
    - {id: line, owner: carrier, days: 1}
    - {id: registry, owner: admin, days: 2}
    - {id: consent, owner: contact, days: 1}
"""
HEAD = f"{HEADER},line tested,in registry,seen on site"
LIST = f"""{HEAD}
w1,amber,Amber,Europe/London,U0102,,HML-MTHE79,HG-20,4.4.1,2030-03-14 18:00,,,
w1,alder,Alder,Europe/London,U0101,,HML-4F7K2Q,HG-10,4.2.3,2030-03-12 18:00,2030-03-01,yes,carton
"""


def _imported(folder: Folder, items: str = ITEMS) -> Folder:
    before, _, rest = SAMPLE.read_text(encoding="utf-8").partition("\nready:")
    text = f"{before}\nstages:{rest.partition(chr(10) + 'stages:')[2]}"  # without its own section
    folder.write("runbook.yaml", text + items)
    folder.settings(SETTINGS.replace(str(SAMPLE), "runbook.yaml"))
    folder.write("sites.csv", LIST)
    assert folder.run("import", "sites.csv").returncode == 0
    return folder


def test_the_gaps_are_listed_nearest_start_first(bare: Folder) -> None:
    folder = _imported(bare)
    done = folder.run("ready", "--all")
    assert done.returncode == 1, said(done)
    lines = said(done).splitlines()
    assert [line.split()[2] for line in lines[1:-1]] == ["Alder", *["Amber"] * 4]
    assert "the evening is not agreed" in lines[1]
    assert "carrier" in next(line for line in lines if "line was not tested" in line)
    assert lines[-1] == "0 of 2 sites that have yet to begin are ready."
    short = said(folder.run("ready"))
    assert "5 gaps of starts more than a week ahead are left out (--all)." in short


def test_the_registry_s_list_settles_what_it_names(bare: Folder) -> None:
    folder = _imported(bare)
    folder.write("serials.csv", "model,serial\nHG-20,hml mthe79\n")
    done = folder.run("ready", "--all", "--json", "--registry", "serials.csv")
    assert done.returncode == 1, said(done)
    found = [json.loads(line) for line in done.stdout.splitlines()]
    notes = {(row["site"], row["item"]): row["note"] for row in found}
    assert ("amber", "registry") not in notes
    assert notes["alder", "registry"] == "unknown"  # whatever the site list said
    assert {row["overdue"] for row in found} == {False}


def test_what_cannot_be_looked_at_is_said(bare: Folder) -> None:
    folder = _imported(bare)
    for words, why in (
        (("ready", "w2"), "There is no wave w2."),
        (("ready", "--registry", "none.csv"), "none.csv cannot be read"),
    ):
        done = folder.run(*words)
        assert (done.returncode, why in said(done)) == (2, True), said(done)
    folder.write("odd.csv", "a,b\n1,2\n")
    done = folder.run("ready", "--registry", "odd.csv")
    assert (done.returncode, "none is called serial" in said(done)) == (2, True)


def test_without_the_section_it_says_so(bare: Folder) -> None:
    done = _imported(bare, "").run("ready")
    assert done.returncode == 2
    assert "has no section ready" in said(done)
