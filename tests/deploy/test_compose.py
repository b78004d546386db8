"""The compose file, and its store's options tried on the real server.

Form: https://compose-spec.io (the specification's service, network and volume elements).
Containers themselves are not started here.
"""

import re
from pathlib import Path
from typing import Any

import redis
import yaml

from tests.conftest import running_server

TOP = Path(__file__).resolve().parents[2]


def compose() -> dict[str, Any]:
    loaded = yaml.safe_load((TOP / "deploy" / "compose.yaml").read_text(encoding="utf-8"))
    assert isinstance(loaded, dict)
    return loaded


def test_the_stores_options_keep_what_was_acknowledged(tmp_path: Path, server_dir: Path) -> None:
    command: list[str] = compose()["services"]["store"]["command"]
    assert command[0] == "valkey-server"
    options = command[1:]
    options[options.index("--dir") + 1] = str(tmp_path)
    socket = server_dir / "compose"
    extra = ["--port", "0", "--unixsocket", str(socket)]
    with running_server(tmp_path, f"unix://{socket}", *options, *extra) as url:
        client = redis.Redis.from_url(url, decode_responses=True)
        settings = client.config_get("*")
        client.close()
    assert settings["appendonly"] == "yes"
    assert settings["appendfsync"] == "always"
    assert settings["maxmemory-policy"] == "noeviction"
    assert settings["save"] == ""


def test_the_store_lies_on_a_volume_and_has_no_port() -> None:
    services = compose()["services"]
    store = services["store"]
    assert "ports" not in store
    mounted = dict(volume.split(":") for volume in store["volumes"])
    data = store["command"][store["command"].index("--dir") + 1]
    assert data in mounted.values()
    assert {name for name, target in mounted.items() if target == data} <= set(compose()["volumes"])


def test_only_the_bot_reaches_the_store_and_the_store_reaches_nothing() -> None:
    services, networks = compose()["services"], compose()["networks"]
    assert services["store"]["networks"] == ["inside"]
    assert networks["inside"]["internal"] is True
    joined = {name for name, service in services.items() if "inside" in service["networks"]}
    assert joined == {"bot", "store"}


def test_the_bots_port_is_published_on_loopback_alone() -> None:
    ports = [
        port for service in compose()["services"].values() for port in service.get("ports", [])
    ]
    assert ports == ["127.0.0.1:8080:8080"]


def test_each_service_has_a_health_check_and_the_bot_waits_for_the_store() -> None:
    services = compose()["services"]
    assert services["store"]["healthcheck"]["test"] == ["CMD", "valkey-cli", "ping"]
    assert services["bot"]["depends_on"]["store"]["condition"] == "service_healthy"
    image = (TOP / "deploy" / "Dockerfile").read_text(encoding="utf-8")
    assert re.search(r"^HEALTHCHECK ", image, re.MULTILINE), "the bot's own is in its image"


def test_secrets_come_from_a_file_that_is_never_committed() -> None:
    services = compose()["services"]
    assert services["bot"]["env_file"] == "local/musterline.env"
    plain = {key for service in services.values() for key in service.get("environment", {})}
    assert plain == {"MUSTERLINE_STORE__URL"}
    assert "./local:/etc/musterline:ro" in services["bot"]["volumes"]
    ignored = (TOP / ".gitignore").read_text(encoding="utf-8").splitlines()
    assert {"/deploy/local/", "*.env"} <= set(ignored)


def test_the_bot_is_given_no_more_than_it_needs() -> None:
    bot = compose()["services"]["bot"]
    assert bot["read_only"] is True
    assert bot["cap_drop"] == ["ALL"]
    assert bot["security_opt"] == ["no-new-privileges:true"]
