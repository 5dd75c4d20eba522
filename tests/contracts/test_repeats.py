"""A form that comes twice counts once and says the same twice: an answer may be lost on the way."""

import pytest
from fastapi.testclient import TestClient

from tests.contracts.forms import Form, forms_of
from tests.contracts.seen_room import addresses, page_paths

UNKEYED = (
    "/who",  # a cookie of the tablet: nothing is stored
    "/settings",  # sets what is typed: twice is once
    "/shelf/count",  # works a count out; saving it has a key
    "/import", "/store",  # a file, its entries by their own keys
    "/undo", "/discard", "/clock",  # takes back what is there, or says that it is not
    "/styleguide",
)  # fmt: skip
ONLY_ONCE = ("/discard",)  # the second says that it is gone


@pytest.fixture(scope="module")
def forms(client: TestClient, token: str) -> list[tuple[str, Form]]:
    """Each form of the room's pages that stores something, once, with its page."""
    found: dict[object, tuple[str, Form]] = {}
    for path in page_paths():
        for address in addresses(path, token):
            for form in forms_of(client.get(address).text, address):
                if form.method == "post":
                    found.setdefault(form.likeness, (address, form))
    return list(found.values())


def test_a_form_that_adds_something_has_a_key(forms: list[tuple[str, Form]]) -> None:
    without = [
        form.action
        for _, form in forms
        if "submission" not in [name for name, *_ in form.fields]
        and not any(part in form.action for part in UNKEYED)
    ]
    assert without == []


def test_enter_saves_and_does_not_only_look(forms: list[tuple[str, Form]]) -> None:
    """HTML: Enter in a field presses the first button of the form that sends it."""
    looking = [
        address
        for address, form in forms
        if form.buttons and form.buttons[0].keys() & {"formmethod", "formaction"}
    ]
    assert looking == []


def test_what_is_sent_twice_is_answered_alike(
    client: TestClient, forms: list[tuple[str, Form]]
) -> None:
    unlike, taken = [], 0
    for _, form in forms:
        sent = form.sent({})
        for button in form.buttons[-1:]:
            if button.get("name"):
                sent[button["name"]] = [button.get("value", "")]
        files = {"none": ("", b"")} if form.is_multipart else None
        first, second = (
            client.post(form.action, data=sent, files=files, follow_redirects=False)
            for _ in range(2)
        )
        if first.status_code != 303 or form.action.endswith(ONLY_ONCE):
            continue
        taken += 1
        if second.headers.get("location") != first.headers["location"]:
            unlike.append((form.action, second.status_code, second.headers.get("location")))
    assert unlike == []
    assert taken > 10
