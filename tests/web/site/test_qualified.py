"""Who may do what, by its forms and by programs: what is asked, refused, told, and never said."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.qualifications import NO_NOTE
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.lines import parse_entry
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.web.conftest import entries_of

AT = f"/rooms/{ROOM}"
PAGE = f"{AT}/qualified"
ENTRIES = f"/api/v1/rooms/{ROOM}/entries"
UNTIL = (NOW + timedelta(days=20)).date().isoformat()


@pytest.fixture(autouse=True)
def crew(store: Store) -> None:
    roles = {"Wren": "technician", "Finch": "technician", "Curlew": "lead", "Heron": "manager"}
    people = [CrewMember(at=START, crew="crew", name=one, role=roles[one]) for one in roles]
    gone = CrewMember(at=START, crew="crew", name="Rail", role="technician", has_left=True)
    record(store, ROOM, [*people, gone], NOW)


def qualify(client: TestClient, person: str = "Finch", **more: str) -> str:
    sent = {
        "person": person, "act+swap": "on", "act+cure": "on", "until_on": UNTIL,
        "trained_on": START.date().isoformat(), "lead": "Curlew", "by": "Curlew",
    }  # fmt: skip
    return client.post(PAGE, data={**sent, **more}).text


def off(client: TestClient, person: str, act: str = "swap", **more: str) -> str:
    sent = {"person": person, f"act+{act}": "on", "lead": "Curlew", "by": "Curlew", **more}
    return client.post(f"{PAGE}/end", data=sent).text


def start(client: TestClient, by: str, **more: str) -> str:
    return client.post(f"{AT}/tanks/t1/swap/start", data={"by": by, **more}).text


def test_one_form_qualifies_for_several_acts_and_the_page_counts_the_days(
    client: TestClient, store: Store
) -> None:
    assert "everybody may" in client.get(PAGE).text
    page = qualify(client, supervised_times="3")
    assert [row.kind for row in entries_of(store, "qualified")] == ["qualified"] * 2
    assert page.count("20 days left") == 2
    assert "3 times under supervision" in page
    assert "Rail" not in page  # who has left is no row
    for path in (AT, f"{AT}/crew", f"{AT}/duties"):
        assert f'href="{PAGE}"' in client.get(path).text  # one click away


@pytest.mark.parametrize(
    "sent, message",
    [
        ({"act+swap": "", "act+cure": ""}, "Choose at least one act."),
        ({"until_on": "soon"}, "day"),
        ({"until_on": "2020-01-01"}, "This day has passed"),
        ({"trained_on": ""}, "Enter the day of the training"),
        ({"trained_on": "", "supervised_times": "0"}, "must be between 1 and 1000 times"),
        ({"person": "Rail"}, "Choose one of the people here"),
        ({"person": "<b>"}, "Choose one of the people here"),
        ({"lead": "Wren"}, "Only a lead can do this: Curlew."),
    ],
)
def test_what_does_not_fit_is_said_beside_its_field_and_stores_nothing(
    client: TestClient, store: Store, sent: dict[str, str], message: str
) -> None:
    page = qualify(client, **sent)
    assert message in page
    assert "Nothing was stored" in page
    assert f'value="{sent.get("until_on", UNTIL)}"' in page  # what was typed is kept
    assert entries_of(store, "qualified") == []


def test_nothing_is_asked_until_somebody_is_qualified(client: TestClient, store: Store) -> None:
    start(client, "Wren")
    assert entries_of(store, "swap_started")


def test_who_is_not_qualified_is_asked_and_who_is_goes_on(client: TestClient, store: Store) -> None:
    qualify(client)
    page = start(client, "Wren")
    assert "Not qualified: Wren, to swap baths" in page
    assert entries_of(store, "swap_started") == []
    start(client, "Finch")
    assert len(entries_of(store, "swap_started")) == 1


def test_who_was_taken_off_is_refused_and_nobody_reads_why(
    client: TestClient, store: Store
) -> None:
    qualify(client, "Wren")
    assert "Leave the note empty" in off(client, "Wren", note="Rash on both hands")
    page = off(client, "Wren")
    assert "–" in page  # as if nobody had entered anything
    refused = start(client, "Wren")
    assert "Taken off this task: Wren, to swap baths" in refused
    assert entries_of(store, "swap_started") == []
    assert all("Rash" not in row.fields + (row.note or "") for row in entries_of(store))
    start(client, "Finch")  # asked, since Wren was qualified once
    assert entries_of(store, "swap_started") == []
    book = client.get(f"/api/v1/rooms/{ROOM}/books/qualifications/qualifications").json()
    assert "reason" not in str(book).casefold()


@pytest.mark.parametrize("kind", ["qualified", "qualification_ended"])
def test_why_somebody_may_not_is_no_note_of_what_is_taken_back_either(
    client: TestClient, store: Store, kind: str
) -> None:
    qualify(client, "Wren", note="Trained on both stations")
    off(client, "Wren", "drum")
    row = entries_of(store, kind)[0]
    at = f"{AT}/entries/{row.uid}"
    assert 'name="note"' not in client.get(at).text
    assert "Withdraw this entry" in client.get(at).text
    page = client.post(
        f"{at}/withdraw", data={"as_lead": "Curlew", "note": "Rash on both hands"}
    ).text
    assert "Leave the note empty" in page
    why = {"by": "Curlew", "note": "Rash on both hands"}
    assert client.post(f"{ENTRIES}/{row.uid}/withdrawal", json=why).status_code == 422
    sent = client.get(f"{ENTRIES}/{row.uid}").json()["entry"]
    fixed = {name: value for name, value in sent.items() if name not in ("id", "at")} | why
    assert client.post(f"{ENTRIES}/{row.uid}/correction", json=fixed).status_code == 422
    assert all("Rash" not in (one.note or "") for one in entries_of(store))
    assert client.post(f"{at}/withdraw", data={"as_lead": "Curlew"}).status_code == 200
    assert len(entries_of(store, "withdrawal")) == 1


def test_a_log_that_is_brought_in_says_no_reason_in_a_field_of_its_own() -> None:
    line = {
        "kind": "qualification_ended", "at": START.isoformat(), "lead": "Curlew",
        "qualifications": "qualifications", "person": "Wren", "act": "swap", "why": "Rash",
    }  # fmt: skip
    with pytest.raises(FieldErrors) as refused:
        parse_entry(line)
    assert refused.value.by_field() == {"why": "Leave this out. " + NO_NOTE.partition(". ")[2]}


def test_a_program_is_asked_and_refused_alike(client: TestClient, store: Store) -> None:
    sent = {
        "kind": "qualified", "qualifications": "qualifications", "person": "Finch", "act": "swap",
        "until_on": UNTIL, "lead": "Curlew", "supervised_times": 2, "by": "Curlew",
    }  # fmt: skip
    assert client.post(ENTRIES, json=sent | {"lead": "Wren"}).status_code == 422
    assert client.post(ENTRIES, json=sent | {"act": "fly"}).status_code == 422
    stored = client.post(ENTRIES, json=sent)
    assert stored.status_code == 201
    began = {"kind": "swap_started", "tank": "t1", "by": "Wren"}
    asked = client.post(ENTRIES, json=began)
    assert asked.status_code == 409
    assert [one["name"] for one in asked.json()["questions"]] == ["person_not_qualified"]
    taken = {name: sent[name] for name in ("qualifications", "act", "lead", "by")}
    ended = {**taken, "kind": "qualification_ended", "person": "Wren"}
    assert client.post(ENTRIES, json=ended).status_code == 201
    assert client.post(ENTRIES, json=began).status_code == 422
    key = entries_of(store, "qualification_ended")[0].uid
    back = client.post(f"{ENTRIES}/{key}/withdrawal", json={"by": "Curlew"})
    assert back.status_code in (200, 201)
    assert client.post(ENTRIES, json=began).status_code == 409  # asked again, no longer refused


def test_the_due_list_tells_a_month_before_and_after_the_end(client: TestClient) -> None:
    qualify(client)
    qualify(client, "Wren", until_on=(NOW + timedelta(days=90)).date().isoformat())
    page = client.get(f"{AT}/duties").text
    now = re.split('id="g-(?:week|later)"', page)[0]
    assert "Finch: swap baths" in now
    assert "Ends in 20 days" in now
    assert "Wren: swap baths" not in now
    refused = client.post(f"{AT}/duties/done", data={"duty": "qualification", "of": "Finch|swap"})
    assert refused.status_code == 422  # a lead renews it, nobody ticks it off


def test_the_plan_names_who_is_trained_not_the_manager_and_not_who_left(
    client: TestClient,
) -> None:
    plan = f"/api/v1/rooms/{ROOM}/plan"

    def people() -> set[tuple[str, str]]:
        swaps = client.get(plan).json()["swaps"]
        return {
            (line["state"], line["text"])
            for swap in swaps for line in swap["lines"] if line["subject"] == "people"
        }  # fmt: skip

    before = people()
    assert {text for _, text in before} <= {""}
    long = (NOW + timedelta(days=900)).date().isoformat()
    qualify(client, "Finch", until_on=long)
    qualify(client, "Heron", until_on=long)
    assert people() == ({("ready", "Finch")} if before else set())
    off(client, "Finch")
    assert people() == ({("short", "")} if before else set())
