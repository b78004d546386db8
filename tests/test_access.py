"""Private links and codes: known again, not to be guessed, changed or borrowed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.access import PROOF_LETTERS, Access, keyed, photo_url, url
from bot.model.subject import SLUG

ACCESS = Access(b"s" * 32)
NAMES = st.from_regex(SLUG, fullmatch=True)


@given(NAMES, NAMES, st.integers(0, 10**6))
def test_a_link_says_which_visit_it_is_of(wave: str, site: str, generation: int) -> None:
    token = ACCESS.token(wave, site, generation)
    assert ACCESS.read(token) == (wave, site, generation)
    assert len(token) <= 140
    assert url("https://desk.example.org/", token) == f"https://desk.example.org/v/{token}"


@given(st.data())
def test_a_link_with_any_letter_changed_opens_nothing(data: st.DataObject) -> None:
    token = ACCESS.token("autumn", "HML-07", 2)
    at = data.draw(st.integers(0, len(token) - 1))
    other = data.draw(st.characters().filter(lambda c: c != token[at]))
    assert ACCESS.read(token[:at] + other + token[at + 1 :]) is None


@given(st.text())
def test_what_we_did_not_make_opens_nothing(text: str) -> None:
    assert ACCESS.read(text) is None


def test_links_differ_by_wave_site_generation_and_secret() -> None:
    made = {
        ACCESS.token("autumn", "HML-07"),
        ACCESS.token("autumn", "HML-07", 1),
        ACCESS.token("autumn", "HML-08"),
        ACCESS.token("spring", "HML-07"),
        Access(b"t" * 32).token("autumn", "HML-07"),
    }
    marks = {token.rpartition("~")[2] for token in made}
    assert len(marks) == 5
    assert Access(b"t" * 32).read(ACCESS.token("autumn", "HML-07")) is None


def test_a_mark_cannot_be_moved_to_another_visit() -> None:
    mark = ACCESS.token("autumn", "HML-07").rpartition("~")[2]
    assert ACCESS.read(f"autumn~HML-08~0~{mark}") is None
    assert ACCESS.read(f"autumn~HML-07~1~{mark}") is None


@pytest.mark.parametrize(("wave", "site"), [("a~b", "c"), ("", "c"), ("a", "c/d"), ("a", "é")])
def test_what_is_no_name_has_no_link(wave: str, site: str) -> None:
    with pytest.raises(ValueError, match="no visit"):
        ACCESS.token(wave, site)


def test_without_a_secret_there_are_no_links() -> None:
    with pytest.raises(ValueError, match=r"page\.secret"):
        Access(b"")


def test_the_code_of_a_site_is_its_own_and_easily_read() -> None:
    codes = [ACCESS.proof("autumn", f"HML-{n:02}") for n in range(200)]
    assert len(set(codes)) == 200
    assert all(len(code) == 7 and code[3] == "-" for code in codes)
    assert set("".join(codes)) - {"-"} == set(PROOF_LETTERS)
    assert ACCESS.proof("autumn", "HML-07") == Access(b"s" * 32).proof("autumn", "HML-07")
    assert ACCESS.proof("spring", "HML-07") != ACCESS.proof("autumn", "HML-07")


def test_a_form_belongs_to_one_link_and_one_thing() -> None:
    token = ACCESS.form_token("link", "press")
    assert ACCESS.known_form("link", "press", token)
    assert not ACCESS.known_form("other", "press", token)
    assert not ACCESS.known_form("link", "say", token)
    assert not ACCESS.known_form("link", "press", "é")


def test_a_photo_is_found_under_its_own_name_alone() -> None:
    name = ACCESS.photo_name("a1b2")
    assert ACCESS.read_photo(name) == "a1b2"
    assert ACCESS.read_photo(name.replace("a1b2", "a1b3")) is None
    assert ACCESS.read_photo("a1b2") is None
    assert ACCESS.read_photo("é") is None
    assert photo_url("https://desk.example.org", name).endswith(f"/v/photo/{name}")


def test_the_hash_is_the_published_one() -> None:
    # RFC 4231, section 4.3 (test case 2).
    found = keyed(b"Jefe", b"what do ya want for nothing?")
    assert found.hex() == "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
