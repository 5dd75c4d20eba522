"""Signing in with a tile and a PIN: sessions that begin, end, lock, and are nobody else's."""

import html
import re
import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session, select

from app.services.people.hashing import digest_of
from app.services.people.signing import open_session
from app.services.people.throttling import Client
from app.store import people
from app.store.people_tables import AccountRow, SignInRow
from app.store.sessions import reading
from tests.factories import ROOM
from tests.web.people.conftest import SECRETS, Site

ROOM_PAGE = f"/rooms/{ROOM}"
WASH = f"{ROOM_PAGE}/tanks/t1/log/wash"
A_WASH = {"resin": "slate", "parts": "5", "submission": "a-wash"}
HTML = {"Accept": "text/html"}


def _kept(text: str) -> str:
    found = re.search(r'name="kept" value="([^"]*)"', text)
    assert found is not None
    return html.unescape(found[1])


def _entries(site: Site, **asked: str) -> list[Any]:
    answer = site.browser("Wren").get(f"/api/v1/rooms/{ROOM}/entries", params=asked)
    return [one["entry"] for one in answer.json()["entries"]]


def test_a_tile_and_a_pin_lead_back_to_the_page_that_was_asked_for(site: Site) -> None:
    tablet = site.browser()
    asked = tablet.get(ROOM_PAGE, headers=HTML)
    assert (asked.status_code, asked.headers["location"]) == (303, f"/sign-in?back={ROOM_PAGE}")
    tiles = tablet.get(asked.headers["location"]).text
    assert all(name in tiles for name in SECRETS)
    keys = tablet.get("/sign-in", params={"who": site.numbers["Kim"], "back": ROOM_PAGE})
    assert 'name="secret"' in keys.text
    done = site.sign_in(tablet, "Kim", back=ROOM_PAGE)
    assert (done.status_code, done.headers["location"]) == (303, ROOM_PAGE)
    assert ">Kim<small>" in tablet.get(ROOM_PAGE).text


def test_cookies_are_out_of_reach_of_scripts_and_of_other_sites(site: Site) -> None:
    for cookie in site.sign_in(site.browser(), "Kim").headers.get_list("set-cookie"):
        assert "HttpOnly" in cookie
        assert "SameSite=strict" in cookie
        assert "Path=/" in cookie
        assert "Secure" not in cookie
    secure = site.browser()
    secure.base_url = "https://room.test"
    for cookie in site.sign_in(secure, "Kim").headers.get_list("set-cookie"):
        assert "Secure" in cookie


def test_the_database_holds_no_secret(site: Site) -> None:
    tablet = site.browser()
    site.sign_in(tablet, "Kim")
    token = tablet.cookies["sign_in"]
    with reading(site.store) as session:
        rows = session.exec(select(SignInRow)).all()
        secrets = session.exec(select(AccountRow.secret)).all()
    assert digest_of(token) in {row.digest for row in rows}
    assert token not in repr(rows)
    assert all(one.startswith("$argon2id$v=19$m=19456,t=2,p=1$") for one in secrets)


def test_a_session_that_somebody_planted_is_never_taken_over(site: Site) -> None:
    """Session fixation: the token of before the sign-in is not the one of after it."""
    tablet = site.browser()
    tablet.cookies.set("sign_in", "planted")
    site.sign_in(tablet, "Kim")
    tokens = {cookie.value for cookie in tablet.cookies.jar if cookie.name == "sign_in"}
    fresh = next(one for one in tokens if one != "planted")
    thief = site.browser()
    thief.cookies.set("sign_in", "planted")
    assert thief.get(ROOM_PAGE).status_code == 401
    thief.cookies.set("sign_in", fresh or "")
    assert thief.get(ROOM_PAGE).status_code == 200


def test_quick_switch_ends_the_session_of_before(site: Site) -> None:
    tablet = site.browser("Kim")
    of_kim = tablet.cookies["sign_in"]
    site.sign_in(tablet, "Lee")
    left = site.browser()
    left.cookies.set("sign_in", of_kim)
    assert left.get(ROOM_PAGE).status_code == 401


