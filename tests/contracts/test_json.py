"""JSON that comes from outside, by form, API or file, is answered in words whatever it holds.

What may make trouble, from RFC 8259, sections 8 and 9: depth, range and precision of numbers,
halves of surrogate pairs, NUL; and values of another type than the one that is expected.
"""

import json
from collections.abc import Iterator
from itertools import islice
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.store.engine import Store
from tests.contracts.forms import Form, forms_of
from tests.contracts.seen_room import addresses, page_paths
from tests.contracts.test_forms import ANSWERS, _send
from tests.factories import NOW, ROOM

DEPTHS = (40, 200, 450, 700, 900, 980, 1_100, 20_000)
DEEP = [*("[" * n + "]" * n for n in DEPTHS), *('{"a":' * n + "1" + "}" * n for n in DEPTHS)]
LEAVES = (
    "9" * 400, "-" + "9" * 5000, "1e999", "-1e999", "NaN", "Infinity", r'"\ud800"', r'"a\u0000b"',
    "true", "null", "{}", "[]", "[[]]", '{"a":{}}', '""', "-1", "0.1", r'{"\udfff":1}', '"="',
    '"' + "x" * 5000 + '"',
)  # fmt: skip
PLACE = '"\N{OBJECT REPLACEMENT CHARACTER}"'
MOST_PLACES = 40


def places(value: Any) -> Iterator[str]:
    """The same JSON, each of its parts in turn taken out, with `PLACE` where it stood."""
    yield PLACE
    if not isinstance(value, dict | list):
        return
    for key, part in value.items() if isinstance(value, dict) else enumerate(value):
        for inner in places(part):
            other: Any = dict(value) if isinstance(value, dict) else list(value)
            other[key] = "\N{BULLET}"
            yield json.dumps(other, ensure_ascii=False).replace('"\N{BULLET}"', inner)


def hostile(text: str) -> Iterator[str]:
    """Texts in the place of one that holds JSON: cut short, too deep, odd in one of its parts."""
    yield from ("{", "[1,]", "\x00", "\ufeff{}", text + text, text[:-1])
    yield from DEEP
    for around in islice(places(json.loads(text)), MOST_PLACES):
        yield from (around.replace(PLACE, odd) for odd in (*LEAVES, DEEP[3]))


def json_fields(form: Form) -> Iterator[tuple[str, str]]:
    """The fields of a form that carry JSON, and what stands in them."""
    for name, value, _ in form.fields:
        if value.startswith(("{", "[")):
            yield name, value


@pytest.fixture(scope="module")
def carried(client: TestClient, token: str) -> list[tuple[Form, str, str]]:
    """Each form whose fields carry JSON, with one such field and what stands in it."""
    pages = [client.get(address) for path in page_paths() for address in addresses(path, token)]
    count = f"/rooms/{ROOM}/shelf/count"
    counting = {"item": "gloves", "quantity": "3", "go": "review"}
    pages.append(client.post(count, data=counting))
    found: dict[object, tuple[Form, str, str]] = {}
    for page in pages:
        if "text/html" not in page.headers["content-type"]:
            continue
        for form in forms_of(page.text, page.url.path):
            for name, value in json_fields(form):
                found[form.likeness, name] = form, name, value
    return list(found.values())


def test_the_fields_that_carry_json_are_found(carried: list[tuple[Form, str, str]]) -> None:
    assert {"counts", "books", "draft"} <= {name for _, name, _ in carried}


def test_whatever_stands_in_a_field_of_json_is_answered_in_words(
    client: TestClient, carried: list[tuple[Form, str, str]]
) -> None:
    troubles = []
    for form, name, value in carried:
        for odd in hostile(value):
            sent = form.sent({name: odd, "quantity": "2"})
            sent["submission"] = ["json"]
            try:
                status = _send(client, form, sent).status_code
            except Exception as error:
                status = type(error).__name__
            if status not in ANSWERS:
                troubles.append(f"{form.action} {name}={odd[:60]!r}: {status}")
    assert not troubles, "\n".join(troubles)


ANSWERED = {"kind": "inspection_answered", "inspection": "n1", "component": "c1", "answers": {}}
SOUND: list[dict[str, Any]] = [
    {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3, "note": "a"},
    {"kind": "whatif_case", "case": "k", "name": "K", "changes": {"limit_percent": 12}},
    {"kind": "item", "item": "i9", "name": "Nine", "category": "solvent", "unit": "L",
     "container_sizes": [18.9, 3.8]},
    {"kind": "pickup_booked", "pickup": "p9", "drums": ["d1"], "pickup_on": NOW.date().isoformat(),
     "hauler": "Marl Waste"},
    {"kind": "step_done", "swap": "w", "step": "drain", "answers": {"drained_l": 38.5}},
    ANSWERED,
]  # fmt: skip


@pytest.mark.parametrize("entry", SOUND, ids=lambda entry: str(entry["kind"]))
def test_whatever_stands_in_an_entry_is_answered_as_a_problem(
    client: TestClient, entry: dict[str, Any]
) -> None:
    troubles = []
    for odd in hostile(json.dumps(entry)):
        try:
            answer = client.post(
                f"/api/v1/rooms/{ROOM}/entries",
                content=odd.encode("utf-8", "surrogatepass"),
                headers={"Content-Type": "application/json"},
            )
            status: object = answer.status_code
        except Exception as error:
            status = type(error).__name__
        if status not in (200, 201, 400, 404, 409, 422):
            troubles.append(f"{odd[:90]!r}: {status}")
    assert not troubles, "\n".join(troubles)


@pytest.mark.parametrize("entry", SOUND[:4], ids=lambda entry: str(entry["kind"]))
def test_whatever_stands_in_a_log_is_refused_by_its_line_or_handed_out_again(
    client: TestClient, entry: dict[str, Any]
) -> None:
    kept = {**entry, "at": NOW.isoformat(), "ours": {"a": [1]}}
    lines = [odd for odd in hostile(json.dumps(kept)) if "\n" not in odd]
    log = "\n".join(lines).encode("utf-8", "surrogatepass")
    headers = {"Content-Type": "application/x-ndjson"}
    base = f"/api/v1/rooms/{ROOM}"
    stored = client.post(f"{base}/import?skip_bad=true", content=log, headers=headers)
    assert stored.status_code in (200, 201), stored.text[:500]
    for kind in ("jsonl", "csv"):
        assert client.get(f"{base}/export?format={kind}").status_code == 200
    listed = client.get(f"{base}/entries?limit=200")
    assert listed.status_code == 200
    for line in listed.json()["entries"]:
        if "ours" in line["entry"] or not line["entry"]["id"].isascii():
            assert client.get(f"{base}/entries/{line['entry']['id']}").status_code == 200
            assert client.get(f"/rooms/{ROOM}/entries/{line['entry']['id']}").status_code == 200
    assert client.get(f"/rooms/{ROOM}/log").status_code == 200


def test_nothing_of_it_broke_the_room(client: TestClient, store_of: Store) -> None:
    assert client.get(f"/rooms/{ROOM}").status_code == 200
    assert store_of.reader.pool.checkedout() == 0  # type: ignore[attr-defined]


@pytest.fixture(scope="module")
def store_of(client: TestClient) -> Store:
    """The database behind the client."""
    return client.app.state.store  # type: ignore[attr-defined,no-any-return]
