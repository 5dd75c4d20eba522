"""A doubted entry is asked about: two named answers, tied to the question they stood under."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.services.door import bring_in as record
from tests.answers import STORE_IT, sure
from tests.contracts.forms import forms_of
from tests.factories import NOW, ROOM, wash
from tests.web.logbook.test_logbook import TANK, WASH, entries

SLIP = {"method": "hydrometer", "density_g_ml": "0.879", "temperature_c": "20"}


def the_form(page: str, name: str) -> Any:
    """The form of a page that has a field of that name."""
    (found,) = (
        form for form in forms_of(page, TANK) if name in [field for field, *_ in form.fields]
    )
    return found


def answers(page: str) -> list[str]:
    """The values of the two answers."""
    return [
        b["value"]
        for form in forms_of(page, TANK)
        for b in form.buttons
        if b.get("name") == "confirmed"
    ]


@pytest.mark.parametrize(
    "task, sent", [("wash", WASH), ("reading", SLIP), ("top-up", {"volume_l": "30"})]
)
def test_with_a_question_open_enter_presses_nothing(
    client: TestClient, task: str, sent: dict[str, str]
) -> None:
    client.post(f"{TANK}/log/{task}", data={**sent, "submission": "first"})
    asked = client.post(f"{TANK}/log/{task}", data={**sent, "submission": "second"})
    assert asked.status_code == 422
    form = the_form(asked.text, next(iter(sent)))
    assert "disabled" in form.buttons[0]  # HTML: a disabled default button submits nothing
    assert form.buttons[1]["name"] == "confirmed"


@pytest.mark.parametrize("task", ["reading", "wash"])
def test_enter_saves_where_no_question_is_open(client: TestClient, task: str) -> None:
    field = {"reading": "density_g_ml", "wash": "minutes"}[task]
    page = client.get(f"{TANK}/log/{task}?method=hydrometer").text
    first = the_form(page, field).buttons[0]
    assert first.keys().isdisjoint({"disabled", "formmethod", "formaction", "name"})


def test_the_same_again_is_another_one_or_left(client: TestClient, store: Any) -> None:
    client.post(f"{TANK}/log/wash", data=WASH)
    other = WASH | {"submission": "s2"}
    asked = client.post(f"{TANK}/log/wash", data=other).text
    assert "It is another one<small>store it" in asked
    assert f'href="{TANK}"><span>It is the same<small>leave it' in asked
    assert len(entries(store, "wash")) == 1
    sure(client, f"{TANK}/log/wash", other)
    assert len(entries(store, "wash")) == 2


def test_a_value_is_right_or_changed(client: TestClient, store: Any) -> None:
    asked = client.post(f"{TANK}/log/reading", data=SLIP).text
    assert "Yes, store it" in asked
    assert "Change it" in asked
    change = next(one for one in answers(asked) if one == "change")
    page = client.post(f"{TANK}/log/reading", data=SLIP | {"confirmed": change}).text
    assert 'value="0.879"' in page
    assert 'id="doubts"' not in page
    assert entries(store, "reading") == []


def test_an_answer_holds_for_the_value_it_was_given_about(client: TestClient, store: Any) -> None:
    (yes,) = STORE_IT.findall(client.post(f"{TANK}/log/reading", data=SLIP).text)
    further = SLIP | {"density_g_ml": "0.899", "confirmed": yes}
    again = client.post(f"{TANK}/log/reading", data=further)
    assert again.status_code == 422
    assert entries(store, "reading") == []
    assert STORE_IT.findall(again.text) != [yes]


def test_an_answer_holds_for_no_other_question(client: TestClient, store: Any) -> None:
    many = [wash(9 - i, parts=20) for i in range(9)]
    record(store, ROOM, many, many[-1].at)
    odd = WASH | {"parts": "2000", "submission": "s3"}
    odd.pop("area_cm2", None)
    (yes,) = STORE_IT.findall(client.post(f"{TANK}/log/wash", data=odd).text)
    sure(client, f"{TANK}/log/wash", odd | {"submission": "s4"})
    before = len(entries(store, "wash"))
    answer = client.post(f"{TANK}/log/wash", data=odd | {"confirmed": yes})
    assert answer.status_code == 422
    assert "entered the same" in answer.text
    assert len(entries(store, "wash")) == before


def test_a_form_that_was_stored_is_not_asked_about_when_it_comes_again(
    client: TestClient, store: Any
) -> None:
    first = client.post(f"{TANK}/log/wash", data=WASH, follow_redirects=False)
    again = client.post(f"{TANK}/log/wash", data=WASH, follow_redirects=False)
    assert (again.status_code, again.headers["location"]) == (303, first.headers["location"])
    assert len(entries(store, "wash")) == 1


def test_a_rejects_question_keeps_its_finding(client: TestClient, store: Any) -> None:
    record(store, ROOM, [wash(1)], NOW)
    sent = {"finding": "tacky", "submission": "r1", "by": "Wren"}
    client.post(f"{TANK}/log/reject", data=sent)
    asked = client.post(f"{TANK}/log/reject", data=sent | {"submission": "r2"})
    assert asked.status_code == 422
    form = the_form(asked.text, "finding")
    assert ("finding", "tacky", "hidden") in form.fields
    assert len([f for f in forms_of(asked.text, TANK) if f.method == "post"]) == 1
    yes = form.buttons[1]["value"]
    client.post(f"{TANK}/log/reject", data=form.sent({"confirmed": yes}))
    assert len(entries(store, "reject")) == 2