def test_signing_out_ends_the_session_also_for_a_copy_of_its_cookie(site: Site) -> None:
    tablet = site.browser("Kim")
    copy = site.browser()
    copy.cookies.set("sign_in", tablet.cookies["sign_in"])
    assert copy.get(ROOM_PAGE).status_code == 200
    assert tablet.post("/sign-out").headers["location"] == "/sign-in"
    assert copy.get(ROOM_PAGE).status_code == 401


def test_a_manager_ends_somebodys_sessions(site: Site) -> None:
    tablet = site.browser("Kim")
    number = site.numbers["Kim"]
    site.browser("Wren").post(f"/people/{number}/sign-out")
    assert tablet.get(ROOM_PAGE).status_code == 401


def test_somebody_who_left_is_out_at_once_and_the_name_stays_taken(site: Site) -> None:
    tablet, manager = site.browser("Kim"), site.browser("Wren")
    manager.post(f"/people/{site.numbers['Kim']}/leave")
    assert tablet.get(ROOM_PAGE).status_code == 401
    assert "Kim" not in site.browser().get("/sign-in").text
    again = {"name": "KIM", "role": "technician", "secret": "7391"}
    answer = manager.post("/people", data=again)
    assert answer.status_code == 422
    assert "This name is taken" in answer.text


def test_a_role_that_is_taken_away_is_gone_with_the_next_request(site: Site) -> None:
    lead = site.browser("Lee")
    assert lead.post(f"{ROOM_PAGE}/site", data={}).status_code != 403
    site.browser("Wren").post(f"/people/{site.numbers['Lee']}/role", data={"role": "technician"})
    assert lead.post(f"{ROOM_PAGE}/site", data={}).status_code == 403


def test_the_last_manager_stays(site: Site) -> None:
    manager, number = site.browser("Wren"), site.numbers["Wren"]
    for answer in (
        manager.post(f"/people/{number}/leave"),
        manager.post(f"/people/{number}/role", data={"role": "lead", "secret": "7391"}),
    ):
        assert answer.status_code == 422
        assert "is the only manager" in answer.text


def test_another_pin_ends_all_sessions_but_the_one_it_is_changed_in(site: Site) -> None:
    here, elsewhere = site.browser("Kim"), site.browser("Kim")
    before = here.cookies["sign_in"]
    wrong = {"old": "0000", "new": "8302", "again": "8302"}
    assert "not your current one" in here.post("/own-secret", data=wrong).text
    for new, why in (("12", "4 to 8 digits"), ("1234", "first anyone"), ("4071", "old one")):
        sent = {"old": SECRETS["Kim"], "new": new, "again": new}
        answer = here.post("/own-secret", data=sent)
        assert answer.status_code == 422
        assert why in answer.text
        page = re.sub(
            r"<head>.*</head>|<p class=.field-help.*?</p>|1234", "", answer.text, flags=re.S
        )
        assert new not in re.sub(r'(?:src|href|data-steps)="[^"]*"', "", page)
    done = here.post("/own-secret", data={"old": SECRETS["Kim"], "new": "8302", "again": "8302"})
    assert done.status_code == 303
    assert here.cookies["sign_in"] != before
    assert here.get(ROOM_PAGE).status_code == 200
    assert elsewhere.get(ROOM_PAGE).status_code == 401
    assert site.sign_in(site.browser(), "Kim").status_code == 422
    assert site.sign_in(site.browser(), "Kim", "8302").status_code == 303


def test_a_pin_that_somebody_else_chose_is_changed_first(site: Site) -> None:
    manager = site.browser("Wren")
    manager.post("/people", data={"name": "Ada", "role": "technician", "secret": "7391"})
    with reading(site.store) as session:
        row = people.account_named(session, "Ada")
    assert row is not None
    site.numbers["Ada"] = row.id or 0
    tablet = site.browser()
    assert site.sign_in(tablet, "Ada", "7391").headers["location"] == "/own-secret"
    assert tablet.get(ROOM_PAGE).headers["location"] == "/own-secret"
    assert tablet.post(WASH, data=A_WASH).status_code == 403
    tablet.post("/own-secret", data={"old": "7391", "new": "8302", "again": "8302"})
    assert tablet.get(ROOM_PAGE).status_code == 200


