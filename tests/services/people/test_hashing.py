"""Digests of secrets: slow where people choose them."""

from argon2 import extract_parameters
from argon2.low_level import Type

from app.services.people.hashing import digest_of, drawn, drawn_code, fits, slow_digest


def test_the_slow_digest_is_argon2id_with_the_least_that_owasp_names() -> None:
    """OWASP Password Storage Cheat Sheet, from memory: Argon2id, 19 MiB, 2 passes, 1 lane."""
    found = extract_parameters(slow_digest("4071"))
    assert (found.type, found.memory_cost, found.time_cost, found.parallelism) == (
        Type.ID, 19 * 1024, 2, 1,
    )  # fmt: skip


def test_each_digest_has_its_own_salt() -> None:
    assert slow_digest("4071") != slow_digest("4071")


def test_only_the_secret_itself_fits() -> None:
    kept = slow_digest("4071")
    assert fits(kept, "4071")
    for other in ("4072", "", "4071 ", "\ud800", "٤٠٧١", "x" * 100_000):
        assert not fits(kept, other)
    assert not fits("no digest", "4071")


def test_what_is_drawn_is_long_and_never_the_same() -> None:
    assert len({drawn() for _ in range(1000)}) == 1000
    assert len(drawn()) >= 43
    codes = {drawn_code() for _ in range(1000)}
    assert len(codes) == 1000
    assert not set("".join(codes)) & set("01IO")
    assert digest_of("\ud800") == digest_of("?")
