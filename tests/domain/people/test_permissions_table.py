"""The table of permissions by itself, and who acts: each role, each action, in both directions.

Who may do what is the house's own rule (docs/people.md): no source outside.
"""

import pytest

from app.domain.people import permissions
from app.domain.people.actors import Actor
from app.domain.people.permissions import (
    ADDRESSES,
    ALLOWED,
    ANYBODY,
    BRING_IN,
    KINDS,
    LEAD,
    LOG,
    LOOK,
    OWN,
    PEOPLE,
    PRICES,
    ROLES,
    TAKE_AWAY,
    action_at,
    action_of,
    allows,
    refusal_of,
)

MAY = {
    "screen": {OWN, LOOK},
    "technician": {OWN, LOOK, TAKE_AWAY, LOG},
    "lead": {OWN, LOOK, TAKE_AWAY, LOG, LEAD},
    "manager": {OWN, LOOK, TAKE_AWAY, LOG, LEAD, BRING_IN, PRICES, PEOPLE},
}


@pytest.mark.parametrize("role", ROLES)
def test_a_role_may_do_what_stands_here_and_nothing_else(role: str) -> None:
    assert {action for action in ALLOWED if allows(role, action)} == MAY[role]
    actor = Actor("Wren", role)
    assert {action for action in ALLOWED if actor.may(action)} == MAY[role]


def test_a_role_that_there_is_not_is_nobody() -> None:
    with pytest.raises(ValueError, match=r"^owner$"):
        Actor("Wren", "owner")


def test_who_confirms_is_added_to_who_did_before() -> None:
    actor = Actor("Wren", "technician").with_vouched("Lee").with_vouched("Kim")
    assert actor == Actor("Wren", "technician", vouched=frozenset({"Lee", "Kim"}))
    assert Actor("Wren", "technician").vouched == frozenset()


@pytest.mark.parametrize(
    "method, path, action",
    [
        ("GET", "/rooms", LOOK),
        ("POST", "/rooms/{room}/spend/prices", PRICES),
        ("POST", "/people/tokens", PEOPLE),
        ("POST", "/rooms/{room}/delete", PEOPLE),
        ("GET", "/rooms/{room}/delete", PEOPLE),
        ("POST", "/api/v1/rooms/{room}/import", BRING_IN),
        ("GET", "/healthz", ANYBODY),
    ],
)
def test_an_address_is_found_by_its_method(method: str, path: str, action: str) -> None:
    assert ADDRESSES[f"{method} {path}"] == action
    assert action_at(method, path) == action
    if method == "GET":
        assert action_at("HEAD", path) == action


def test_an_address_that_is_not_named_is_nobodys() -> None:
    assert action_at("DELETE", "/rooms") is None
    assert action_at("POST", "/rooms/{room}/nowhere") is None
    assert len(ADDRESSES) > 250
    assert all(" " in one and set(one.split(" ")[0]) <= set("DEGLOPSTU") for one in ADDRESSES)
    assert set(ADDRESSES.values()) == {ANYBODY, *ALLOWED}


def test_an_address_stands_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        permissions, "_ADDRESSES", {LOOK: "\n GET,POST /one\n", LEAD: "\n POST /one\n"}
    )
    with pytest.raises(ValueError, match=r"^POST /one stands twice in the table$"):
        permissions._by_address()


def test_what_a_lead_decides_is_no_logging() -> None:
    leads = {
        "tank_released", "drum_released", "lot_released", "part_lot_released", "swap_released",
        "station_released", "step_overruled", "inspection_overruled", "incident_closed",
        "reading_accepted", "qualified", "qualification_ended", "solvent_limit", "site_rules",
    }  # fmt: skip
    assert {kind for kind in leads if action_of(kind) == LEAD} == leads
    assert {kind for kind, action in KINDS.items() if action == PRICES} == {
        "price_list", "other_cost",
    }  # fmt: skip
    assert action_of("crew_member") == PEOPLE
    for kind in ("wash", "reading", "tank_held", "drum_filled", "step_done"):
        assert action_of(kind) == LOG


def test_a_refusal_says_who_may() -> None:
    assert refusal_of("screen", LOG).startswith("A screen only shows pages.")
    assert (
        refusal_of("technician", LEAD) == "A lead or a manager does this. Ask one to sign in here."
    )
    assert refusal_of("lead", PRICES).startswith("A manager sets prices")
    assert refusal_of("screen", LOOK) == "This is not for screens."
