"""The litres of an exported log worked out once more, in pandas, from the lines of the log alone.

It knows the tanks of `sequences` and what docs/room-log.md says of each kind, and nothing of the
program: no account, no book, no state of a swap. What only an estimate can say is left out.
"""

from collections.abc import Mapping, Sequence
from typing import Any

CAPACITY_L = 40.0
USUAL_HEEL_L = 0.02 * CAPACITY_L  # what a drained tank keeps where nobody looked
NAMES = (
    "withdraws", "corrects", "repeats", "tank", "swap", "left_l", "volume_l", "heel_l", "filled_l",
    "wrote", "answers", "found", "quantity", "drum", "from_drum", "from_tank", "resin_percent",
    "step", "asks_contents", "estimated_l", "from_estimated_l",
)  # fmt: skip


def recomputed_l(lines: Sequence[Mapping[str, Any]], tanks: Sequence[str]) -> dict[str, float]:
    """Litres by drum, of the shelf, and of each tank whose last word is no estimate."""
    import pandas as pd

    log = pd.DataFrame(lines).reset_index(names="line")
    log = log.reindex(columns=[*log.columns, *(one for one in NAMES if one not in log)])
    log = log.astype(object).where(log.notna(), None)
    log["at"] = pd.to_datetime(log["at"], format="ISO8601", utc=True)
    gone = {
        row[name]: row["line"]
        for row in log.to_dict("records")
        for name in ("withdraws", "corrects")
        if row[name] is not None
    }
    log["gone"] = pd.Series([gone.get(uid) for uid in log["id"]], dtype=object)
    counts = log[log["gone"].isna() & (log["kind"] != "withdrawal")].sort_values(["at", "line"])
    rows, every = counts.to_dict("records"), log.to_dict("records")
    found = _drums(rows) | {"shelf": _shelf(rows)}
    for tank in tanks:
        litres = _tank(rows, every, tank)
        if litres is not None:
            found[f"tank:{tank}"] = litres
    return found


Row = Mapping[str, Any]


def _drums(rows: Sequence[Row]) -> dict[str, float]:
    found = {f"drum:{row['drum']}": 0.0 for row in rows if row["kind"] == "drum"}
    for row in rows:
        if row["kind"] in ("pour", "drum_transfer"):
            found[f"drum:{row['drum']}"] += row["volume_l"]
        if row["kind"] == "drum_transfer":
            source = f"drum:{row['from_drum']}"
            found[source] = max(0.0, found[source] - row["volume_l"])
    return found


def _shelf(rows: Sequence[Row]) -> float:
    signs, litres = {"stock_received": 1, "stock_used": -1, "stock_scrapped": -1}, 0.0
    for row in rows:
        if row["kind"] == "stock_counted":
            litres = row["quantity"]
        litres += signs.get(row["kind"], 0) * (row["quantity"] or 0.0)
    return litres


def _tank(rows: Sequence[Row], every: Sequence[Row], tank: str) -> float | None:
    level = _seen(rows, tank)
    for opened in rows:
        if opened["kind"] != "swap_opened" or tank not in (opened["tank"], opened["from_tank"]):
            continue
        own = [row for row in rows if row["swap"] == opened["swap"]]
        words = [row for row in own if row["tank"] == tank]
        over = [row for row in words if row["kind"] == "swap_abandoned"]
        has_bath = any(row["kind"] in ("swap", "removal") for row in words)
        is_over = bool(over) or any(row["kind"] in ("swap_closed", "swap") for row in own)
        is_as_before = bool(over) and any(
            row["kind"] == "tank_contents"
            and row["found"] == "as_before"
            and row["at"] >= over[0]["at"]
            for row in words
        )
        if is_as_before and not has_bath:
            level = None  # its estimate goes on
        elif not is_over or (over and over[0]["asks_contents"] and not has_bath):
            level = _in_swap(opened, own, tank, _before(rows, every, opened, tank))
    return level


