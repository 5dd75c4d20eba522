"""What may be done with a drum as it stands, and the reason where it may not."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime

from app.domain.errors import FieldError
from app.domain.roomlog.kinds.waste import (
    DrumChanged,
    DrumClosed,
    DrumEntry,
    DrumMoved,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
    Pour,
)
from app.domain.solvents import SOLVENTS
from app.domain.waste.drums import DrumState
from app.domain.waste.measures import density_is_odd, weighed_kg
from app.domain.waste.pickups import PickupState
from app.domain.waste.streams import STREAMS, fits_bath, stream_of_bath, why_apart

Words = Callable[[float], str]
SLACK_L = 1e-6


def litres(volume_l: float) -> str:
    """A volume in words."""
    return f"{volume_l:.1f} L"


def mixed_words(drum: DrumState) -> str:
    """That a drum holds two streams by the log."""
    return f"{name_of(drum)} holds two waste streams by the log. Add nothing until it is tested."


def name_of(drum: DrumState) -> str:
    """The drum's name, or its key where no entry has set it up."""
    return drum.name or drum.key


def pour_misfits(
    drum: DrumState | None,
    pour: Pour,
    solvent: str | None,
    words: Words = litres,
    *,
    is_kept_apart: bool = False,
) -> list[FieldError]:
    """Why a pour is refused; `solvent` is that of the tank it comes from, None where none is named.

    `is_kept_apart` where nobody knows what that bath holds and the drum is set apart for it.

    A pour entered late is held against the drum as it stood then: closed or shipped since is fine.
    """
    if drum is None or not drum.name:
        return [FieldError("drum", f"There is no drum “{pour.drum}”. Set it up first.")]
    if shut := _shut(drum, pour.at):
        return [FieldError("drum", shut)]
    found = _solid_misfits(drum, pour)
    if not found and not is_kept_apart:
        found = _stream_misfits(drum, pour, solvent)
    if drum.volume_l + pour.volume_l > drum.fill_limit_l + SLACK_L:
        message = (
            f"{drum.name} holds {words(drum.volume_l)} of the {words(drum.fill_limit_l)} allowed "
            f"({drum.fill_limit_percent:g} % of {words(drum.capacity_l)}; the rest is for "
            f"expansion). There is room for {words(drum.free_l)}. Choose another drum."
        )
        found.append(FieldError("volume_l", message))
    by_scale = weighed_kg(pour)
    if by_scale is not None and density_is_odd(pour.volume_l, by_scale, pour.stream or drum.stream):
        message = (
            f"{by_scale:.1f} kg in {words(pour.volume_l)} is {by_scale / pour.volume_l:.2f} kg "
            "per litre, which this waste cannot have. Were pounds read, or is the volume wrong?"
        )
        found.append(FieldError("mass_after_kg", message))
    return found


def _shut(drum: DrumState, at: datetime) -> str:
    """Why nothing may be poured into the drum; empty where it may."""
    if drum.set_up_at is not None and at < drum.set_up_at:
        return f"{drum.name} only came into use after that time."
    if drum.is_shipped and drum.shipped_at is not None and at >= drum.shipped_at:
        return f"{drum.name} has left the site. Nothing can be poured into it."
    if drum.is_mixed:
        return mixed_words(drum)
    if drum.is_quarantined:
        return (
            f"{drum.name} is in quarantine: {drum.quarantine_reason.rstrip('.')}. A lead must "
            "release it first."
        )
    if drum.is_closed and drum.closed_at is not None and at >= drum.closed_at:
        return f"{drum.name} is closed for shipping. Use another drum, or reopen it."
    return ""


def _solid_misfits(drum: DrumState, pour: Pour) -> list[FieldError]:
    """What goes into a bin of solids or wipes is weighed: a liquid has no place there."""
    held = STREAMS[drum.stream]
    if held.is_liquid or pour.incident:
        return []  # what was spilled is taken up with absorbent, in a hurry
    is_wiped = drum.stream == "wipes" and pour.tank is not None
    is_liquid = pour.swap is not None or (pour.tank is not None and weighed_kg(pour) is None)
    if is_wiped:
        message = (
            f"{drum.name} is for “{held.name}” and takes nothing from a tank. A bath goes into a "
            "drum for its solvent. Weigh in used wipes without choosing a tank."
        )
        return [FieldError("tank", message, "drum_no_liquid")]
    if is_liquid:
        message = (
            f"{drum.name} is for “{held.name}” and takes no liquid. Use a drum for this solvent."
        )
        return [FieldError("drum", message, "drum_no_liquid")]
    if weighed_kg(pour) is None:
        message = f"Weigh it. What goes into {drum.name} is counted by the scale, before and after."
        return [FieldError("mass_after_kg", message, "solids are weighed")]
    return []


