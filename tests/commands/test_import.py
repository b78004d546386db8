"""``musterline import``: as a whole or not at all, again without harm, beside what runs."""

from tests.commands.kit import ROWS, SITES, Folder, said, sites


def test_a_list_is_brought_in_and_stands(folder: Folder) -> None:
    folder.write("sites.csv", sites())
    done = folder.run("import", "sites.csv")
    assert (done.returncode, said(done)) == (0, "Brought in: 3 new.\n")
    status = folder.run("status")
    assert status.returncode == 0
    assert said(status).startswith("Wave w1: 0 of 3 units online (planned, ")


def test_the_same_list_again_changes_nothing(folder: Folder) -> None:
    folder.write("sites.csv", sites())
    folder.run("import", "sites.csv")
    assert said(folder.run("verify")) == "4 subjects, 4 commits, 4 events: all as recorded.\n"
    done = folder.run("import", "sites.csv")
    assert (done.returncode, said(done)) == (0, "Brought in: 3 same.\n")
    # The wave has it on record that the list came again; no visit has anything new.
    assert said(folder.run("verify")) == "4 subjects, 5 commits, 5 events: all as recorded.\n"


def test_a_changed_list_updates_and_says_which_sites(folder: Folder) -> None:
    folder.write("sites.csv", sites())
    folder.run("import", "sites.csv")
    moved = ROWS[0].replace("18:00", "19:30")
    other_deputy = ROWS[1].replace("U0202", "U0299")
    folder.write("sites.csv", sites(moved, other_deputy, ROWS[2]))
    done = folder.run("import", "sites.csv")
    assert done.returncode == 0
    assert said(done).splitlines() == [
        "w1/alderbeck: changed",
        "w1/ambermere: changed",
        "Brought in: 2 changed, 1 same.",
    ]
    assert said(folder.run("import", "sites.csv")) == "Brought in: 3 same.\n"


def test_a_dry_run_says_what_would_be_and_does_nothing(folder: Folder) -> None:
    folder.write("sites.csv", sites())
    done = folder.run("import", "sites.csv", "--dry-run")
    assert (done.returncode, said(done)) == (0, "Would be: 3 new.\n")
    assert folder.run("status").returncode == 1


def test_one_bad_row_and_nothing_is_brought_in(folder: Folder) -> None:
    folder.write("sites.csv", sites(*ROWS[:2], ROWS[2].replace("Europe/London", "Europe/Lundon")))
    done = folder.run("import", "sites.csv")
    assert done.returncode == 2
    first, last = said(done).splitlines()
    assert first.startswith("line 4, column 'time zone': 'Europe/Lundon' ")
    assert "Europe/London" in first, "it says what was probably meant"
    assert last == (
        "Nothing was brought in: 1 problem in sites.csv. Mend the list, or bring in its 2 good "
        "sites with --skip-bad."
    )
    assert folder.run("status").returncode != 0


def test_the_good_rows_alone_when_asked_for(folder: Folder) -> None:
    folder.write("sites.csv", sites(*ROWS[:2], ROWS[2].replace("Europe/London", "Europe/Lundon")))
    done = folder.run("import", "sites.csv", "--skip-bad")
    assert done.returncode == 1, "something was left out"
    assert "Brought in: 2 new." in done.stdout


def test_a_template_reads_back_and_is_never_written_over(bare: Folder) -> None:
    done = bare.run("import", "--template")
    assert done.returncode == 0
    assert "sites.csv" in said(done)
    again = bare.run("import", "--template", "sites.csv")
    assert again.returncode == 2
    assert said(again) == "sites.csv exists already; name another file or remove it.\n"
    empty = bare.run("import", "sites.csv")
    assert empty.returncode == 2
    assert "holds no site" in said(empty)
    assert bare.run("import", "--template", "sites.xlsx").returncode == 0


def test_what_is_missing_is_said_in_one_sentence(bare: Folder) -> None:
    none = bare.run("import")
    assert none.returncode == 2
    assert said(none).startswith("Which list?")
    nowhere = bare.run("import", "nowhere.csv")
    assert nowhere.returncode == 2
    first, last = said(nowhere).splitlines()
    assert first.startswith("'nowhere.csv' cannot be read (No such file or directory); ")
    assert last == "Nothing was brought in: 1 problem in nowhere.csv."
    bare.write("sites.csv", sites())
    no_channel = bare.run("import", "sites.csv")
    assert no_channel.returncode == 2
    assert "chat.channels is not set" in said(no_channel)
    bare.settings('[chat]\nchannels = ["C0000WAVE1"]\n')
    no_runbook = bare.run("import", "sites.csv")
    assert no_runbook.returncode == 2
    assert said(no_runbook).startswith("runbook: runbook.yaml cannot be read (No such file")


def test_the_demo_list_is_good(folder: Folder) -> None:
    done = folder.run("import", str(SITES), "--dry-run")
    assert done.returncode == 0
    assert "Would be: 40 new." in said(done)
