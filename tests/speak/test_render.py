"""Messages as chat blocks and as mail. Limits and escaping by the platform's own pages.

Sources: https://docs.slack.dev/reference/block-kit/blocks/section-block (3,000 characters),
.../actions-block (25 elements), .../block-elements/button-element (75 characters),
https://docs.slack.dev/messaging/formatting-message-text (escape ``&``, ``<``, ``>`` and
nothing else). The stand-in's own check of blocks, written from the same pages by somebody
else, judges every result.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.model.message import ESCALATION, Button, Message
from bot.practice.chatserver.blocks import check_blocks
from bot.speak import render
from bot.speak.catalogue import MISSING, ArgumentMissing, Catalogue, UnknownText

TEXTS = """
edition: 1
t: "{a}"
who: "{user:mention} & <you>"
where: "{url:link}"
long: "{a}"
b_done: Done
b_named: "Done with {a}"
word: "seen at {at:time}"
nested: "{inner}"
called: "Cause: {cause}"
called_subject: "Call for {a}"
"""


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    root: Path = tmp_path_factory.mktemp("texts")
    (root / "en").mkdir()
    (root / "en" / "messages.yaml").write_text(TEXTS, encoding="utf-8")
    return Catalogue(root)


def message(template: str = "t", **more: Any) -> Message:
    return Message(id="w:x/v:y:1:1", thread="site:y", template=template, **more)


async def people(person: str) -> Mapping[str, str] | None:
    known = {"k1": {"name": "Mara <Venn>", "user": "U0MARA0001", "t_9f": "it is & was green"}}
    return known.get(person)


async def link(home: str, thread: str) -> str:
    return f"https://chat.example.org/{home}/{thread}" if home == "w:x" else ""


async def shown(catalogue: Catalogue, made: Message) -> str:
    rendered = await render.render(made, catalogue, people, link)
    check_blocks(rendered.blocks)
    return "".join(b["text"]["text"] for b in rendered.blocks if b["type"] == "section")


@pytest.mark.parametrize(
    ("given_text", "out"),
    [
        ("<!channel> & <@U0MARA0001>", "&lt;!channel&gt; &amp; &lt;@U0MARA0001&gt;"),
        ("<https://example.org|here>", "&lt;https://example.org|here&gt;"),
        ("&amp;", "&amp;amp;"),
        ("plain *text*", "plain *text*"),
    ],
)
async def test_words_of_people_cannot_call_or_link(
    catalogue: Catalogue, given_text: str, out: str
) -> None:
    assert await shown(catalogue, message(args={"a": given_text})) == out


async def test_words_are_not_turned_into_links_or_mentions_by_the_platform(
    catalogue: Catalogue,
) -> None:
    """Source: ``verbatim``, https://docs.slack.dev/reference/block-kit/composition-objects."""
    rendered = await render.render(message(args={"a": "#general"}), catalogue, people)
    assert rendered.blocks[0]["text"]["verbatim"] is True


@pytest.mark.parametrize(
    ("user", "out"),
    [
        ("U0MARA0001", "<@U0MARA0001> &amp; &lt;you&gt;"),
        ("U0MARA0001 U0OTTO0002", "<@U0MARA0001> <@U0OTTO0002> &amp; &lt;you&gt;"),
        ("@p:k1:user", "<@U0MARA0001> &amp; &lt;you&gt;"),
        ("U0MARA0001> <!channel", "U0MARA0001&gt; &lt;!channel &amp; &lt;you&gt;"),
        ("", " &amp; &lt;you&gt;"),
    ],
)
async def test_mentions(catalogue: Catalogue, user: str, out: str) -> None:
    assert await shown(catalogue, message("who", args={"user": user})) == out.strip()


@pytest.mark.parametrize(
    ("url", "out"),
    [
        ("https://example.org/a?b=1&c=2", "<https://example.org/a?b=1&amp;c=2>"),
        ("https://example.org/a|b>c", "<https://example.org/a%7Cb&gt;c>"),
        ("javascript:alert(1)", "javascript:alert(1)"),
        ("@t:w:x/site:y", "<https://chat.example.org/w:x/site:y>"),
        ("@t:w:z/site:y", MISSING),
    ],
)
async def test_links(catalogue: Catalogue, url: str, out: str) -> None:
    assert await shown(catalogue, message("where", args={"url": url})) == out


