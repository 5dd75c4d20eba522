"""A curing station's readings by the certificates of the meters that took them."""

from dataclasses import replace

from app.domain.curing.stations import OutputReading, StationState
from app.domain.meters.book import Instruments
from app.domain.meters.correcting import light_taken_off


def by_certificate(reading: OutputReading, meters: Instruments) -> OutputReading:
    """A reading less what its meter shows too much, by the certificate of its time.

    The offset is a share of what is there, so every place changes by the same factor; the
    certificate's standard uncertainty becomes a share as well. A reading that names no meter, or
    one that is not of light, stays as it is.
    """
    meter = meters.get(reading.instrument)
    if meter is None or not meter.is_known or not meter.what.is_of_light:
        return reading
    certificate = meter.certificate_at(reading.at)
    if certificate is None:
        return reading
    positions = {
        place: light_taken_off(shown, certificate.offset)
        for place, shown in reading.positions.items()
    }
    return replace(reading, positions=positions, certificate=certificate.uncertainty / 100)


def certified(station: StationState, meters: Instruments) -> StationState:
    """The station with all of its readings by their certificates.

    The first reading of the lamp is its output when new, unless somebody entered that; once the
    oldest readings were let go it stays as it was kept.
    """
    readings = tuple(by_certificate(one, meters) for one in station.readings)
    if readings == station.readings:
        return station
    first = station.first_mw_cm2 if station.is_cut else readings[0].mean_mw_cm2
    return replace(station, readings=readings, first_mw_cm2=first)