def _stream_misfits(drum: DrumState, pour: Pour, solvent: str | None) -> list[FieldError]:
    if drum.stream == "unknown":
        message = f"{drum.name} holds something unknown. Add nothing until it has been tested."
        return [FieldError("drum", message)]
    poured = pour.stream
    if not STREAMS[drum.stream].is_liquid:
        return (
            [FieldError("stream", why, "drum_wrong_stream")]
            if (why := why_apart(poured or drum.stream, drum.stream))
            else []
        )
    if poured is None:
        is_from_it = solvent is None or fits_bath(drum.stream, solvent)
        poured = drum.stream if is_from_it else stream_of_bath(solvent or "")
    if reason := why_apart(poured, drum.stream):
        return [FieldError("drum" if pour.stream is None else "stream", reason)]
    if solvent is not None and not fits_bath(poured, solvent):
        held = SOLVENTS[solvent].name if solvent in SOLVENTS else solvent
        message = f"The tank holds {held}, which is not “{STREAMS[poured].name}”."
        return [FieldError("tank", message)]
    return []


def act_misfits(
    drum: DrumState | None, entry: DrumEntry, leads: Sequence[str], other: DrumState | None = None
) -> list[FieldError]:
    """Why something other than a pour is refused; `other` is the drum a transfer comes from."""
    if drum is None or not drum.name:
        return [FieldError("drum", f"There is no drum “{entry.drum}”.")]
    if drum.is_shipped and not isinstance(entry, DrumQuarantined | DrumReleased):
        return [FieldError("drum", f"{drum.name} has left the site.")]
    check = _CHECKS.get(type(entry))
    message = check(drum, entry, leads) if check else None
    if message:
        return [message]
    if isinstance(entry, DrumTransfer):
        return _transfer_misfits(drum, entry, other)
    return []


def _move_misfit(drum: DrumState, entry: DrumMoved, _: Sequence[str]) -> FieldError | None:
    is_there = drum.area == entry.area
    return FieldError("area", f"{drum.name} is already there.") if is_there else None


def _close_misfit(drum: DrumState, entry: DrumClosed, _: Sequence[str]) -> FieldError | None:
    if drum.is_closed:
        return FieldError("drum", f"{drum.name} is already closed.")
    if not entry.is_cool and STREAMS[drum.stream].is_liquid:
        message = "Confirm that the contents are cool and quiet and were not left in the light."
        return FieldError("is_cool", message)
    return None


def _open_misfit(drum: DrumState, _: DrumOpened, __: Sequence[str]) -> FieldError | None:
    return None if drum.is_closed else FieldError("drum", f"{drum.name} is not closed.")


def _release_misfit(
    drum: DrumState, entry: DrumReleased, leads: Sequence[str]
) -> FieldError | None:
    if not drum.is_quarantined:
        return FieldError("drum", f"{drum.name} is not in quarantine.")
    if entry.lead not in leads:
        known = ", ".join(leads) or "none has been entered under People and roles"
        return FieldError("lead", f"Only a lead may release it: {known}.")
    return None


def _change_misfit(drum: DrumState, entry: DrumChanged, _: Sequence[str]) -> FieldError | None:
    is_new = entry.stream is not None and (entry.stream != drum.stream or drum.is_mixed)
    if is_new and not drum.is_empty and not drum.is_quarantined:
        message = "Change the stream of a drum with contents only in quarantine, after a test."
        return FieldError("stream", message)
    if is_new and not drum.is_empty and not entry.note.strip():
        return FieldError("note", "Say what the test found.")
    if entry.capacity_l is not None and entry.capacity_l < drum.volume_l:
        return FieldError("capacity_l", "It already holds more than that.")
    return None


