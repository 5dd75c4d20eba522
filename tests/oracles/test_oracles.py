"""The table of answers: what is missing or no longer so is said, not passed over."""

import math

import pytest

from tests.oracles import Oracles, is_near, key_of, read_table

ROW = {"question": "math.sqrt(2.0)", "answer": math.sqrt(2), "unit": "1"}
KEY = str(ROW["question"])


def test_a_question_that_was_never_asked_fails_its_test() -> None:
    with pytest.raises(AssertionError, match=r"math\.sqrt\(3\.0\) was never asked"):
        Oracles({KEY: ROW}).ask("math.sqrt", 3.0)
    assert Oracles({KEY: ROW}).ask("math.sqrt", 2.0) == math.sqrt(2)


def test_a_library_that_answers_otherwise_than_it_is_kept_fails_the_test() -> None:
    assert Oracles({KEY: ROW}, is_live=True).ask("math.sqrt", 2.0) == math.sqrt(2)
    with pytest.raises(AssertionError, match=r"1\.4143 is kept, 1\.4142"):
        Oracles({KEY: ROW | {"answer": 1.4143}}, is_live=True).ask("math.sqrt", 2.0)
    with pytest.raises(AssertionError, match="is not in the table"):
        Oracles({}, is_live=True).ask("math.sqrt", 2.0)
    with pytest.raises(AssertionError):
        Oracles({KEY: ROW}, is_live=True).ask("math.sqrt", 2.0, unit="kg")


@pytest.mark.parametrize(
    "kept, said",
    [(1.0, 1.00001), ([1.0, 2.0], [1.0]), ([1.0, [2.0]], [1.0, [2.1]]), ("a", "b"), (0.0, 1e-9),
     (None, 1.0)],
)  # fmt: skip
def test_answers_that_differ_are_told_apart(kept: object, said: object) -> None:
    assert not is_near(kept, said)
    assert is_near(kept, kept)


def test_long_arguments_are_told_apart_by_their_digest() -> None:
    one, other = list(range(200)), [*range(199), 0]
    assert key_of("q", (one,)) != key_of("q", (other,))
    assert len(key_of("q", (one,))) < 100


def test_every_kept_answer_says_where_it_is_from() -> None:
    for row in read_table().values():
        assert row["library"], row
        assert row["version"], row
        assert row["unit"], row