def test_a_tablet_left_alone_asks_for_the_pin_again(site: Site) -> None:
    tablet = site.browser("Kim")
    for _ in range(3):
        site.clock.wait(minutes=29)
        assert tablet.get(ROOM_PAGE).status_code == 200, "somebody is at it"
    site.clock.wait(minutes=31)
    asked = tablet.get(ROOM_PAGE, headers=HTML)
    assert asked.headers["location"] == f"/sign-in?who={site.numbers['Kim']}&back={ROOM_PAGE}"


def test_a_page_that_refreshes_itself_keeps_nobody_signed_in(site: Site) -> None:
    tablet = site.browser("Kim")
    for _ in range(4):
        site.clock.wait(minutes=10)
        answer = tablet.get(ROOM_PAGE, headers={"HX-Request": "true"})
    assert answer.status_code == 401
    assert "Signed out." in answer.text
    assert "<html" not in answer.text


def test_no_session_lasts_longer_than_a_shift_but_a_screens(site: Site) -> None:
    tablet, screen = site.browser("Kim"), site.browser("Wall")
    for _ in range(37):
        assert tablet.get(ROOM_PAGE).status_code == 200
        site.clock.wait(minutes=20)
    assert tablet.get(ROOM_PAGE).status_code == 401
    site.clock.wait(days=60)
    assert screen.get(ROOM_PAGE).status_code == 200


def test_what_was_typed_is_offered_again_after_signing_in(site: Site) -> None:
    tablet = site.browser("Kim")
    site.clock.wait(minutes=31)
    sent = tablet.post(WASH, data={**A_WASH, "note": "a “note” & <more>"})
    assert sent.status_code == 401
    assert sent.headers["x-sign-in"].startswith("/sign-in?who=")
    assert 'class="page sign-in error-page"' in sent.text
    kept = _kept(sent.text)
    offered = site.sign_in(tablet, "Lee", kept=kept)
    assert offered.status_code == 200
    assert "a “note” &amp; &lt;more&gt;" in offered.text
    assert "Send it as Lee" in offered.text
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', offered.text))
    assert fields["resin"] == "slate"
    done = tablet.post(WASH, data={name: html.unescape(text) for name, text in fields.items()})
    assert done.status_code == 303
    (wash,) = _entries(site, kind="wash")
    assert (wash["by"], wash["note"]) == ("Lee", "a “note” & <more>")


@pytest.mark.parametrize(
    "kept",
    ['{"to": "https://elsewhere.test/", "fields": []}', '{"to": "//elsewhere", "fields": []}',
     '{"to": "/x", "fields": [["a", 1]]}', "[" * 9000, "nonsense", '{"to": "/x"}', "null"],
)  # fmt: skip
def test_what_is_no_form_of_ours_is_not_offered(site: Site, kept: str) -> None:
    answer = site.sign_in(site.browser(), "Kim", kept=kept, back="//elsewhere.test/")
    assert (answer.status_code, answer.headers["location"]) == (303, "/")


def test_a_form_from_another_site_signs_nobody_in_or_out(site: Site) -> None:
    """Cross-site request forgery, told by either header that browsers send."""
    tablet = site.browser("Kim")
    for headers in ({"Origin": "http://elsewhere.test"}, {"Sec-Fetch-Site": "cross-site"}):
        assert tablet.post("/sign-out", headers=headers).status_code == 403
        assert tablet.post(WASH, data=A_WASH, headers=headers).status_code == 403
        sent = {"who": str(site.numbers["Lee"]), "secret": SECRETS["Lee"]}
        answer = site.browser().post("/sign-in", data=sent, headers=headers)
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers
    assert tablet.get(ROOM_PAGE).status_code == 200
    assert _entries(site, kind="wash") == []


def test_nobody_enters_anything_under_another_name(site: Site) -> None:
    tablet = site.browser("Kim")
    asked = tablet.post(WASH, data={**A_WASH, "by": "Lee"})
    assert asked.status_code == 422
    assert "You are signed in as Kim. This was filled in as Lee." in asked.text
    assert 'name="parts" value="5"' in asked.text
    assert _entries(site, kind="wash") == []
    assert tablet.post(WASH, data={**A_WASH, "by": "Kim"}).status_code == 303
    assert [one["by"] for one in _entries(site, kind="wash")] == ["Kim"]


