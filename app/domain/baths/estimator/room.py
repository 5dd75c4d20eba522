"""The room filter: what is believed of every bath of a room, entry by entry."""

import math
from datetime import UTC, datetime, tzinfo

import numpy as np
from numpy.random import Generator

from app.domain.baths.estimator import checkpoint, pairs, rinses
from app.domain.baths.estimator.bath import EVAPORATION, RESIN, SOLVENT, Bath, Joint
from app.domain.baths.estimator.beliefs import ahead, belief_of
from app.domain.baths.estimator.certified import as_certified, certify
from app.domain.baths.estimator.events import set_up, take_in
from app.domain.baths.estimator.facts import ResinFacts, TankFacts
from app.domain.baths.estimator.passports import passports
from app.domain.baths.estimator.results import BathBelief, CarryIn, Draws, Effect, Passport
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import (
    CARRY_IN,
    CM2_PER_G,
    CM2_PER_PART,
    FILM,
    FIRST_RESIN,
    Array,
    Shared,
)
from app.domain.baths.estimator.shown import shown_by
from app.domain.baths.estimator.sightings import liquid_to_measure
from app.domain.baths.estimator.silence import doubting, supposing
from app.domain.baths.habits import Habits
from app.domain.baths.record import Record
from app.domain.instruments import BathLiquid, CalibrationPoint
from app.domain.roomlog import kinds
from app.domain.roomlog.kinds.instruments import Certified
from app.domain.solvents import solvent

Z90 = 1.6448536269514722  # 95 % quantile of the normal distribution


class RoomFilter:
    """The joint estimate of a room's baths.

    Entries are applied in order of `at` (plans in order of `known_at`). The same entries in the
    same order give the same numbers, bit for bit, also when some of them came before a checkpoint.
    """

    def __init__(self, settings: Settings | None = None, zone: tzinfo = UTC) -> None:
        settings = settings or Settings()
        self._room = RoomState(settings, zone, Shared(settings))

    @property
    def settings(self) -> Settings:
        """Priors and noise."""
        return self._room.settings

    @property
    def zone(self) -> tzinfo:
        """Whose calendar days the habits go by."""
        return self._room.zone

    @property
    def tanks(self) -> dict[str, TankFacts]:
        """What is known of each tank."""
        return self._room.tanks

    @property
    def resins(self) -> dict[str, ResinFacts]:
        """What is known of each resin."""
        return self._room.resins

    @property
    def habits(self) -> dict[str, Habits]:
        """How each tank is used."""
        return self._room.habits

    @property
    def plans(self) -> tuple[kinds.PlannedWash, ...]:
        """Planned washes that were neither washed nor are past by more than a day."""
        return tuple(self._room.plans.values())

    @property
    def last_at(self) -> datetime | None:
        """Instant of the last entry, plans left out."""
        return self._room.last_at

    @property
    def record(self) -> Record:
        """What was forecast of its baths, and what came of it."""
        return self._room.record

    def apply(self, entry: kinds.Entry) -> Effect | None:
        """Take an entry in: what it did to its bath, None where it did nothing to one."""
        room = self._room
        if isinstance(entry, kinds.PlannedWash):
            room.keep_plan(entry)
            if entry.tank in room.habits:
                room.stored.pop(entry.tank, None)
                room.habits[entry.tank].observe(entry)
            return None
        room.pass_days(entry.at)
        if isinstance(entry, kinds.Tank):
            return set_up(room, entry)
        if isinstance(entry, kinds.Resin):
            _define_resin(room, entry)
        elif isinstance(entry, Certified):
            certify(room, entry)
        elif isinstance(entry, kinds.Calibration):
            _calibrate(room, entry)
        elif getattr(entry, "tank", None) in room.tanks:
            return take_in(room, entry, entry.tank)  # type: ignore[attr-defined]
        return None

    def belief(self, tank: str, at: datetime) -> BathBelief:
        """What is believed of a bath at an instant not before its last entry.

        Raises:
            NotFound: there is no such tank.
        """
        return belief_of(self._room, tank, *ahead(self._room, tank, at), at)

    def beliefs(self, at: datetime) -> dict[str, BathBelief]:
        """What is believed of all baths at an instant."""
        return {tank: self.belief(tank, at) for tank in self._room.tanks}

    def liquid(self, tank: str) -> BathLiquid:
        """What is known of a bath's liquid before it is measured.

        Raises:
            NotFound: there is no such tank.
        """
        return liquid_to_measure(self._room, self._room.facts(tank))

    def as_certified(self, reading: kinds.Reading) -> kinds.Reading:
        """A reading as it counts: less what its instrument shows too much by its certificate.

        Raises:
            NotFound: there is no such tank.
        """
        return as_certified(self._room, self._room.facts(reading.tank), reading).reading

    def carry_in(self) -> tuple[CarryIn, ...]:
        """What was learned of each resin's carry-in."""
        shared = self._room.shared
        mean, covariance = shared.mean, shared.covariance
        found = []
        for resin in shared.resins:
            direction = self._room.direction(resin)
            ln = float(direction @ mean)
            reach = Z90 * math.sqrt(float(direction @ covariance @ direction))
            figures = (math.exp(ln), math.exp(ln - reach), math.exp(ln + reach))
            found.append(CarryIn(resin, *figures, self._room.washes.get(resin, 0)))
        return tuple(found)

    def passports(self) -> tuple[Passport, ...]:
        """What was learned of each instrument that was read."""
        return passports(self._room)

    def draw(
        self, tank: str, at: datetime, n: int, rng: Generator, *, with_shown: bool = False
    ) -> Draws:
        """`n` joint samples of a bath and of what its washes will bring in; on demand of what each
        instrument would show as well.

        Raises:
            NotFound: there is no such tank.
        """
        settings = self._room.settings
        supposed = supposing(self._room, tank, *ahead(self._room, tank, at), at)
        shared, state = _sample(*doubting(self._room, self._room.tanks[tank], *supposed), n, rng)
        ln_mean = settings.wash_ln_sd**2 / 2 - math.log(1 - settings.unlogged_share)
        return Draws(
            resin_g=np.maximum(state[:, RESIN], 0.0),
            solvent_g=np.maximum(state[:, SOLVENT], 1.0),
            evaporation_per_day=np.exp(state[:, EVAPORATION]),
            ln_carry_in_g_cm2=self._carried(tank, shared, rng) + ln_mean,
            resins=tuple(self._room.shared.resins),
            ln_cm2_per_g=shared[:, CM2_PER_G] + settings.mass_ln_sd**2 / 2,
            ln_cm2_per_part=shared[:, CM2_PER_PART] + settings.parts_ln_sd**2 / 2,
            shown=shown_by(self._room, tank, shared, state) if with_shown else {},
        )

    def film_ml(self, wash: kinds.Wash) -> float:
        """Bath liquid that leaves on the parts of a wash, in mL, as it is learned in this room."""
        shared = self._room.shared.mean
        size, columns = wash.area_cm2 or 0.0, [FILM]
        if wash.area_cm2 is None and wash.mass_g is not None:
            size, columns = wash.mass_g, [FILM, CM2_PER_G]
        elif wash.area_cm2 is None:
            size, columns = float(wash.parts or 1), [FILM, CM2_PER_PART]
        return size * math.exp(float(shared[columns].sum()))

    def fed_from(self, tank: str) -> str | None:
        """The dirty bath of a pair whose film, and little else, comes into this clean one."""
        feed = pairs.feed_of(self._room, tank)
        return None if feed is None else feed[0]

    def _carried(self, tank: str, shared: Array, rng: Generator) -> Array:
        """Logarithm of the grams that a cm2 brings in, a row a sample, a column a resin; into a
        pair's clean bath as much as the film holds of the dirty bath as it is now."""
        resin_wet = shared[:, FIRST_RESIN:] + shared[:, [CARRY_IN]]
        feed = pairs.feed_of(self._room, tank)
        if feed is None:
            return resin_wet
        held = feed[1]
        unsure = rinses.as_ln_sd(held.own_share) * rng.standard_normal((len(shared), 1))
        ln_film = shared[:, [FILM]] + math.log(max(held.resin_g_ml, rinses.LEAST_FEED_G_ML))
        return np.broadcast_to(ln_film + unsure, resin_wet.shape)

    def copy(self) -> "RoomFilter":
        """A copy that goes its own way."""
        return self.from_bytes(self.to_bytes())

    def to_bytes(self) -> bytes:
        """The whole state, exactly."""
        return checkpoint.room_bytes(self._room)

    @classmethod
    def from_bytes(cls, data: bytes) -> "RoomFilter":
        """The room filter that `to_bytes` wrote.

        Raises:
            DomainError: the bytes are not a room filter of this version.
        """
        twin = cls.__new__(cls)
        twin._room = checkpoint.room_of(data)
        return twin


