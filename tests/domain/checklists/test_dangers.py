"""What makes a checklist dangerous to follow, each with the step it stands beside and the reason.

Lockout before hands go in: 29 CFR 1910.147(d). Bonding before a flammable liquid flows: 29 CFR
1910.106(e)(6)(ii). Both from memory; the rest is common practice, no source.
"""

from dataclasses import replace

import pytest

from app.domain.checklists.dangers import (
    CONFIRMED,
    NEEDED,
    ORDER,
    Danger,
    changed_roles,
    dangers,
    put_back,
    renewed,
)
from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.roles import ROLES
from app.domain.checklists.template import Step, steps_of
from app.domain.roomlog.kinds.checklists import EXAMPLE_STEPS, OVERRULABLE

Steps = tuple[Step, ...]


def moved(key: str, before: str) -> Steps:
    """The default list with one step taken before another; at the end where that is empty."""
    step = next(one for one in DEFAULT.steps if one.key == key)
    rest = [one for one in DEFAULT.steps if one.key != key]
    place = next((i for i, one in enumerate(rest) if one.key == before), len(rest))
    return (*rest[:place], step, *rest[place:])


def changed(key: str, **values: object) -> Steps:
    return tuple(
        replace(one, **values) if one.key == key else one  # type: ignore[arg-type]
        for one in DEFAULT.steps
    )


def without(key: str) -> Steps:
    return tuple(one for one in DEFAULT.steps if one.key != key)


def test_the_lists_that_a_room_begins_with_and_the_docs_show_are_not_dangerous() -> None:
    assert dangers(DEFAULT.steps) == ()
    assert dangers(steps_of(EXAMPLE_STEPS)) == ()


@pytest.mark.parametrize(
    "steps, step, words",
    [
        (moved("bond", ""), "bond", "“Bond and earth both” must come before “Drain into the drum”. "
         "Otherwise flowing liquid builds up a charge, and a spark lights the vapour."),
        (moved("bond", "fill"), "bond", "must come before “Rinse out the settled solids”"),
        (moved("leak_check", "fill"), "fill", "“Fill to between the marks” must come before “Look "
         "for leaks”. Otherwise an empty tank shows no leak."),
        (moved("restart", "leak_check"), "leak_check", "must come before “Restart and watch it "
         "run”. Otherwise a pump empties a leaking bath onto the floor."),
        (moved("isolate", "rinse"), "isolate", "“Stop the bath and isolate it” must come before "
         "“Inspect the empty tank”. Otherwise a pump or heater starts and catches the hand"),
        (moved("wipe", ""), "wipe", "“Wipe down tank and lid” must come before “Fill to between"),
        (moved("wipe", "isolate"), "isolate", "must come before “Wipe down tank and lid”"),
        (moved("protect", "refit"), "protect", "Otherwise eyes or hands get splashed."),
        (moved("restart", "refit"), "refit", "“Refit before filling” must come before “Restart"),
        (moved("restart", "read"), "read", "nobody may reach in or leave anything open."),
        (changed("bond", is_required=False), "bond", "“Bond and earth both” must be required. "
         "Without it, flowing liquid builds up a charge"),
        (changed("leak_check", confirms=()), "leak_check", (
            "“Look for leaks” has nothing to confirm. Give it at least one point, so that nobody "
            "ticks it in passing."
        )),
    ],
)  # fmt: skip
def test_a_danger_names_its_step_and_says_why(steps: Steps, step: str, words: str) -> None:
    found = dangers(steps)
    assert any(one.step == step and words in one.message for one in found), found


@pytest.mark.parametrize("role", NEEDED)
def test_a_step_that_is_missing_is_missed_and_put_back_where_it_belongs(role: str) -> None:
    key = next(one.key for one in DEFAULT.steps if one.role == role)
    (danger,) = dangers(without(key))
    does, why = ROLES[role].does, NEEDED[role]
    assert danger.message == f"The list lacks the step that {does}. Without it, {why}."
    assert danger.role == role
    again = put_back(without(key), role)
    assert dangers(again) == ()
    assert sorted(one.key for one in again) == sorted(one.key for one in DEFAULT.steps)


def test_a_missing_step_is_shown_beside_the_step_it_belongs_before() -> None:
    assert [one.step for one in dangers(without("bond"))] == ["drain"]
    assert [one.step for one in dangers(without("restart"))] == ["close_out"]
    (danger,) = dangers(tuple(s for s in without("restart") if s.key != "close_out"))
    assert danger.step == ""


def test_a_step_put_back_takes_the_place_of_one_that_took_its_key() -> None:
    stolen = changed("bond", role="", title="Tidy up")
    again = put_back(stolen, "bond")
    assert dangers(again) == ()
    assert [one.title for one in again if one.key == "bond"] == ["Bond and earth both"]


def test_a_step_that_keeps_its_key_keeps_what_the_program_does_with_it() -> None:
    assert changed_roles(DEFAULT.steps, DEFAULT.steps) == ()
    (danger,) = changed_roles(changed("wipe", role=""), DEFAULT.steps)
    assert danger == Danger(
        "“Wipe down tank and lid” is the step that is done with hands in the empty tank. You "
        "cannot take that away from it. Remove the whole step and add your own.", step="wipe",
    )  # fmt: skip
    assert changed_roles(without("wipe"), DEFAULT.steps) == ()
    assert changed_roles(changed("close_out", role="hands"), DEFAULT.steps) == ()


def test_a_list_that_was_stored_before_gets_the_roles_of_its_keys() -> None:
    later = ("isolate", "bond", "hands", "leak_check", "restart")
    old = tuple(replace(s, role="") if s.role in later else s for s in DEFAULT.steps)
    assert renewed(old) == DEFAULT.steps
    own = (*old, Step("earth", "Earth it", role="bond"))
    assert [s.key for s in renewed(own) if s.role == "bond"] == ["earth"]
    assert renewed((Step("mine", "Mine"),)) == (Step("mine", "Mine"),)


def test_the_tables_speak_of_roles_that_there_are() -> None:
    known = set(ROLES) - {""}
    assert {role for pair in ORDER for role in pair} <= known
    assert set(NEEDED) | set(CONFIRMED) <= known
    assert not {ROLES[role].opens for role in ("isolate", "bond", "leak_check")} & {*OVERRULABLE}