def test_what_waited_on_the_tablet_is_sent_by_whoever_filled_it_in(site: Site) -> None:
    """It says by whom it was touched; somebody else who signs in meanwhile does not sign for it."""
    tablet = site.browser("Kim")
    waited = {"X-Sent-By": "outbox", "X-Touched-By": "Lee"}
    asked = tablet.post(WASH, data=A_WASH, headers=waited)
    assert asked.status_code == 422
    assert "This was filled in as Lee." in asked.text
    assert _entries(site, kind="wash") == []
    site.sign_in(tablet, "Lee")
    assert tablet.post(WASH, data=A_WASH, headers=waited).status_code in (200, 303)
    assert [one["by"] for one in _entries(site, kind="wash")] == ["Lee"]


def test_a_form_with_files_is_sent_by_whoever_filled_it_in(site: Site) -> None:
    tablet = site.browser("Kim")
    answer = tablet.post(
        f"{ROOM_PAGE}/tanks/t1/swap/steps/look/tick",
        data={"by": "Lee", "submission": "tick"},
        files={"file_photo": ("photo.jpg", b"no photo", "image/jpeg")},
    )
    assert answer.status_code == 409
    assert "Lee filled this in" in answer.text


def test_another_name_beside_the_tiles_is_asked_about_too(site: Site) -> None:
    sent = {**A_WASH, "by": "Kim", "by_other": "Eve"}
    asked = site.browser("Kim").post(WASH, data=sent)
    assert asked.status_code == 422
    assert "This was filled in as Eve." in asked.text
    assert "by_other" not in asked.text


def test_the_form_says_whose_word_it_is_instead_of_asking(site: Site) -> None:
    page = site.browser("Kim").get(f"{ROOM_PAGE}/tanks/t1/hold").text
    assert '<input type="hidden" name="by" value="Kim">' in page
    assert 'id="f-by" name="by"' not in page


def _hold(site: Site) -> None:
    held = {"by": "Kim", "reason": "Cracked lid", "submission": "hold"}
    assert site.browser("Kim").post(f"{ROOM_PAGE}/tanks/t1/hold", data=held).status_code == 303


RELEASE = {"reason": "New lid fitted", "lead": "Lee", "submission": "release"}


def test_only_a_lead_or_manager_who_is_signed_in_lifts_a_hold(site: Site) -> None:
    _hold(site)
    where = f"{ROOM_PAGE}/tanks/t1/hold/release"
    refused = site.browser("Kim").post(where, data=RELEASE)
    assert refused.status_code == 403
    assert "A lead or a manager does this." in refused.text
    assert "New lid fitted" in _kept(refused.text)
    assert site.browser("Lee").post(where, data=RELEASE).status_code == 303
    assert [one["by"] for one in _entries(site, kind="tank_released")] == ["Lee"]


def test_a_manager_counts_as_a_lead(site: Site) -> None:
    _hold(site)
    sent = {**RELEASE, "lead": "Wren"}
    where = f"{ROOM_PAGE}/tanks/t1/hold/release"
    assert site.browser("Wren").post(where, data=sent).status_code == 303


def test_somebody_else_who_agrees_confirms_with_their_own_pin(site: Site) -> None:
    _hold(site)
    where, manager = f"{ROOM_PAGE}/tanks/t1/hold/release", site.browser("Wren")
    asked = manager.post(where, data=RELEASE)
    assert asked.status_code == 422
    assert 'name="pin_of_lead"' in asked.text
    assert 'value="New lid fitted"' in asked.text
    wrong = manager.post(where, data={**RELEASE, "pin_of_lead": SECRETS["Kim"]})
    assert "That is not right." in wrong.text
    assert SECRETS["Kim"] not in wrong.text
    assert _entries(site, kind="tank_released") == []
    done = manager.post(where, data={**RELEASE, "pin_of_lead": SECRETS["Lee"]})
    assert done.status_code == 303
    (released,) = _entries(site, kind="tank_released")
    assert (released["by"], released["lead"]) == ("Wren", "Lee")


def test_a_word_that_was_confirmed_counts_for_its_own_request_only(site: Site) -> None:
    _hold(site)
    manager = site.browser("Wren")
    where = f"{ROOM_PAGE}/tanks/t1/hold/release"
    assert manager.post(where, data={**RELEASE, "pin_of_lead": SECRETS["Lee"]}).status_code == 303
    _again = {"by": "Wren", "reason": "Again", "submission": "again"}
    manager.post(f"{ROOM_PAGE}/tanks/t1/hold", data=_again)
    assert manager.post(where, data={**RELEASE, "submission": "r2"}).status_code == 422