def _seen(rows: Sequence[Row], tank: str) -> float | None:
    """What the last new bath, or the last look, made of a tank, and what came and went since."""
    level, since = None, None
    for row in rows:
        if row["tank"] == tank and row["kind"] == "swap":
            level, since = (row["heel_l"] or 0.0) + (row["filled_l"] or 0.0), row["at"]
        elif row["tank"] == tank and row["kind"] == "removal" and row["left_l"] is not None:
            level, since = row["left_l"], row["at"]
        elif row["tank"] == tank and level is not None and row["at"] > since:
            level += {"top_up": 1, "removal": -1}.get(row["kind"], 0) * (row["volume_l"] or 0.0)
    return level


def _before(rows: Sequence[Row], every: Sequence[Row], opened: Row, tank: str) -> float:
    """What the opening estimated, and what was told or taken back since of the time before it."""
    litres = opened["estimated_l" if tank == opened["tank"] else "from_estimated_l"]
    baths = [
        row["at"]
        for row in rows
        if row["tank"] == tank
        and row["at"] < opened["at"]
        and (row["kind"] == "swap" or row["left_l"] is not None)
    ]
    for row in every:
        if row["tank"] != tank or row["kind"] not in ("top_up", "removal") or row["swap"]:
            continue
        if row["at"] >= opened["at"] or any(row["at"] <= at for at in baths):
            continue
        change_l = row["volume_l"] if row["kind"] == "top_up" else -row["volume_l"]
        if row["gone"] is None:
            litres += change_l if row["line"] > opened["line"] else 0.0
        elif row["line"] < opened["line"] < row["gone"]:
            litres -= change_l
    return max(0.0, litres)


def _in_swap(opened: Row, own: Sequence[Row], tank: str, before_l: float) -> float | None:
    """What the steps of a swap that goes on, and words about it, leave in a tank."""
    ticks: dict[str, Row] = {}
    for row in own:
        if row["kind"] == "step_done" and row["repeats"] is None:
            ticks.setdefault(row["step"], row)
    is_dirty = tank == opened["tank"]
    out_l = (
        _drained(own, ticks) if is_dirty else _answers(ticks.get("move_clean")).get("moved_l", 0)
    )
    usual_l = min(USUAL_HEEL_L, max(0.0, before_l - out_l))
    out = ticks.get("drain" if is_dirty else "move_clean")
    empty_l = _answers(out).get("heel_l", usual_l)
    level, is_low = None, False
    for _, _, what, litres in _acts(opened, own, ticks, tank, out):
        if what == "out":
            level, is_low = empty_l, True
        elif what == "in":
            level, is_low = (before_l if level is None else level) + litres, False
        elif what == "partly":
            level = litres
        elif what == "as_before" and level is not None:
            level = before_l
        elif what == "empty":
            level = empty_l if is_low else usual_l
    return level


def _acts(
    opened: Row, own: Sequence[Row], ticks: Mapping[str, Row], tank: str, out: Row | None
) -> list[tuple[Any, int, str, Any]]:
    """What emptied a tank, came into it or was said of it: when, and how many litres."""
    acts: list[tuple[Any, int, str, Any]] = [(out["at"], 0, "out", None)] if out else []
    if tank == opened["tank"] and "move_clean" in ticks:
        move = ticks["move_clean"]
        acts.append((move["at"], 0, "in", _answers(move)["moved_l"]))
    if "fill" in ticks and tank == (opened["from_tank"] or opened["tank"]):
        acts.append((ticks["fill"]["at"], 0, "in", _answers(ticks["fill"])["filled_l"]))
    acts += [
        (row["at"], 1, row["found"], row["left_l"])
        for row in own
        if row["kind"] == "tank_contents" and row["tank"] == tank
    ]
    return sorted(acts, key=lambda act: act[:2])


def _drained(own: Sequence[Row], ticks: Mapping[str, Row]) -> float:
    """What of the bath is in drums: the pours that are no rinse."""
    rinses = {uid for key in ("rinse", "rinse_clean") for uid in _wrote(ticks.get(key))}
    bath = set(_wrote(ticks.get("drain")))
    return sum(
        row["volume_l"]
        for row in own
        if row["kind"] == "pour"
        and (
            row["id"] in bath
            or (row["id"] not in rinses and (row["resin_percent"] is not None or not rinses))
        )
    )


def _answers(tick: Row | None) -> Mapping[str, Any]:
    return (tick["answers"] or {}) if tick is not None else {}


def _wrote(tick: Row | None) -> Sequence[str]:
    return (tick["wrote"] or ()) if tick is not None else ()
