"""Guessing PINs: it makes whoever guesses wait, and nobody else."""

import threading
from collections.abc import Iterator

from fastapi.testclient import TestClient

from tests.factories import ROOM
from tests.web.people.conftest import SECRETS, Site

ROOM_PAGE = f"/rooms/{ROOM}"


def wrong_pins() -> Iterator[str]:
    """PINs that nobody here has."""
    return (f"{number:04}" for number in range(10_000) if f"{number:04}" not in SECRETS.values())


def _guess(site: Site, client: TestClient, times: int) -> list[int]:
    pins = wrong_pins()
    return [site.sign_in(client, "Kim", next(pins)).status_code for _ in range(times)]


def test_after_five_wrong_ones_the_wait_doubles(site: Site) -> None:
    thief = site.browser()
    assert _guess(site, thief, 7) == [422] * 5 + [429] * 2
    refused = site.sign_in(thief, "Kim")
    assert refused.status_code == 429, "the right one is not looked at either"
    assert refused.headers["retry-after"] == "30"
    assert "Try again in 30 seconds" in refused.text
    waits = []
    for _ in range(7):
        site.clock.wait(seconds=int(site.sign_in(thief, "Kim", "0000").headers["retry-after"]))
        assert site.sign_in(thief, "Kim", "0000").status_code == 422
        waits.append(int(site.sign_in(thief, "Kim", "0000").headers["retry-after"]))
    assert waits == [60, 120, 240, 480, 900, 900, 900]


def test_guesses_in_a_day_are_few_however_they_are_sent(site: Site) -> None:
    """OWASP ASVS 4.0.3, 2.2.1, from memory: no more than 100 failed attempts an hour."""
    thief, looked_at, pins = site.browser(), 0, wrong_pins()
    for _ in range(24 * 60):
        if site.sign_in(thief, "Kim", next(pins)).status_code == 422:
            looked_at += 1
        site.clock.wait(minutes=1)
    assert looked_at < 110


def test_many_guesses_sent_at_once_are_counted_one_by_one(site: Site) -> None:
    answers: list[int] = []

    def guess(pin: str) -> None:
        answers.append(site.sign_in(site.browser(), "Kim", pin).status_code)

    threads = [threading.Thread(target=guess, args=(f"00{n:02}",)) for n in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers.count(422) == 5
    assert answers.count(429) == 11


def test_a_flood_from_elsewhere_locks_nobody_out(site: Site) -> None:
    tablet = site.browser(address="192.0.2.7")
    site.sign_in(tablet, "Kim")
    flood = site.browser(address="192.0.2.66")
    for _ in range(30):
        _guess(site, flood, 8)
        site.clock.wait(minutes=1)
        assert tablet.get(ROOM_PAGE).status_code == 200
    site.clock.wait(minutes=31)
    assert tablet.get(ROOM_PAGE).status_code == 401
    assert site.sign_in(tablet, "Kim").status_code == 303, "her tablet is known, and waits for none"
    assert site.sign_in(tablet, "Lee").status_code == 303


def test_a_flood_against_one_does_not_make_others_wait_at_the_same_place(site: Site) -> None:
    tablet = site.browser()
    _guess(site, tablet, 8)
    assert site.sign_in(tablet, "Kim").status_code == 429
    assert site.sign_in(tablet, "Lee").status_code == 303


def test_new_addresses_do_not_give_new_guesses_for_ever(site: Site) -> None:
    answers = []
    for n in range(20):
        answers += _guess(site, site.browser(address=f"192.0.2.{n}"), 5)
    assert answers.count(422) == 50
    stranger = site.browser(address="198.51.100.9")
    assert site.sign_in(stranger, "Kim").status_code == 429


def test_addresses_of_one_subscriber_are_one_client(site: Site) -> None:
    answers = []
    for n in range(10):
        answers += _guess(site, site.browser(address=f"2001:db8:1:2::{n:x}"), 1)
    assert answers == [422] * 5 + [429] * 5
    other = site.browser(address="2001:db8:1:3::1")
    assert site.sign_in(other, "Kim").status_code == 303


def test_a_made_up_device_makes_nobody_known(site: Site) -> None:
    thief = site.browser()
    answers = []
    for n in range(8):
        thief.cookies.set("device", f"made-up-{n}")
        answers += _guess(site, thief, 1)
    assert answers == [422] * 5 + [429] * 3


def test_the_device_of_another_person_makes_nobody_known_to_kim(site: Site) -> None:
    """Who works here may sign in as themself; their device is no place to guess Kim's PIN from."""
    insider = site.browser()
    site.sign_in(insider, "Lee")
    assert _guess(site, insider, 6) == [422] * 5 + [429]


def test_a_manager_lets_somebody_in_at_once(site: Site) -> None:
    tablet, manager = site.browser(), site.browser("Wren")
    _guess(site, tablet, 6)
    assert site.sign_in(tablet, "Kim").status_code == 429
    assert "wrong tries" in manager.get("/people").text
    manager.post(f"/people/{site.numbers['Kim']}/unlock")
    assert site.sign_in(tablet, "Kim").status_code == 303


def test_the_right_one_ends_the_count(site: Site) -> None:
    tablet = site.browser()
    for _ in range(4):
        assert _guess(site, tablet, 4) == [422] * 4
        assert site.sign_in(tablet, "Kim").status_code == 303


def test_a_second_persons_pin_cannot_be_guessed_either(site: Site) -> None:
    manager = site.browser("Wren")
    held = {"by": "Wren", "reason": "Cracked lid"}
    manager.post(f"{ROOM_PAGE}/tanks/t1/hold", data=held)
    sent = {"reason": "New lid", "lead": "Lee", "pin_of_lead": "0000"}
    for _ in range(5):
        answer = manager.post(f"{ROOM_PAGE}/tanks/t1/hold/release", data=sent)
        assert "That is not right." in answer.text
    answer = manager.post(
        f"{ROOM_PAGE}/tanks/t1/hold/release", data={**sent, "pin_of_lead": SECRETS["Lee"]}
    )
    assert answer.status_code == 422
    assert "Too many wrong tries from here." in answer.text
