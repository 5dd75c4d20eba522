"""Who releases a part lot, qualifies, puts an instrument back: by form, program and other words."""

import pytest

from tests.factories import NOW, ROOM
from tests.web.people.conftest import Site
from tests.web.people.test_tokens import ENTRIES, _program, _token

AT = f"/rooms/{ROOM}"
DAY = NOW.date().isoformat()
LATER = NOW.replace(year=NOW.year + 1).date().isoformat()
LOT = {"kind": "part_lot", "lot": "B-1", "resin": "slate"}
METER = {"kind": "instrument", "instrument": "h1", "name": "Hydrometer 1", "sort": "hydrometer"}
WORDS = {
    "release": {"kind": "part_lot_released", "lot": "B-1", "lead": "Lee", "reason": "Cosmetic",
                "accepted": "no wash logged; no cure logged"},
    "qualify": {"kind": "qualified", "qualifications": "qualifications", "person": "Kim",
                "act": "swap", "until_on": LATER, "trained_on": DAY, "lead": "Lee"},
    "take off": {"kind": "qualification_ended", "qualifications": "qualifications",
                 "person": "Kim", "act": "swap", "lead": "Lee"},
    "put back": {"kind": "instrument_put_back", "instrument": "h1", "reason": "Checked"},
    "retire": {"kind": "instrument_retired", "instrument": "h1"},
    "add": METER | {"instrument": "h2", "name": "Hydrometer 2"},
}  # fmt: skip
FORMS = {
    "release": (f"{AT}/log/part-lot-release", {"accept-0": "no wash logged"}),
    "qualify": (f"{AT}/qualified", {"act+swap": "on"}),
    "take off": (f"{AT}/qualified/end", {"act+swap": "on"}),
    "put back": (f"{AT}/instruments/h1/log/put-back", {}),
    "retire": (f"{AT}/instruments/h1/log/retire", {}),
    "add": (f"{AT}/instruments/new", {}),
}  # fmt: skip


def _furnish(site: Site) -> None:
    lead = _program(site, _token(site, "lead", "Planner"))
    aside = {"kind": "instrument_set_aside", "instrument": "h1", "reason": "Dropped"}
    for word in (LOT, METER, aside):
        assert lead.post(ENTRIES, json=word).status_code == 201


def _count(site: Site) -> int:
    found = site.browser("Wren").get(f"/api/v1/rooms/{ROOM}/entries", params={"limit": 200})
    return len(found.json()["entries"])


@pytest.mark.parametrize("what", WORDS)
def test_what_a_lead_decides_no_technician_and_no_screen_does(site: Site, what: str) -> None:
    _furnish(site)
    before = _count(site)
    path, more = FORMS[what]
    for name, role in (("Kim", "technician"), ("Wall", "screen")):
        form = {key: str(value) for key, value in (WORDS[what] | more).items()}
        assert site.browser(name).post(path, data=form).status_code in (
            403,
            422,
        )  # or asks for her PIN
        program = _program(site, _token(site, role, f"{role} program"))
        assert program.post(ENTRIES, json=WORDS[what]).status_code == 403
        batch = {"entries": [WORDS[what]]}
        assert program.post(f"{ENTRIES}/batch", json=batch).status_code == 403
    assert _count(site) == before


def test_a_technician_corrects_and_takes_back_no_decision_of_a_lead(site: Site) -> None:
    lead = _program(site, _token(site, "lead", "Planner"))
    technician = _program(site, _token(site))
    (uid,) = lead.post(ENTRIES, json=METER).json()["ids"]
    before = _count(site)
    assert technician.post(f"{ENTRIES}/{uid}/withdrawal", json={}).status_code == 403
    better = METER | {"offset": 0.002}
    assert technician.post(f"{ENTRIES}/{uid}/correction", json=better).status_code == 403
    kim = site.browser("Kim")
    for path in (f"entries/{uid}/withdraw", f"undo/{uid}", f"instruments/h1/undo/{uid}"):
        assert kim.post(f"{AT}/{path}", data={}).status_code in (403, 409)
    assert _count(site) == before


@pytest.mark.parametrize(
    "file", ["log.csv", "lots/record.csv?lot=B-1", "lots/recall.csv?reason=check+overdue"]
)
def test_a_screen_takes_no_file_away(site: Site, file: str) -> None:
    lot = {"kind": "part_lot", "at": "2026-03-02T11:00:00Z", "lot": "B-1", "resin": "slate"}
    assert site.browser("Kim").post(ENTRIES, json=lot).status_code < 300
    assert site.browser("Wall").get(f"{AT}/{file}").status_code == 403
    assert site.browser("Kim").get(f"{AT}/{file}").status_code == 200
    assert site.browser().get(f"{AT}/{file}").status_code in (303, 401)


@pytest.mark.parametrize("name", ["", "Wall", "Kim", "Lee", "Wren"])
def test_no_role_reads_what_the_monitor_reads_from_another_machine(site: Site, name: str) -> None:
    assert site.browser(name).get("/metrics").status_code == 404
