"""What the guides show is so: links lead somewhere, requests and commands do what is said."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.cli import main
from app.domain.roomlog.kinds.curing import CURE_RECIPE
from app.services.acts.rooms import RoomForm, add_room
from tests.contracts.demo_room import NOW, ROOM, visit_demo
from tests.contracts.part_lots import QUESTIONS
from tests.furnished import new_store

ROOT = Path(__file__).parents[2]
GUIDES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
FILES = {
    "washes.csv": "Date,Kind,Bath,Resin,Parts\n2026-03-04 10:00,wash,Alder,Slate,7\n",
    "w.csv": "Date,Where,Resin,N\n2026-03-03 09:00,Alder,Slate,5\n",
    "t.csv": "Date,Tank,Vol\n2026-03-03 11:00,Alder,0.4\n",
}
SAFE_COMMANDS = ("import", "export", "rooms", "backtest")


def text_of(guide: Path) -> str:
    return guide.read_text("utf-8")


def examples(guide: Path) -> Iterator[str]:
    """The lines of a guide that stand apart, indented or fenced, each joined where it is broken."""
    is_fenced, whole = False, ""
    for line in text_of(guide).splitlines():
        if line.startswith("```"):
            is_fenced = not is_fenced
        elif is_fenced or line.startswith("    "):
            whole += line.strip().removesuffix("\\")
            if not line.endswith("\\"):
                yield whole
                whole = ""


def anchors(guide: Path) -> set[str]:
    """The names under which the headings of a guide are led to."""
    headings = re.findall(r"^#+ +(.+)$", text_of(guide), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", one.lower()).strip().replace(" ", "-") for one in headings}


def test_there_are_guides() -> None:
    assert len(GUIDES) > 10


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: str(guide.relative_to(ROOT)))
def test_every_link_of_a_guide_leads_somewhere(guide: Path) -> None:
    troubles = []
    for link in re.findall(r"\]\(([^)\s]+)\)", text_of(guide)):
        if link.startswith(("http://", "https://", "mailto:")):
            continue
        name, _, anchor = link.partition("#")
        target = guide.parent / name if name else guide
        if not target.exists():
            troubles.append(f"{link}: no such file")
        elif anchor and target.suffix == ".md" and anchor not in anchors(target):
            troubles.append(f"{link}: no such heading")
    assert not troubles, "\n".join(troubles)


# Requests -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A program that speaks to the demo room."""
    yield from visit_demo(tmp_path_factory.mktemp("demo"))


CURLS = [line for guide in GUIDES for line in examples(guide) if line.startswith("curl ")]


def test_there_are_requests_to_try() -> None:
    assert len(CURLS) >= 2


@pytest.mark.parametrize("line", CURLS)
def test_a_request_of_a_guide_is_answered_as_it_says(client: TestClient, line: str) -> None:
    words = shlex.split(line)[1:]
    method, address, headers, body = "GET", "", {}, b""
    while words:
        word = words.pop(0)
        if word == "-X":
            method = words.pop(0)
        elif word == "-H":
            name, _, value = words.pop(0).partition(": ")
            headers[name] = value
        elif word in ("-d", "--data-binary"):
            given = words.pop(0)
            body = (FILES[given[1:]] if given.startswith("@") else given).encode()
        else:
            address = word
    path = address.removeprefix("http://localhost:8000")
    assert path.startswith("/api/")
    answer = client.request(method, path, headers=headers, content=body)
    assert answer.status_code in (200, 201), answer.text


@pytest.fixture(scope="module")
def described(client: TestClient) -> dict[str, set[str]]:
    """The methods of each path of the API."""
    paths = client.get("/api/v1/openapi.json").json()["paths"]
    return {path: set(methods) for path, methods in paths.items()}


def said_requests() -> list[str]:
    """The parts of addresses that the table of tasks names, below a room and below its things."""
    table = text_of(ROOT / "docs" / "api.md").partition("## Tasks")[2]
    return sorted({one for one in re.findall(r"`(/[^`]*)`", table) if not one.startswith("/q/")})


@pytest.mark.parametrize("said", said_requests())
def test_what_the_table_of_tasks_names_is_there(
    client: TestClient, described: dict[str, set[str]], said: str
) -> None:
    path = said.partition("?")[0]
    meant = [one for one in described if one.endswith(path) or path.startswith("/books/")]
    assert meant, f"nothing ends in {path}"
    if not any("get" in described[one] for one in meant):
        return  # it is written to; the examples and the tests of the API do that
    base = "/api/v1" if path.startswith("/rooms") else f"/api/v1/rooms/{ROOM}"
    below = "/tanks/alder" if path == "/course" else ""
    answer = client.get(base + below + filled(client, said) + QUESTIONS.get(path, ""))
    assert answer.status_code == 200, answer.text


def filled(client: TestClient, said: str) -> str:
    """Part of an address with things of the demo in it; their list, where it has none of them."""
    said = said.replace("{room}", ROOM).replace("{tank}", "alder")
    said = re.sub(r"(?<=kind=)$", "wash", re.sub(r"(?<=tank=)$", "alder", said))
    if "{resin}" in said:
        recipes = client.get(f"/api/v1/rooms/{ROOM}/books/{CURE_RECIPE}").json()["states"]
        return said.replace("{resin}", next(iter(recipes)))
    if (book := re.match(r"(/books/\w+)/", said)) is None:
        return said
    states = client.get(f"/api/v1/rooms/{ROOM}{book[1]}").json()["states"]
    return f"{book[1]}/{next(iter(states))}" if states else book[1]


# Commands -----------------------------------------------------------------------------------------


def commands() -> list[str]:
    """The commands of the guide of the command line that need no more than files."""
    lines = examples(ROOT / "docs" / "command-line.md")
    found = [line for line in lines if line.startswith("python3 -m app ")]
    return [line for line in found if line.split()[3] in SAFE_COMMANDS]


def test_the_commands_of_the_guide_do_what_they_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    store = new_store(tmp_path / "data")
    add_room(store, RoomForm(name="My room", key="my-room", time_zone="Europe/Dublin"), NOW)
    store.close()
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BATHKEEPER_DATA", str(tmp_path / "data"))
    room_log = next(
        iter(re.findall(r"```json\n(.*?)```", text_of(ROOT / "docs/room-log.md"), re.S))
    )
    (tmp_path / "first.jsonl").write_text(room_log)
    assert main(["import", "first.jsonl", "--room", "my-room"]) == 0
    assert {line.split()[3] for line in commands()} >= {"import", "export", "backtest"}
    for line in commands():
        assert main(shlex.split(line)[3:]) == 0, f"{line}\n{capsys.readouterr().err}"
