"""Under which names the program answers, asked of a running server as a browser would."""

import http.client
import json
import socket
from contextlib import closing
from ipaddress import ip_address
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from app.clock import utc_now
from app.config import Settings
from app.domain.errors import DomainError
from app.domain.roomlog.kinds.site import ClockConfirmed
from app.main import create_app
from app.services.door import bring_in
from app.web import hosts
from tests.factories import ROOM, furnish
from tests.furnished import new_store
from tests.running import RunningServer


@pytest.fixture(scope="module")
def server(serve: Any, tmp_path_factory: pytest.TempPathFactory) -> RunningServer:
    """A server that the whole network reaches, with names that the site has set."""
    folder = tmp_path_factory.mktemp("hosts")
    store = new_store(folder)
    furnish(store)
    now = utc_now()
    bring_in(store, ROOM, [ClockConfirmed(at=now, site="site")], now)
    store.close()
    names = "Room-PC.example, büro.example,192.0.2.20 ,2001:db8::20"
    variables = {"BATHKEEPER_HOSTS": names}
    started: RunningServer = serve(
        "serve", "--host", "0.0.0.0", data_dir=folder, variables=variables
    )
    return started


def asked(
    server: RunningServer, *hosts: str, target: str = "/rooms", **headers: str
) -> tuple[int, str]:
    """Status and text of the answer to a request with these headers Host."""
    with closing(connected(server)) as connection:
        connection.putrequest("GET", target, skip_host=True)
        for host in hosts:
            connection.putheader("Host", host)
        for name, value in headers.items():
            connection.putheader(name.replace("_", "-"), value)
        connection.endheaders()
        answer = connection.getresponse()
        return answer.status, answer.read().decode()


def connected(server: RunningServer) -> http.client.HTTPConnection:
    """A connection to the server."""
    return http.client.HTTPConnection(urlsplit(server.url).netloc, timeout=60)


@pytest.mark.parametrize(
    "host",
    [
        "localhost", "LOCALHOST:8000", "localhost.", "127.0.0.1", "127.0.0.1:1", "127.45.6.7",
        "[::1]", "[::1]:8000", "[0:0:0:0:0:0:0:1]", "[::ffff:127.0.0.1]:8000",
        "room-pc.example", "ROOM-PC.example.:81", "xn--bro-hoa.example", "192.0.2.20:8000",
        "[2001:db8::20]:8000", "[2001:DB8:0::20]",
    ],
)  # fmt: skip
def test_this_machine_is_answered_under_its_names(server: RunningServer, host: str) -> None:
    assert asked(server, host)[0] == 200


def test_this_machine_is_answered_under_its_own_name(server: RunningServer) -> None:
    own = socket.gethostname()
    first = own.partition(".")[0]
    for name in (own, own.upper(), first, f"{first}.local", f"{first}.local.:8000"):
        assert asked(server, name)[0] == 200, name


@pytest.mark.parametrize(
    "host",
    [
        "evil.test", "evil.test:8000", "localhost.evil.test", "127.0.0.1.evil.test", "evil.local",
        "192.0.2.7", "0.0.0.0", "[::]", "[2001:db8::7]", "224.0.0.1", "255.255.255.255",
        "room-pc.example.evil.test", "www.room-pc.example",
        "somebody@localhost", "localhost evil.test", "localhost,localhost", "localhost:x", "[::1",
        "::1", "[127.0.0.1]", ":8000", ".", "",
    ],
)  # fmt: skip
def test_any_other_name_is_refused_in_words(server: RunningServer, host: str) -> None:
    status, text = asked(server, host)
    assert status == 400
    assert ("BATHKEEPER_HOSTS" in text) or (not host and "does not say which host" in text)


def test_a_request_without_a_host_or_with_two_is_refused(server: RunningServer) -> None:
    assert asked(server)[0] == 400
    assert asked(server, "localhost", "evil.test")[0] == 400


def test_what_a_proxy_says_of_the_host_does_not_count(server: RunningServer) -> None:
    forwarded = {"X_Forwarded_Host": "localhost", "Forwarded": "host=localhost"}
    assert asked(server, "evil.test", **forwarded)[0] == 400
    status, text = asked(server, "localhost", X_Forwarded_Host="evil.test")
    assert status == 200
    assert "evil" not in text


def test_an_address_as_target_does_not_make_up_for_the_host(server: RunningServer) -> None:
    for target in ("http://localhost/rooms", "http://evil.test/rooms"):
        assert asked(server, "evil.test", target=target)[0] == 400


def test_a_page_of_others_that_points_its_name_here_stores_nothing(server: RunningServer) -> None:
    """DNS rebinding: to the browser such a page is of the same site, so the Origin fits."""
    port = urlsplit(server.url).port
    name = f"evil.test:{port}"
    status, problem = sent(server, name)
    assert status == 400
    assert problem["type"] == "about:blank"
    assert "BATHKEEPER_HOSTS" in problem["detail"]
    assert sent(server, f"localhost:{port}")[0] == 201


def sent(server: RunningServer, name: str) -> tuple[int, Any]:
    """Status and JSON of the answer to a wash that a page of the host `name` sends."""
    entry = json.dumps({"kind": "wash", "tank": "t1", "resin": "slate", "parts": 5})
    headers = {"Host": name, "Origin": f"http://{name}", "Content-Type": "application/json"}
    with closing(connected(server)) as connection:
        connection.request("POST", f"/api/v1/rooms/{ROOM}/entries", entry, headers)
        answer = connection.getresponse()
        return answer.status, json.loads(answer.read())


def test_an_address_counts_while_this_machine_has_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Addresses come and go (DHCP): each request asks the system anew."""
    served = hosts.Hosts()
    monkeypatch.setattr(hosts, "is_address_of_this_machine", lambda _: True)
    assert served.serves("192.0.2.7:8000")
    monkeypatch.setattr(hosts, "is_address_of_this_machine", lambda _: False)
    assert not served.serves("192.0.2.7:8000")


def test_the_system_knows_its_own_addresses() -> None:
    assert hosts.is_address_of_this_machine(ip_address("127.0.0.1"))
    assert not hosts.is_address_of_this_machine(ip_address("192.0.2.7"))


@pytest.mark.parametrize("name", ["http://room-pc", "a b", "", "room-pc/", "x" * 64 + ".example"])
def test_a_setting_that_is_no_host_is_refused_at_the_start(tmp_path: Path, name: str) -> None:
    with pytest.raises(DomainError, match="BATHKEEPER_HOSTS"):
        create_app(Settings(data_dir=tmp_path, allowed_hosts=(name,)))
    assert not list(tmp_path.iterdir())