@pytest.mark.parametrize(
    ("value", "out"),
    [
        ("@p:k1:name", "Mara &lt;Venn&gt;"),
        ("@p:k1:t_9f", "it is &amp; was green"),
        ("@p:k1:mobile", MISSING),  # not known
        ("@p:gone:name", MISSING),  # erased
        ("see @p:k1:name", "see @p:k1:name"),  # not a reference as a whole
        ("@@p:k1:name", "@p:k1:name"),
        (render.literal("@p:k1:name"), "@p:k1:name"),
        (render.literal("@@x"), "@@x"),
        (render.literal("plain"), "plain"),
        ("@nobody", "@nobody"),
    ],
)
async def test_references(catalogue: Catalogue, value: str, out: str) -> None:
    assert await shown(catalogue, message(args={"a": value})) == out


async def test_a_text_may_name_another_text_with_the_same_arguments(
    catalogue: Catalogue,
) -> None:
    made = message("nested", args={"inner": "@x:word", "at": "1773340800000"})
    assert await shown(catalogue, made) == "seen at 18:40"


async def test_what_a_person_wrote_is_never_looked_up(catalogue: Catalogue) -> None:
    async def sly(person: str) -> Mapping[str, str] | None:
        return {"words": "@p:k1:mobile", "mobile": "07700 900123"}

    rendered = await render.render(message(args={"a": "@p:k9:words"}), catalogue, sly)
    assert rendered.text == "@p:k1:mobile"


async def test_a_call_with_a_gap_is_better_than_none(catalogue: Catalogue) -> None:
    call = message("called", urgency=ESCALATION, args={"cause": "@x:cause_never_written"})
    assert await shown(catalogue, call) == f"Cause: {MISSING}"
    assert await shown(catalogue, message("called", urgency=ESCALATION)) == f"Cause: {MISSING}"
    with pytest.raises(ArgumentMissing):
        await shown(catalogue, message("called"))
    with pytest.raises(UnknownText):
        await shown(catalogue, message("never_written", urgency=ESCALATION))


async def test_a_message_for_another_edition_may_lack_an_argument(catalogue: Catalogue) -> None:
    assert await shown(catalogue, message("called", catalogue=7)) == f"Cause: {MISSING}"


async def test_buttons_by_the_platforms_limits(catalogue: Catalogue) -> None:
    buttons = tuple(Button(f"a:q1:{n}", "b_named") for n in range(26))
    made = message(buttons=buttons, args={"a": "x" * 100})
    rendered = await render.render(made, catalogue, people)
    check_blocks(rendered.blocks)
    _, first, second = rendered.blocks
    assert (len(first["elements"]), len(second["elements"])) == (25, 1)
    label = first["elements"][0]["text"]["text"]
    assert (len(label), label[-1]) == (75, "…")
    assert "style" not in first["elements"][0]


async def test_the_mark_says_which_message_it_is_and_not_who_we_are(
    catalogue: Catalogue,
) -> None:
    made = message(args={"a": "x"}, slot="pin", rev=4)
    rendered = await render.render(made, catalogue, people)
    assert rendered.metadata == {
        "event_type": "install_desk",
        "event_payload": {
            "id": "w:x/v:y:1:1",
            "rev": 4,
            "template": "t",
            "thread": "site:y",
            "slot": "pin",
        },
    }
    assert "musterline" not in str(rendered).lower()


@given(st.text(alphabet="ab <>&\n|*é", max_size=9000))
def test_any_text_is_split_within_the_limit_and_nothing_is_lost(text: str) -> None:
    safe = render.escaped(text)
    parts = render.split(safe)
    assert all(0 < len(part) <= render.SECTION_LENGTH for part in parts)
    if text.strip():
        assert "".join("".join(parts).split()) == "".join(safe.split())
    for part in parts:
        bare = part.replace("&amp;", "").replace("&lt;", "").replace("&gt;", "")
        assert "&" not in bare
    check_blocks(render.marked(safe, {}).blocks)


def test_a_mention_at_the_limit_is_not_cut() -> None:
    text = "x" * 2995 + " <@U0MARA0001> " + "y" * 100
    parts = render.split(text)
    assert [p for p in parts if "<@U0MARA0001>" in p]
    assert all(p.count("<") == p.count(">") for p in parts)


async def test_mail_has_plain_text_and_a_subject(catalogue: Catalogue) -> None:
    made = message("called", args={"a": "HML-4F7K2Q", "cause": "<none> & more"})
    args = await render.resolved(made, catalogue, people)
    assert render.plain(made, catalogue, args) == ("Call for HML-4F7K2Q", "Cause: <none> & more")
    first_line = message(args={"a": "one\ntwo"})
    assert render.plain(first_line, catalogue, first_line.args)[0] == "one"
