"""What an experienced hand does beside the steps: lock and key, a second person, which tank."""

import pytest

from app.domain.checklists.answers import answer_problems
from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.roles import ROLES, tanks_of
from app.domain.checklists.template import Ask, Step, as_data, steps_of


def step(key: str) -> Step:
    return next(one for one in DEFAULT.steps if one.key == key)


@pytest.mark.parametrize("key, ask", [
    ("isolate", "lock_number"), ("isolate", "key_holder"), ("choose_drum", "second"),
    ("fill", "second"), ("restart", "lock_released_with"), ("rinse", "solids_container"),
])  # fmt: skip
def test_the_default_list_asks_what_an_experienced_hand_writes_down(key: str, ask: str) -> None:
    assert ask in {one.key for one in step(key).asks}


def test_the_default_list_confirms_what_an_experienced_hand_looks_at() -> None:
    lines = " ".join(line for one in DEFAULT.steps for line in one.confirms)
    for words in ("drum is vented", "hose is drained into the drum, and capped", "lid is back on"):
        assert words in lines
    assert steps_of(as_data(DEFAULT.steps)) == DEFAULT.steps


def test_a_second_person_is_somebody_else() -> None:
    asked = Step("s", "S", asks=(Ask("second", "second", "Second person here"),))
    (problem,) = answer_problems(asked, {"second": "wren"}, frozenset(), "Wren")
    assert problem.message == "Second person here: choose somebody other than Wren."
    assert answer_problems(asked, {"second": "Dunlin"}, frozenset(), "Wren") == []
    (missing,) = answer_problems(asked, {}, frozenset(), "Wren")
    assert missing.message == "Second person here is missing."


def test_in_a_pair_each_step_names_its_tank() -> None:
    """The dirty bath is drained and takes the clean bath's liquid; the clean bath's tank is filled
    anew. What is switched off, looked at or switched on is so at both."""
    both, dirty, clean = ("d", "c"), ("d",), ("c",)
    found = {role: tanks_of(role, "d", "c") for role in ROLES}
    assert {role for role, tanks in found.items() if tanks == clean} == {
        "isolate_clean", "rinse_clean", "clean", "refit_clean", "fill", "reading"
    }  # fmt: skip
    for role in ("isolate", "move", "leak_check", "restart"):
        assert found[role] == both
    for role in ("drain", "inspection", "rinse", "hands", "refit"):
        assert found[role] == dirty
    assert all(tanks_of(role, "d", None) == dirty for role in ROLES)
    assert tanks_of("isolate", "d", "c", ROLES) == dirty