def _first(site: Site, code: str = "ABCD-EFGH", name: str = "Ada") -> Any:
    sent = {"code": code, "name": name, "secret": "four plain words here"}
    return site.browser().post("/first-manager", data=sent)


@pytest.fixture
def first_start(make_site: Callable[..., Site]) -> Site:
    """A site with sign-in on and nobody in it; the terminal shows ABCD-EFGH."""
    site = make_site(with_people=False)
    site.app.state.sign_in.code_digest = digest_of("ABCD-EFGH")
    return site


def _managers(session: Session) -> list[str]:
    return [one.name for one in people.accounts(session) if one.role == "manager"]


def test_the_first_manager_is_whoever_reads_the_terminal(first_start: Site) -> None:
    assert "Make the first manager" in first_start.browser().get("/sign-in").text
    assert _first(first_start, "WRONG-CODE").status_code == 422
    assert _first(first_start, "abcd-efgh ").headers["location"] == "/people"
    assert _first(first_start, name="Eve").status_code == 409
    with reading(first_start.store) as session:
        assert _managers(session) == ["Ada"]


def test_one_code_makes_one_manager_however_many_send_it_at_once(first_start: Site) -> None:
    answers: list[int] = []

    def claim(name: str) -> None:
        answers.append(_first(first_start, name=name).status_code)

    threads = [threading.Thread(target=claim, args=(f"Person {n}",)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers)[0] == 303
    assert answers.count(303) == 1
    with reading(first_start.store) as session:
        assert len(_managers(session)) == 1


def test_the_code_cannot_be_guessed_either(first_start: Site) -> None:
    codes = [f"AAAA-AAA{letter}" for letter in "ABCDEF"]
    answers = [_first(first_start, code).status_code for code in codes]
    assert answers == [422] * 5 + [429]
    assert _first(first_start).status_code == 429


def test_a_site_with_a_manager_asks_to_sign_in_without_being_told(
    make_site: Callable[..., Site],
) -> None:
    site = make_site()
    again = site.app.state.settings
    assert again.sign_in is True
    from app.main import sign_in_at

    unsaid = type(again)(data_dir=again.data_dir)
    assert sign_in_at(unsaid, site.store).is_on
    assert not sign_in_at(type(again)(data_dir=again.data_dir, sign_in=False), site.store).is_on


def test_with_sign_in_off_every_page_says_so_and_names_are_taken_on_trust(
    make_site: Callable[..., Site],
) -> None:
    browser = make_site(sign_in=None, with_people=False).browser()
    said = "here can act as anyone else"
    for page in (ROOM_PAGE, f"{ROOM_PAGE}/log", "/rooms", "/people", "/sign-in"):
        assert said in browser.get(page).text, page
    assert browser.post(WASH, data={**A_WASH, "by": "Anybody"}).status_code == 303
    assert browser.post("/people", data={"name": "Eve"}).status_code == 409
    assert browser.post("/first-manager", data={"code": ""}).status_code == 409


def test_pages_warn_where_others_are_let_in_without_signing_in(
    make_site: Callable[..., Site],
) -> None:
    browser = make_site(sign_in=None, with_people=False, is_exposed=True).browser()
    for page in (ROOM_PAGE, "/rooms"):
        assert "Anyone on this network can act as anyone else here." in browser.get(page).text
    off = make_site(sign_in=None, with_people=False).browser()
    assert "Anyone on this network" not in off.get(ROOM_PAGE).text


def test_an_idle_time_of_ones_own_is_kept_to(make_site: Callable[..., Site]) -> None:
    site = make_site(idle_minutes=5)
    tablet = site.browser("Kim")
    site.clock.wait(minutes=6)
    assert tablet.get(ROOM_PAGE).status_code == 401


def test_a_session_of_yesterday_is_over_whatever_its_cookie_says(site: Site) -> None:
    opened = open_session(
        site.store, site.numbers["Kim"], Client("192.0.2.7"), site.clock() - timedelta(days=1)
    )
    thief = site.browser()
    thief.cookies.set("sign_in", opened.token)
    assert thief.get(ROOM_PAGE).status_code == 401