def _define_resin(room: RoomState, entry: kinds.Resin) -> None:
    facts = ResinFacts(entry.density_g_ml, bool(entry.filled), entry.filler_percent or 0.0)
    room.resins[entry.resin] = facts
    mean, filler_ln_sd = facts.ln_dissolved_share
    if entry.resin not in room.shared.resins:
        room.add_column(entry.resin, mean, filler_ln_sd)
    elif not room.washes.get(entry.resin):
        room.shared.set_resin(entry.resin, mean, filler_ln_sd)


def _calibrate(room: RoomState, entry: kinds.Calibration) -> None:
    points = tuple(CalibrationPoint(entry.scale, *pair) for pair in entry.points)  # type: ignore[arg-type]
    room.points[solvent(entry.solvent).key] = points


def _sample(bath: Bath, joint: Joint, n: int, rng: Generator) -> tuple[Array, Array]:
    """Rows of shared quantities and of the state, drawn from the mixture."""
    which = rng.choice(len(joint.weight), size=n, p=joint.weight)
    shared_root, own_root = _root(joint.covariance), _root(bath.spread)
    z = rng.standard_normal((n, joint.mean.shape[1]))
    e = rng.standard_normal((n, bath.offset.shape[1]))
    shared, state = np.empty_like(z), np.empty_like(e)
    for k in np.flatnonzero(np.bincount(which)):  # a product for each hypothesis, not each sample
        rows = np.flatnonzero(which == k)
        shared[rows] = joint.mean[k] + z[rows] @ shared_root[k].T
        state[rows] = bath.offset[k] + shared[rows] @ bath.slope[k].T + e[rows] @ own_root[k].T
    return shared, state


def _root(covariance: Array) -> Array:
    """A square root of each covariance, also where something is known exactly."""
    values, vectors = np.linalg.eigh(covariance)
    root: Array = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    return root