def raised_misfit(drum: DrumState, entry: DrumChanged) -> FieldError | None:
    """A drum that reacts, leaks or is set apart is not said to take more.

    `drum` has its own limit, not the computed one that may bind.

    >>> hot = DrumState("d", name="W-1", is_warm=True, is_quarantined=True, capacity_l=200.0)
    >>> change = DrumChanged(at=datetime(2026, 3, 2), drum="d", fill_limit_percent=95.0)
    >>> raised_misfit(hot, change).field
    'fill_limit_percent'
    """
    is_apart = drum.is_warm or drum.is_quarantined or drum.is_unsound
    for name in ("fill_limit_percent", "capacity_l"):
        said = getattr(entry, name)
        if is_apart and said is not None and said > getattr(drum, name) + SLACK_L:
            return FieldError(name, f"{name_of(drum)} {_apart_words(drum)} It may not take more.")
    return None


def _apart_words(drum: DrumState) -> str:
    if drum.is_warm:
        return "was found warm, hissing or bulging. Keep away from it."
    if drum.is_unsound:
        return "was found leaking, rusty or bulging at its last check."
    return f"is in quarantine: {drum.quarantine_reason.rstrip('.')}."


_CHECKS: Mapping[type[DrumEntry], Callable[..., FieldError | None]] = {
    DrumMoved: _move_misfit,
    DrumClosed: _close_misfit,
    DrumOpened: _open_misfit,
    DrumReleased: _release_misfit,
    DrumChanged: _change_misfit,
}


def _transfer_misfits(
    drum: DrumState, entry: DrumTransfer, other: DrumState | None
) -> list[FieldError]:
    if other is None or not other.name:
        return [FieldError("from_drum", f"There is no drum “{entry.from_drum}”.")]
    if shut := _shut(drum, entry.at):
        return [FieldError("drum", shut)]
    if entry.volume_l > other.volume_l + SLACK_L:
        return [FieldError("volume_l", f"{other.name} holds {litres(other.volume_l)} only.")]
    reason = why_apart(other.stream, drum.stream)
    if not reason and other.is_mixed and not drum.is_empty:
        reason = f"{mixed_words(other)} If it leaks, move it into an empty drum."
    if reason:
        return [FieldError("from_drum", reason)]
    if entry.volume_l > drum.free_l + SLACK_L:
        return [FieldError("volume_l", f"{drum.name} has room for {litres(drum.free_l)} only.")]
    return []


def booking_misfits(
    keys: Sequence[str],
    drums: Mapping[str, DrumState],
    pickups: Mapping[str, PickupState],
    pickup_on: date,
    today: date,
) -> list[FieldError]:
    """Why a pickup of these drums on that day cannot be booked."""
    found = []
    if pickup_on < today:
        found.append(FieldError("pickup_on", "This day has passed."))
    for key in keys:
        drum = drums.get(key)
        if drum is None or not drum.name:
            found.append(FieldError("drums", f"There is no drum “{key}”."))
        elif drum.is_shipped:
            found.append(FieldError("drums", f"{drum.name} has left the site already."))
        elif (other := pickups.get(drum.pickup)) is not None and other.is_booked:
            found.append(FieldError("drums", f"{drum.name} is booked for another pickup."))
    return found


def shipping_misfits(
    pickup: PickupState | None, keys: Sequence[str], drums: Mapping[str, DrumState]
) -> list[FieldError]:
    """Why these drums of a pickup cannot leave."""
    if pickup is None or not pickup.is_booked:
        return [FieldError("pickup", "This pickup is no longer booked. Reload the page.")]
    found = []
    for key in keys:
        drum = drums.get(key)
        if drum is None or key not in pickup.drums:
            found.append(FieldError("drums", f"“{key}” is not a drum of this pickup."))
        elif drum.is_shipped:
            found.append(FieldError("drums", f"{drum.name} has left the site already."))
        elif drum.is_quarantined:
            reason = drum.quarantine_reason
            found.append(FieldError("drums", f"{drum.name} is in quarantine: {reason}."))
        elif not drum.is_closed:
            found.append(FieldError("drums", f"{drum.name} is not closed. Close it first."))
        elif drum.stream == "unknown":
            found.append(FieldError("drums", f"{drum.name} holds something untested."))
    return found
