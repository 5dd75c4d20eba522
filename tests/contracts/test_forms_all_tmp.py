"""Every form of every page answers whatever is typed into it: in words, and with nothing lost."""

from itertools import count

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response

from tests.contracts.forms import TYPED, Form, forms_of
from tests.contracts.seen_room import addresses, page_paths

HOSTILE = (
    "", " ", "NaN", "-1", "0", "1e308", "-Infinity", "9" * 22, "1e-320", "0x10", "1,5", "½", "٣",
    "a\x00b", "x" * 5000, '=HYPERLINK("x")', "<script>alert(1)</script>", "../../etc/passwd",
    "9999-12-31", "0000-00-00", "2026-02-30T25:00", "0001-01-01T00:00", "\N{GRINNING FACE}",
)  # fmt: skip
MARK = "kept as typed"
ANSWERS = (200, 303, 404, 409, 413, 422)


@pytest.fixture(scope="module")
def forms(client: TestClient, token: str) -> list[Form]:
    """Each form of the room's pages, once."""
    found: dict[object, Form] = {}
    for path in page_paths():
        for address in addresses(path, token):
            for form in forms_of(client.get(address).text, address):
                found.setdefault(form.likeness, form)
    return list(found.values())


def test_there_are_forms(forms: list[Form]) -> None:
    assert len([form for form in forms if form.method == "post"]) > 60


def test_whatever_is_typed_is_answered_in_words(client: TestClient, forms: list[Form]) -> None:
    turn = count()
    troubles = []
    for form in forms:
        for name, _, kind in form.fields:
            if kind == "file" or name == "submission":
                continue
            for _ in range(len(HOSTILE)):
                hostile = HOSTILE[next(turn) * 7 % len(HOSTILE)]
                sent = form.sent({name: hostile})
                if "submission" in sent:
                    sent["submission"] = [f"hostile-{next(turn)}"]
                others = [each for each, _, type_ in form.fields if type_ in TYPED and each != name]
                if others:
                    sent[others[0]] = [MARK]
                answer = _send(client, form, sent)
                where = f"{form.method} {form.action} {name}={hostile[:20]!r}"
                if answer.status_code not in ANSWERS:
                    troubles.append(f"{where}: {answer.status_code}")
                if answer.status_code == 422 and others and MARK not in answer.text:
                    troubles.append(f"{where}: lost {others[0]}")
    assert not troubles, "\n".join(troubles)


def _send(client: TestClient, form: Form, sent: dict[str, list[str]]) -> Response:
    if form.method == "get":
        return client.get(form.action, params=sent, follow_redirects=False)
    files = {"no-photo": ("", b"")} if form.is_multipart else None
    return client.post(form.action, data=sent, files=files, follow_redirects=False)
