"""Log lines against RFC 5424 (the lines), RFC 6587 (framing over TCP) and RFC 5426 (over UDP).

Sources: the examples of RFC 5424 sections 6.5 and 6.2.3.1, and of 6.3.5 for structured data; RFC
6587 sections 3.4.1 (octet counting) and 3.4.2 (a line feed at the end). From memory, checked
against the grammar of RFC 5424 section 6.
"""

import asyncio
from typing import Any

import pytest

from handlers.intake.syslog import BadLine, frame, parse

#: Section 6.5, example 1: "with no STRUCTURED-DATA", its message in UTF-8 behind a BOM.
FIRST = (
    "<34>1 2003-10-11T22:14:15.003Z mymachine.example.com su - ID47 - "
    "\ufeff'su root' failed for lonvick on /dev/pts/8"
)
#: Example 2: without a BOM, with a time zone offset and a PROCID of 8710.
SECOND = (
    "<165>1 2003-08-24T05:14:15.000003-07:00 192.0.2.1 myproc 8710 - - "
    "%% It's time to make the do-nuts."
)
#: Example 3: "with STRUCTURED-DATA".
THIRD = (
    "<165>1 2003-10-11T22:14:15.003Z mymachine.example.com evntslog - ID47 "
    '[exampleSDID@32473 iut="3" eventSource="Application" eventID="1011"] '
    "\ufeffAn application event log entry..."
)
#: Example 4: "STRUCTURED-DATA Only".
FOURTH = (
    "<165>1 2003-10-11T22:14:15.003Z mymachine.example.com evntslog - ID47 "
    '[exampleSDID@32473 iut="3" eventSource="Application" eventID="1011"]'
    '[examplePriority@32473 class="high"]'
)
DATA = {"iut": "3", "eventSource": "Application", "eventID": "1011"}


def test_the_first_example() -> None:
    assert parse(FIRST.encode()) == {
        "facility": 4,
        "severity": 2,
        "version": 1,
        "timestamp": "2003-10-11T22:14:15.003Z",
        "hostname": "mymachine.example.com",
        "appname": "su",
        "procid": None,
        "msgid": "ID47",
        "sd": {},
        "msg": "'su root' failed for lonvick on /dev/pts/8",
    }


def test_the_second_example() -> None:
    found = parse(SECOND.encode())
    assert (found["facility"], found["severity"]) == (20, 5)  # local use 4, notice
    assert (found["hostname"], found["procid"], found["msgid"]) == ("192.0.2.1", "8710", None)
    assert found["msg"] == "%% It's time to make the do-nuts."


def test_the_third_and_the_fourth_example() -> None:
    third, fourth = parse(THIRD.encode()), parse(FOURTH.encode())
    assert third["sd"] == {"exampleSDID@32473": DATA}
    assert third["msg"] == "An application event log entry..."
    assert fourth["sd"] == {
        "exampleSDID@32473": DATA,
        "examplePriority@32473": {"class": "high"},
    }
    assert fourth["msg"] is None


def line(rest: str, head: str = "<0>1 - - - - - ") -> bytes:
    return f"{head}{rest}".encode()


def test_values_escape_three_characters() -> None:
    # Section 6.3.3: '"', '\\' and ']' MUST be escaped; a backslash before any other stays.
    found = parse(line(r'[a@1 x="1\"2\\3\]4\n5"] m'))
    assert found["sd"] == {"a@1": {"x": r'1"2\3]4\n5'}}


def test_an_element_may_have_no_parameters() -> None:
    assert parse(line("[a@1]"))["sd"] == {"a@1": {}}  # section 6.3.5: "[exampleSDID@0]" is valid


@pytest.mark.parametrize(
    "wrong",
    [
        line("[a@1 x=1] m"),
        line('[a@1 x="1"]m'),  # section 6.3.5, example: no space before the message
        line('[ a@1 x="1"] m'),
        line('[a@1 x="1] m'),
        line(""),
        line("m"),
        line("-m"),
        line("- m", "<192>1 - - - - - "),
        line("- m", "<00>1 - - - - - "),
        line("- m", "<0>0 - - - - - "),
        line("- m", "<0> - - - - - "),
        line("- m", "<0>1 2003-10-11t22:14:15Z - - - - "),  # section 6.2.3: upper case
        line("- m", "<0>1 2003-10-11T22:14:15.0000003Z - - - - "),  # section 6.2.3.1, example 5
        line("- m", f"<0>1 - {'h' * 256} - - - "),
        b"<34>Oct 11 22:14:15 mymachine su: 'su root' failed",  # the form of RFC 3164
        b"",
        b"\xff",
    ],
)
def test_what_is_no_line_is_told_so(wrong: bytes) -> None:
    with pytest.raises(BadLine):
        parse(wrong)


# --- framing -----------------------------------------------------------------------------------


async def frames(sent: bytes, limit: int = 480) -> list[Any]:
    """What a connection with these bytes gives; ends with the error if there is one."""
    reader = asyncio.StreamReader(limit=limit)
    reader.feed_data(sent)
    reader.feed_eof()
    found: list[Any] = []
    try:
        while (one := await frame(reader, limit)) is not None:
            found.append(one)
    except BadLine as error:
        found.append(error)
    return found


ONE, TWO = FIRST.encode(), FOURTH.encode()


def counted(text: bytes) -> bytes:
    return str(len(text)).encode() + b" " + text


async def test_both_ways_of_framing_are_taken() -> None:
    assert await frames(counted(ONE) + counted(TWO)) == [ONE, TWO]
    assert await frames(ONE + b"\n" + TWO + b"\r\n") == [ONE, TWO]
    assert await frames(ONE + b"\n" + counted(TWO) + b"\n" + ONE) == [ONE, TWO, ONE]
    assert await frames(counted(ONE + b"\nmore") + counted(TWO)) == [ONE + b"\nmore", TWO]
    assert await frames(b"") == []


@pytest.mark.parametrize(
    "sent",
    [
        *(b"0 ", b"x", b"12", b"999 <", b"9999999 <", b"1" * 500, b"12a <"),
        *(b"481 " + b"x" * 481, b"<" + b"x" * 600),
    ],
)
async def test_a_frame_that_is_none_ends_the_connection(sent: bytes) -> None:
    (error,) = await frames(sent)
    assert isinstance(error, BadLine)
