"""The working days of a site: its settings, and the public holidays of its country.

The holidays are those of the library `holidays`. It is imported when a country is asked about for
the first time: a program that starts does not wait for it, and a site without a country never does.
"""

from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from types import MappingProxyType

from app.domain.errors import FieldError
from app.domain.roomlog.kinds.site import NO_COUNTRY, SiteRules
from app.domain.site import SiteState
from app.domain.workdays import WorkCalendar

YEARS_AHEAD = 3  # plans look 26 weeks ahead, and what they order or book takes a year at most
NAMES_IN = "en_US"


def calendar_of(site: SiteState, today: date) -> WorkCalendar:
    """The site's working days around a day."""
    return _calendar(
        site.weekdays, site.country, site.subdivision, tuple(site.closures().items()), today.year
    )


@lru_cache(maxsize=64)
def _calendar(
    weekdays: frozenset[int], country: str, subdivision: str,
    closures: tuple[tuple[date, str], ...], year: int,
) -> WorkCalendar:  # fmt: skip
    holidays = _holidays(country, subdivision, year - 1, year + YEARS_AHEAD)
    return WorkCalendar(weekdays, MappingProxyType({**holidays, **dict(closures)}))


@lru_cache(maxsize=64)
def _holidays(country: str, subdivision: str, first: int, last: int) -> Mapping[date, str]:
    """The public holidays by day, named in English; none where the country is not known."""
    if country in ("", NO_COUNTRY):
        return {}
    from holidays import country_holidays  # noqa: PLC0415  (see above)

    years = range(first, last + 1)
    try:
        found = country_holidays(
            country, subdiv=subdivision or None, years=years, language=NAMES_IN
        )
    except NotImplementedError:
        return {}
    return dict(sorted(found.items()))


def countries() -> Mapping[str, str]:
    """The countries whose holidays are known: English names by code, in the order of the names."""
    from babel import Locale  # noqa: PLC0415
    from holidays.utils import list_supported_countries  # noqa: PLC0415

    names = Locale("en").territories
    found = {code: names.get(code, code) for code in list_supported_countries() if len(code) == 2}
    return dict(sorted(found.items(), key=lambda item: item[1]))


def subdivisions(country: str) -> Mapping[str, str]:
    """The parts of a country with holidays of their own: names by code, empty where unknown."""
    if country in ("", NO_COUNTRY):
        return {}
    from holidays import country_holidays  # noqa: PLC0415  (see above)

    try:
        known = country_holidays(country)
    except NotImplementedError:
        return {}
    named = {code: name for name, code in known.subdivisions_aliases.items()}
    return {code: named.get(code, code) for code in known.subdivisions}


def site_problems(entry: SiteRules, before: SiteState) -> list[FieldError]:
    """Why a country or a part of it is refused: nothing is known of its holidays."""
    country = before.country if entry.country is None else entry.country
    subdivision = before.subdivision if entry.subdivision is None else entry.subdivision
    gone = [name.strip() for name in (entry.unset or "").split(",")]
    subdivision = "" if "subdivision" in gone else subdivision
    country = "" if "country" in gone else country
    if entry.country and country != NO_COUNTRY and country not in countries():
        return [FieldError("country", f"No public holidays are known for “{country}”.")]
    if not subdivision or not (entry.subdivision or entry.country):
        return []
    known = subdivisions(country)
    if subdivision in known:
        return []
    if not known:
        return [FieldError("subdivision", "No parts are listed for this country. Leave it empty.")]
    said = ", ".join(
        code if code == name else f"{code} ({name})" for code, name in sorted(known.items())
    )
    return [FieldError("subdivision", f"“{subdivision}” is not one of its parts. Known: {said}.")]
