"""What a release accepted of a part lot, and what came to the log after it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from app.domain.part_lots.record import (
    Change,
    CureStep,
    Decision,
    LotRecord,
    RejectStep,
    ResinStep,
    WashStep,
)

AT = datetime(2026, 3, 2, 9, tzinfo=UTC)
HOUR = timedelta(hours=1)


def wash(hours: float, entry: str, percent: float | None = 15.0) -> WashStep:
    return WashStep(AT + hours * HOUR, "Wren", entry, "t1", "slate", percent=percent,
                    limit_percent=10.0)  # fmt: skip


def cure(hours: float, entry: str) -> CureStep:
    return CureStep(AT + hours * HOUR, "Wren", entry, "s1", "slate", 5.0, least=3000.0,
                    asked=3000.0, dried_minutes=60.0, dry_asked_minutes=30.0)  # fmt: skip


def released(*accepted: str) -> Decision:
    return Decision(AT + 5 * HOUR, "Ada", "d", True, "Ada", accepted, "Test piece")


def came(entry: str, *, is_gone: bool = False) -> Change:
    return Change(AT + 6 * HOUR, "Wren", entry, "wash", is_gone)


def test_what_was_accepted_of_one_wash_is_not_accepted_of_one_that_came_later() -> None:
    before = LotRecord("B", washes=(wash(1, "w1"),), cures=(cure(2, "c1"),),
                       decision=released("bath over limit"))  # fmt: skip
    assert before.unaccepted == ()
    after = replace(before, washes=(*before.washes, wash(1.5, "w2")), changes=(came("w2"),))
    assert after.unaccepted == ("bath over limit",)
    assert replace(after, washes=(*before.washes, wash(1.5, "w2", 5.0))).unaccepted == ()
    assert replace(after, changes=(came("w2", is_gone=True),)).unaccepted == ()
    unknown = replace(before, washes=(wash(1, "w1", None),), decision=released("bath not known"))
    assert unknown.unaccepted == ()


def test_a_wash_after_the_light_is_not_accepted_with_another_one() -> None:
    before = LotRecord("B", washes=(wash(2, "w1", 5.0),), cures=(cure(1, "c1"),),
                       decision=released("cured before wash"))  # fmt: skip
    assert before.unaccepted == ()
    later = replace(before, washes=(*before.washes, wash(3, "w2", 5.0)), changes=(came("w2"),))
    assert later.unaccepted == ("cured before wash",)
    again = replace(before, cures=(*before.cures, cure(1.5, "c2")), changes=(came("c2"),))
    assert again.unaccepted == ("cured before wash",)


def test_rejects_and_lots_of_resin_that_came_later_are_new_as_well() -> None:
    seen = RejectStep(AT + 3 * HOUR, "Wren", "r1", "t1", "tacky")
    resins = tuple(ResinStep(AT, "Wren", f"p{n}", "slate", lot) for n, lot in enumerate("AB"))
    before = LotRecord(
        "B", resins, (wash(1, "w1", 5.0),), (cure(2, "c1"),), (seen,),
        released("rejects noted", "two resin lots"),
    )  # fmt: skip
    assert before.unaccepted == ()
    worse = replace(before, rejects=(seen, replace(seen, entry="r2")), changes=(came("r2"),))
    assert worse.unaccepted == ("rejects noted",)
    third = ResinStep(AT, "Wren", "p3", "slate", "C")
    assert replace(before, resins=(*resins, third), changes=(came("p3"),)).unaccepted == (
        "two resin lots",
    )
    same = replace(third, resin_lot="A")
    assert replace(before, resins=(*resins, same), changes=(came("p3"),)).unaccepted == ()
