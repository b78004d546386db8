"""The sample settings: they load, leave nothing out, and the defaults they show are the real ones.

The image, the compose file and the unit set variables of their own: those must mean something.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml
from pydantic import BaseModel, SecretStr

from bot.settings import Settings, SettingsError, load
from handlers.health import routes

TOP = Path(__file__).resolve().parents[2]
SAMPLE = TOP / "deploy" / "musterline.toml"
SECRETS = TOP / "deploy" / "musterline.env.sample"
DEFAULT_LINE = re.compile(r"^#(?=[a-z_]+ = )", re.MULTILINE)


def secret_names(*, marked_too: bool = True) -> list[str]:
    mark = "#?" if marked_too else ""
    text = SECRETS.read_text(encoding="utf-8")
    return re.findall(rf"^{mark}(MUSTERLINE_\w+)=$", text, re.MULTILINE)


def image_variables() -> dict[str, str]:
    text = (TOP / "deploy" / "Dockerfile").read_text(encoding="utf-8")
    return dict(re.findall(r"(MUSTERLINE_\w+)=(\S+)", text))


def compose_variables() -> dict[str, str]:
    compose = yaml.safe_load((TOP / "deploy" / "compose.yaml").read_text(encoding="utf-8"))
    return dict(compose["services"]["bot"]["environment"])


def keys_of(model: type[BaseModel], section: str = "") -> Iterator[tuple[str, str]]:
    """(section, key) of every plain setting; secrets are left to the environment."""
    for name, field in model.model_fields.items():
        kind = field.annotation
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield from keys_of(kind, name)
        elif kind is not SecretStr:
            yield section, name


def section_text(section: str) -> str:
    """The lines of one section; "" is what stands before the first."""
    found, current = [], ""
    for line in SAMPLE.read_text(encoding="utf-8").splitlines():
        if header := re.fullmatch(r"\[(\w+)\]", line):
            current = header[1]
        if current == section:
            found.append(line)
    return "\n".join(found)


def test_it_serves_once_the_secrets_are_filled_in() -> None:
    filled = dict.fromkeys(secret_names(marked_too=False), "filled-in")
    assert load(SAMPLE, filled).problems_for_serving() == []


def test_it_does_not_serve_with_the_secrets_as_they_stand() -> None:
    empty = dict.fromkeys(secret_names(marked_too=False), "")
    said = " ".join(load(SAMPLE, empty).problems_for_serving())
    assert "chat.bot_token is not set" in said
    assert "chat.signing_secret is not set" in said


def test_nobody_can_register_units_with_a_secret_from_the_sample() -> None:
    assert load(SAMPLE, {}).registration.sources == ()


def test_the_example_of_a_source_is_well_formed(tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8")
    example = "".join(
        line.removeprefix("#   ") + "\n"
        for line in section_text("registration").splitlines()
        if re.match(r"#   (\[\[|name|secrets)", line)
    )
    copy = tmp_path / "copy.toml"
    made = example.replace("whsec_...", "whsec_" + "QUJD" * 8)
    copy.write_text(text + "\n" + made, encoding="utf-8")
    (source,) = load(copy, {}).registration.sources
    assert source.name == "registry"


def test_the_example_of_ways_is_well_formed(tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8")
    _, _, hooks = text.partition("[webhooks]\n")
    target = re.findall(r"^#   (\[\[webhooks.*|(?:name|url|secrets) = .*)$", hooks, re.MULTILINE)
    person = re.findall(r"^#   ((?:phone|ways) = .*)$", text, re.MULTILINE)
    copy = tmp_path / "copy.toml"
    more = "\n".join(target).replace("whsec_...", "whsec_" + "QUJD" * 8)
    copy.write_text(text + "\n".join(person) + "\n" + more, encoding="utf-8")
    settings = load(copy, {})
    (staff,) = [s for s in settings.roster().staff if s.ways]
    assert [way.name for way in staff.ways] == ["chat", "webhook:phone", "mail"]
    assert [target.name for target in settings.webhooks.targets] == ["phone"]
    assert "page.base_url and page.secret" in " ".join(settings.problems_for_serving())


def test_the_defaults_it_shows_are_the_defaults(tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8")
    assert len(DEFAULT_LINE.findall(text)) > 20
    shown = tmp_path / "shown.toml"
    shown.write_text(DEFAULT_LINE.sub("", text), encoding="utf-8")
    assert load(shown, {}) == load(SAMPLE, {})


@pytest.mark.parametrize(("section", "key"), list(keys_of(Settings)))
def test_every_setting_is_in_it(section: str, key: str) -> None:
    written = rf"^(#?{key} = |\[\[{key}\]\])"
    text = section_text(section) if key != "people" else SAMPLE.read_text(encoding="utf-8")
    if (section, key) in {("registration", "sources"), ("webhooks", "targets")}:
        written = rf"^#   \[\[{section}\.{key}\]\]"
    assert re.search(written, text, re.MULTILINE)


@pytest.mark.parametrize("name", secret_names())
def test_each_secret_is_a_setting(name: str) -> None:
    load(SAMPLE, {name: "x"})


def test_a_misspelt_secret_would_be_noticed() -> None:
    with pytest.raises(SettingsError, match="bot_tokken"):
        load(SAMPLE, {"MUSTERLINE_CHAT__BOT_TOKKEN": "x"})


def test_the_containers_find_each_other_and_their_settings() -> None:
    variables = image_variables() | compose_variables()
    settings = load(SAMPLE, variables)
    assert settings.serve.host == "0.0.0.0"
    assert settings.store.url == "redis://store:6379/0"
    assert variables["MUSTERLINE_SETTINGS"] == f"/etc/musterline/{SAMPLE.name}"


def test_the_image_asks_a_path_that_is_answered() -> None:
    text = (TOP / "deploy" / "Dockerfile").read_text(encoding="utf-8")
    asked = re.search(r"127\.0\.0\.1:(\d+)(/\w+)", text)
    assert asked is not None

    async def check() -> dict[str, bool]:
        return {}

    served = [route.path for route in routes(check)]
    assert asked[2] in served
    assert int(asked[1]) == load(SAMPLE, {}).serve.port


def test_a_stop_leaves_more_time_than_the_drain_takes() -> None:
    drain = load(SAMPLE, {}).serve.drain_seconds
    unit = (TOP / "deploy" / "musterline.service").read_text(encoding="utf-8")
    compose = yaml.safe_load((TOP / "deploy" / "compose.yaml").read_text(encoding="utf-8"))
    given = [
        re.search(r"^TimeoutStopSec=(\d+)$", unit, re.MULTILINE),
        re.fullmatch(r"(\d+)s", compose["services"]["bot"]["stop_grace_period"]),
    ]
    assert all(found is not None and int(found[1]) >= 2 * drain for found in given)
