"""Serials as typed, printed and scanned."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bot.model.serial import clean, normal, several


@pytest.mark.parametrize(
    "typed",
    ["HML-4F7K2Q", "hml-4f7k2q", " HML 4F7K 2Q ", "HML\u20114F7K2Q", "HML\u20134F7K2Q",
     "HML\u00a04F7K2Q", "\uff28\uff2d\uff2c\uff0d\uff14F7K2Q", "HML\u00ad4F7K2Q"],
)  # fmt: skip
def test_case_spaces_and_dashes_do_not_count(typed: str) -> None:
    assert normal(typed) == "HML4F7K2Q"


# ANSI MH10.8.2, category 19: data identifier S is "Serial Number or Code Assigned by the Supplier
# to an Entity for its Lifetime"; 1S as a further such code from memory.
@pytest.mark.parametrize(
    "label",
    ["S: HML-4F7K2Q", "S HML-4F7K2Q", "(S) HML-4F7K2Q", "(1S)HML-4F7K2Q", "1S HML-4F7K2Q",
     "[S] HML-4F7K2Q", "(S) S/N: HML-4F7K2Q", "s=hml-4f7k2q"],
)  # fmt: skip
def test_a_separated_data_identifier_is_label(label: str) -> None:
    assert clean(label) == "HML-4F7K2Q"
    assert normal(label) == "HML4F7K2Q"


@pytest.mark.parametrize("whole", ["S1234567", "1S234567", "SN123456", "2112345678", "S-1234567"])
def test_what_is_not_clearly_separated_stays(whole: str) -> None:
    assert normal(whole) == whole.replace("-", "")


# Common practice on labels, no published source.
@pytest.mark.parametrize(
    "label",
    ["S/N HML-4F7K2Q", "S/N: HML-4F7K2Q", "SN:HML-4F7K2Q", "Serial No. HML-4F7K2Q",
     "Serial number: HML-4F7K2Q", "Ser. no. HML-4F7K2Q", "serial#HML-4F7K2Q"],
)  # fmt: skip
def test_words_in_front_are_label(label: str) -> None:
    assert normal(label) == "HML4F7K2Q"


# GS1 General Specifications, application identifier (21), serial number, up to 20 characters; the
# trade item number is one of the prefix 950, which GS1 keeps for examples (both from memory).
@pytest.mark.parametrize(
    "label",
    ["(21)HML-4F7K2Q", "(21) HML-4F7K2Q", "(01)09501101530003(21)HML-4F7K2Q",
     "(01)09501101530003(21)HML-4F7K2Q(10)AB-123", "(01)09501101530003(10)AB(21)HML-4F7K2Q"],
)  # fmt: skip
def test_the_gs1_serial_is_found_among_its_brackets(label: str) -> None:
    assert clean(label) == "HML-4F7K2Q"


# The element strings as a scanner sends them: predefined lengths need no separator, others end at
# the group separator (GS1 General Specifications, from memory).
@pytest.mark.parametrize(
    "scan",
    ["]d2010950110153000321HML-4F7K2Q", "]C1010950110153000310AB123\x1d21HML-4F7K2Q",
     "]d221HML-4F7K2Q\x1d10AB", "]Q317261231" + "21HML-4F7K2Q", "]e03100001234" + "21HML-4F7K2Q",
     "]d2\x1d010950110153000321HML-4F7K2Q"],
)  # fmt: skip
def test_a_scanned_element_string(scan: str) -> None:
    assert clean(scan) == "HML-4F7K2Q"


# ISO/IEC 15434, format 06: header [)> RS 06 GS, fields between GS, trailer RS EOT; the same two
# ends as the macro characters of Data Matrix stand for (ISO/IEC 16022; both from memory).
@pytest.mark.parametrize(
    "scan",
    ["[)>\x1e06\x1d1PHG-10\x1dSHML-4F7K2Q\x1e\x04", "[)>\x1e06\x1dSHML-4F7K2Q\x1d1PHG-10\x1e\x04",
     "[)>\x1e06\x1d1SHML-4F7K2Q\x1e\x04", "[)>\x1e06\x1d1SOTHER-1\x1dSHML-4F7K2Q\x1e\x04"],
)  # fmt: skip
def test_a_scanned_envelope(scan: str) -> None:
    assert clean(scan) == "HML-4F7K2Q"


def test_look_alikes_stay_different() -> None:
    assert normal("HML-O1") != normal("HML-01")
    assert normal("HML-I7") != normal("HML-17")


@pytest.mark.parametrize(
    ("text", "labels"),
    [
        ("HML-4F7K2Q HML-MTHE79", ["HML-4F7K2Q", "HML-MTHE79"]),
        ("HML-4F7K2Q,HML-MTHE79;HML-2EPWA2", ["HML-4F7K2Q", "HML-MTHE79", "HML-2EPWA2"]),
        ("S/N HML-4F7K2Q; S/N: HML-MTHE79", ["HML-4F7K2Q", "HML-MTHE79"]),
        ("Serial no. HML-4F7K2Q, Serial no. HML-MTHE79", ["HML-4F7K2Q", "HML-MTHE79"]),
        ("(S) HML-4F7K2Q", ["HML-4F7K2Q"]),
        (" ; , ", []),
        ("S/N", ["S/N"]),
    ],
)
def test_several(text: str, labels: list[str]) -> None:
    assert several(text) == labels


@given(st.text(max_size=40))
@example("S:1S:ABC123")
@example("S -: S")
@example("(21)(21)7")
def test_the_normal_form_is_stable(text: str) -> None:
    assert normal(normal(text)) == normal(text)


SERIAL = st.from_regex(r"[A-Z]{3}[0-9A-Z]{6,10}", fullmatch=True).filter(
    lambda s: not s.startswith(("SN", "SER"))
)


@given(SERIAL, st.data())
def test_spacing_and_case_never_split_one_serial(serial: str, data: st.DataObject) -> None:
    cut = data.draw(st.integers(2, len(serial) - 1))
    mark = data.draw(st.sampled_from(["-", " ", " - ", "\u2013", "\u00a0"]))
    typed = (serial[:cut] + mark + serial[cut:]).lower()
    assert normal(typed) == normal(serial) == serial
