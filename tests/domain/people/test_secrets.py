"""What a PIN or password must be, and how long a client waits."""

from hypothesis import given
from hypothesis import strategies as st

from app.domain.people.secrets import (
    FREE_FAILURES,
    LONGEST_WAIT_S,
    password_problem,
    pin_problem,
    wait_s,
)


@given(st.text(max_size=12))
def test_a_pin_is_four_to_eight_digits(text: str) -> None:
    is_plain = text.isascii() and text.isdigit() and 4 <= len(text) <= 8
    assert is_plain or pin_problem(text)


def test_the_first_that_anybody_tries_are_refused() -> None:
    for pin in ("0000", "7777", "1234", "4321", "9012", "56789", "12345678"):
        assert pin_problem(pin), pin
    for pin in ("4071", "1212", "2580", "1357"):
        assert not pin_problem(pin), pin


def test_a_password_is_long_rather_than_odd() -> None:
    """ASVS 4.0.3, 2.1.1, 2.1.2 and 2.1.9, from memory: 12 to 128 characters, of any kind."""
    assert password_problem("elevenchars", "Wren")
    assert not password_problem("twelve chars", "Wren")
    assert not password_problem("пароль из слов ☂", "Wren")
    assert not password_problem("abcdefghij" * 12, "Wren")
    assert password_problem("x1y2z3w4" * 17, "Wren")
    assert password_problem("WrenWrenWren", "Wren")
    assert password_problem("aaaaaaaaaaaab", "Wren")


@given(st.integers(0, 10_000))
def test_no_wait_is_shorter_after_more_wrong_ones(failures: int) -> None:
    assert 0 <= wait_s(failures) <= wait_s(failures + 1) <= LONGEST_WAIT_S
    assert (wait_s(failures) == 0) == (failures < FREE_FAILURES)


def test_all_pins_of_four_digits_take_a_client_more_than_three_months() -> None:
    tries = spent_s = 0
    while tries < 10_000:
        tries += 1
        spent_s += wait_s(tries)
    assert spent_s > 100 * 86_400
