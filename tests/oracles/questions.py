"""Questions that take a library more than one call; each imports it when it is asked."""

import math
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np

LIBRARIES: dict[str, str] = {}
"""The library that answers, by the name of the question."""


def of(library: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Say which library answers."""

    def named(question: Callable[..., Any]) -> Callable[..., Any]:
        LIBRARIES[question.__name__] = library
        return question

    return named


@of("thermo")
def liquid_density(cas: str, method: str, temperature_c: float) -> float:
    """Density of a pure liquid in g/mL by one named method."""
    from thermo import Chemical

    with warnings.catch_warnings():
        # The library reads its tables in an outdated way and leaves a file open.
        warnings.simplefilter("ignore")
        liquid = Chemical(cas)
        liquid.VolumeLiquid.method = method
        volume_m3_mol = liquid.VolumeLiquid.T_dependent_property(temperature_c + 273.15)
    return float(liquid.MW / volume_m3_mol / 1e6)


@of("chemicals")
def wagner_pressure(cas: str, kelvin: float) -> float:
    """Vapour pressure in Pa: Wagner's form, McGarry's constants."""
    import chemicals.vapor_pressure

    row = chemicals.vapor_pressure.Psat_data_WagnerMcGarry.loc[cas]
    constants = (row[name] for name in ("Tc", "Pc", "A", "B", "C", "D"))
    return float(chemicals.vapor_pressure.Wagner_original(kelvin, *constants))


@of("chemicals")
def flash_of_mixture(
    quick_cas: str, slow_cas: str, quick_mass_percent: float, lower_percent: float
) -> float:
    """Where a mixture's vapour reaches the lower limit of its quick part, in C.

    Molar masses and the extended Wagner or Antoine vapour pressure are those of the library; the
    root is found by its secant. Only the law, x p = L p0, is the same as ours.
    """
    import chemicals
    from chemicals.vapor_pressure import Psat_data_WagnerMcGarry, Wagner_original
    from scipy.optimize import brentq

    molar = [chemicals.MW(cas) for cas in (quick_cas, slow_cas)]
    moles = [quick_mass_percent / molar[0], (100 - quick_mass_percent) / molar[1]]
    row = Psat_data_WagnerMcGarry.loc[quick_cas]
    constants = [float(row[name]) for name in ("Tc", "Pc", "A", "B", "C", "D")]
    wanted = lower_percent / 100 * 101_325.0 / (moles[0] / sum(moles))
    return float(brentq(lambda k: Wagner_original(k, *constants) - wanted, 230.0, 440.0)) - 273.15


@of("chemicals")
def flammable_limits(cas: str) -> list[float]:
    """Lower and upper limit as fractions of air: IEC 60079-20-1 (2010), carried by chemicals."""
    import chemicals

    return [chemicals.LFL(CASRN=cas), chemicals.UFL(CASRN=cas)]


@of("chemicals")
def sugar_table() -> list[list[float]]:
    """ICUMSA 1974: degrees Brix and the index of refraction."""
    from chemicals.refractivity import ICUMSA_1974_brix, ICUMSA_1974_RIs

    return [list(row) for row in zip(ICUMSA_1974_brix, ICUMSA_1974_RIs, strict=True)]


@of("scipy")
def line_through(x: list[float], y: list[float]) -> list[float]:
    """Slope, intercept and their standard errors, by least squares."""
    from scipy.stats import linregress

    found = linregress(x, y)
    return [found.slope, found.intercept, found.stderr, found.intercept_stderr]


@of("scipy")
def exponential_through(hours: list[float], output: list[float]) -> list[float]:
    """Initial value and rate per hour of b exp(-a h), fitted to the output itself."""
    from scipy.optimize import curve_fit

    def law(h: Any, b: float, a: float) -> Any:
        return b * np.exp(-a * h)

    return list(curve_fit(law, np.array(hours), np.array(output), p0=(1, 1e-5))[0])


@of("scipy")
def steady_use_days(z: float, sd_per_week: float) -> float:
    """When 60 L at 2 L a day are used up, z standard deviations of the use early or late."""
    from scipy.optimize import brentq

    return float(brentq(lambda t: 2 * t + z * sd_per_week * np.sqrt(t / 7) - 60, 1, 100))


@of("scipy")
def box_mg_m3(
    source_kg_s: float, mass_kg: float, exchange_m3_s: float, volume_m3: float, times_s: list[float]
) -> list[float]:
    """Vapour of a spill in a room of mixed air: the differential equation, solved."""
    from scipy.integrate import solve_ivp

    lasts_s = mass_kg / source_kg_s

    def change(seconds: float, mg: Any) -> Any:
        source = source_kg_s * 1e6 if seconds < lasts_s else 0.0
        return (source - exchange_m3_s * mg) / volume_m3

    end_s = max(times_s)
    solved = solve_ivp(change, (0, end_s), [0.0], t_eval=times_s, max_step=5, rtol=1e-8)
    return [float(value) for value in solved.y[0]]


@of("scipy")
def cheapest_assignment(costs: list[list[int]]) -> int:
    """Cost of the cheapest choice of one column for each row."""
    from scipy.optimize import linear_sum_assignment

    table = np.array(costs)
    return int(table[linear_sum_assignment(table)].sum())


@of("scipy")
def survival_at(days: list[float], is_worn: list[bool], at: list[float]) -> list[float]:
    """Share that outlives each day, of lives that are partly cut off (Kaplan and Meier)."""
    from scipy import stats

    lives = np.array(days)
    censored: Any = stats.CensoredData.right_censored(lives, ~np.array(is_worn))
    found: Any = stats.ecdf(censored).sf
    places = [list(found.quantiles).index(day) for day in at]
    return [float(found.probabilities[place]) for place in places]


@of("lifelines")
def remission_weeks() -> list[list[float]]:
    """Weeks in remission under 6-MP and whether it ended: 21 patients (Freireich et al. 1963)."""
    from lifelines.datasets import load_leukemia

    data: Any = load_leukemia()
    treated = data[data["Rx"] == 0]
    return [[float(t), int(over)] for t, over in zip(treated["t"], treated["status"], strict=True)]


@of("lifelines")
def fly_lives() -> list[list[float]]:
    """Lives of flies and whether they ended: the data set of the library's own guide."""
    from lifelines.datasets import load_waltons

    data: Any = load_waltons()
    return [[float(t), int(over)] for t, over in zip(data["T"], data["E"], strict=True)]


@of("lifelines")
def nephropathy_years() -> list[list[float | None]]:
    """Between which two visits it began, None for never: 731 people (Borch-Johnsen et al. 1985)."""
    from lifelines.datasets import load_diabetes

    data: Any = load_diabetes()
    return [
        [float(low), float(high) if math.isfinite(high) else None]
        for low, high in zip(data["left"], data["right"], strict=True)
    ]


@of("lifelines")
def survival_with_interval(
    days: list[float], is_worn: list[bool], at: list[float]
) -> list[list[float]]:
    """Share that outlives each day, with the limits of its interval of 95 %."""
    from lifelines import KaplanMeierFitter

    fitter: Any = KaplanMeierFitter()
    fitter.fit(days, is_worn)
    interval = fitter.confidence_interval_survival_function_
    return [[float(fitter.predict(day)), *map(float, interval.loc[day])] for day in at]


@of("lifelines")
def weibull_of(days: list[float], is_worn: list[bool]) -> list[float]:
    """Scale and shape of the likeliest Weibull law, and the standard error of the scale."""
    from lifelines import WeibullFitter

    fitter: Any = WeibullFitter()
    fitter.fit(days, is_worn)
    error = float(fitter.summary.loc["lambda_", "se(coef)"])
    return [float(fitter.lambda_), float(fitter.rho_), error]


@of("lifelines")
def weibull_between(low: list[float], high: list[float | None]) -> list[float]:
    """Scale and shape of the likeliest Weibull law of lives known between two looks."""
    from lifelines import WeibullFitter

    fitter: Any = WeibullFitter()
    fitter.fit_interval_censoring(low, [np.inf if end is None else end for end in high])
    return [float(fitter.lambda_), float(fitter.rho_)]


@of("pykalman")
def filtered(eq: list[Any], shown: list[float]) -> list[list[float]]:
    """Mean and sd of the first state after each reading; `eq` is transition, offset, process,
    design, noise and the first covariance."""
    from pykalman import KalmanFilter

    transition, offset, process, design, noise, covariance = map(np.array, eq)
    other = KalmanFilter(
        transition_matrices=transition, transition_offsets=offset,
        transition_covariance=process, observation_matrices=design,
        observation_covariance=noise, observation_offsets=np.zeros(1),
    )  # fmt: skip
    mean, found = np.zeros(3), []
    for percent in shown:
        mean, covariance = other.filter_update(mean, covariance, np.array([percent]))
        found.append([float(mean[0]), float(np.sqrt(covariance[0, 0]))])
    return found


@of("statsmodels")
def filtered_in_state_space(eq: list[Any], shown: list[float]) -> list[list[float]]:
    """The same by the state space models of another library."""
    from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

    transition, offset, process, design, noise, covariance = map(np.array, eq)
    other = KalmanFilter(k_endog=1, k_states=3, k_posdef=3)
    other.bind(np.array(shown))
    other["design"], other["obs_cov"] = design, noise
    other["transition"], other["state_intercept"] = transition, offset[:, None]
    other["selection"], other["state_cov"] = np.eye(3), process
    # Its first state stands before the first reading, after the first wash.
    first = transition @ covariance @ transition.T + process
    other.initialize_known(offset, first)
    other.tolerance = 0  # never take the covariance as settled
    result = other.filter()
    sd = np.sqrt(result.filtered_state_cov[0, 0])
    return [list(pair) for pair in zip(result.filtered_state[0].tolist(), sd.tolist(), strict=True)]


@of("pandas")
def weekly_cents(lines: list[dict[str, Any]], zone: str) -> list[list[Any]]:
    """Week and cents of what an exported log says was used up, paid for and swapped in it."""
    import pandas as pd

    frame = pd.DataFrame(lines)
    frame["at"] = pd.to_datetime(frame["at"], format="ISO8601").dt.tz_convert(zone)
    frame["week"] = frame["at"].dt.strftime("%G-W%V")
    lots = frame[frame.kind == "stock_received"].set_index(["item", "lot"])
    per_unit = lots.price_cents / lots.quantity
    used = frame[frame.kind.isin(["stock_used", "stock_scrapped"])].copy()
    used["lot"] = used.lot.fillna("G")  # the only lot of the item that is used without one
    used["cents"] = used.quantity * per_unit.loc[list(zip(used.item, used.lot, strict=True))].values
    other = frame[frame.kind.isin(["pickup_shipped", "other_cost"])].assign(
        cents=lambda rows: rows.cost_cents
    )
    swaps = frame[frame.kind == "swap"].assign(cents=90 / 60 * 3000)
    weekly = pd.concat([used, other, swaps]).groupby("week").cents.sum()
    return [[week, float(cents)] for week, cents in weekly.items()]


@of("pandas")
def rest_cents(lines: list[dict[str, Any]]) -> float:
    """What no case replays, of an exported log: gloves handed out, solvent thrown away, other
    costs, and what the pickup cost more than was charged when poured (nothing was then: no rate
    per kilogram, so a drum's rate by its share, 90.00 for 200 L)."""
    import pandas as pd

    frame = pd.DataFrame(lines)
    lots = frame[frame.kind == "stock_received"].set_index("lot")
    price = lots.price_cents / lots.quantity
    gloves = frame[(frame.kind == "stock_used") & (frame.item == "gloves")].quantity.sum()
    scrapped = frame[frame.kind == "stock_scrapped"]
    poured = frame[frame.kind == "pour"].volume_l.sum() / 200 * 9_000
    pickup = frame[frame.kind == "pickup_shipped"].cost_cents.sum() - poured
    other = frame[frame.kind == "other_cost"].cost_cents.sum()
    scrap = (scrapped.quantity * price["B"]).sum()
    return float(gloves * price["G"] + scrap + pickup + other)


@of("pandas")
def one_lot_cents(lines: list[dict[str, Any]]) -> float:
    """What was used of the only lot, swaps of 90 minutes at 33.33 an hour, and other costs."""
    import pandas as pd

    frame = pd.DataFrame(lines)
    lot = frame[frame.kind == "stock_received"].iloc[0]
    used = frame[frame.kind == "stock_used"].quantity * lot.price_cents / lot.quantity
    minutes = 90 * (frame.kind == "swap").sum()
    other = frame[frame.kind == "other_cost"].cost_cents.sum()
    return float(used.sum() + minutes / 60 * 3_333 + other)


@of("pandas")
def litres_of_log(lines: list[dict[str, Any]]) -> list[list[Any]]:
    """What an exported log leaves in each drum, lot and tank, by sums of its columns alone: none of
    the book's accounts. Withdrawn and replaced lines are left out; a tank holds what its last new
    bath made of it, and what was added and taken since."""
    import pandas as pd

    named = ("tank", "drum", "from_drum", "drums", "filled_l", "heel_l", "corrects", "withdraws")
    frame = pd.DataFrame(lines).reset_index(names="line")
    frame = frame.reindex(columns=[*frame.columns, *(n for n in named if n not in frame)])
    gone = set(frame.withdraws.dropna()) | set(frame.corrects.dropna())
    frame = frame[~frame.id.isin(gone) & (frame.kind != "withdrawal")]
    frame = frame.assign(at=pd.to_datetime(frame["at"], format="ISO8601"))
    poured = frame[frame.kind == "pour"].groupby("drum").volume_l.sum()
    set_up = frame[frame.kind == "drum"].set_index("drum").volume_l.fillna(0.0)
    moves = frame[frame.kind == "drum_transfer"]
    drums = (
        set_up.add(poured, fill_value=0.0)
        .add(moves.groupby("drum").volume_l.sum(), fill_value=0.0)
        .sub(moves.groupby("from_drum").volume_l.sum(), fill_value=0.0)
    )
    shipped = {d for some in frame[frame.kind == "pickup_shipped"].drums for d in some}
    drums = drums[~drums.index.isin(shipped)]
    stock = frame[frame.kind.isin(["stock_received", "stock_used", "stock_scrapped"])]
    sign = stock.kind.eq("stock_received").map({True: 1.0, False: -1.0})
    lots = (stock.quantity * sign).groupby([stock["item"], stock["lot"]]).sum()
    tanks = {}
    for tank, rows in frame[frame.tank.notna()].groupby("tank"):
        baths = rows[rows.kind == "swap"].sort_values(["at", "line"])
        if baths.empty:
            continue
        last = baths.iloc[-1]
        since = rows[(rows["at"] > last["at"])]
        added = since[since.kind == "top_up"].volume_l.sum()
        taken = since[since.kind == "removal"].volume_l.sum()
        tanks[tank] = last.heel_l + last.filled_l + added - taken
    found = [[f"drum:{key}", float(value)] for key, value in drums.items() if abs(value) > 1e-9]
    found += [[f"lot:{i}|{lot}", float(v)] for (i, lot), v in lots.items() if abs(v) > 1e-9]
    return sorted(found + [[f"tank:{key}", float(value)] for key, value in tanks.items()])


@of("scipy")
def two_still_baths(load_g: float, film_ml: float, volume_ml: float, loads: int) -> list[float]:
    """Resin in grams in a dirty bath and the clean one after it, after so many loads.

    dm1/dn = m - D c1, dm2/dn = D (c1 - c2); the dirty one grows by what is brought in.
    """
    from scipy.integrate import solve_ivp

    def change(_n: float, y: Any) -> list[float]:
        resin1, resin2, volume1 = y
        c1, c2 = resin1 / volume1, resin2 / volume_ml
        return [load_g - film_ml * c1, film_ml * (c1 - c2), load_g / 1.12 - film_ml]

    found = solve_ivp(change, (0, loads), [0.0, 0.0, volume_ml], rtol=1e-9, atol=1e-9)
    return [float(found.y[0, -1]), float(found.y[1, -1])]


@of("scipy")
def level_of_mixture(prior: float, cases: list[list[float]], share: float) -> float:
    """The level, among normal forecasts, at which `share` of the outcomes lie: prior times the
    standard normal distribution and, each with its weight, normal outcomes (mean, sd, weight)."""
    from scipy.optimize import brentq
    from scipy.stats import norm

    whole = prior + sum(weight for _, _, weight in cases)

    def off(z: float) -> float:
        found = prior * norm.cdf(z) + sum(w * norm.cdf((z - m) / s) for m, s, w in cases)
        return float(found / whole - share)

    return float(norm.cdf(brentq(off, -5.0, 5.0, xtol=1e-12)))


@of("scipy")
def reject_curves(
    washes: list[int], rejects: list[int], starts: list[float], at: list[float]
) -> list[float]:
    """Chance that a reject rate rises, and the rate to expect at some saturations; by adaptive
    quadrature over the log-odds of clean baths (normal around those of 2 %, sd 1.5) and, for a rise
    from each of `starts` on, the slope (half normal, sd 0.6, cut at 1.8). Bands of 1 %."""
    from scipy.integrate import dblquad, quad
    from scipy.special import expit
    from scipy.stats import binom, norm, truncnorm

    usual = math.log(0.02 / 0.98)
    slopes = truncnorm(0.0, 3.0, scale=0.6)
    middle = math.log((sum(rejects) + 0.5) / (sum(washes) - sum(rejects) + 0.5))
    low, high = middle - 5.0, middle + 2.5

    def weight(base: float, slope: float, start: float) -> float:
        found = norm.pdf(base, usual, 1.5)
        for band, (n, bad) in enumerate(zip(washes, rejects, strict=True)):
            found *= binom.pmf(bad, n, expit(base + slope * max(band + 0.5 - start, 0.0)))
        return float(found)

    def sums(rate_at: float | None) -> tuple[float, float]:
        def part(base: float, slope: float, start: float) -> float:
            rate = 1.0 if rate_at is None else expit(base + slope * max(rate_at - start, 0.0))
            return float(rate * weight(base, slope, start))

        tiny = {"epsabs": 0.0, "epsrel": 1e-5}
        flat = quad(lambda base: part(base, 0.0, 0.0), low, high, points=[middle], **tiny)[0] / 2
        rising = sum(
            dblquad(
                lambda base, slope, start=start: part(base, slope, start) * slopes.pdf(slope),
                0.0, 1.8, low, high, **tiny,
            )[0]
            for start in starts
        ) / (2 * len(starts))  # fmt: skip
        return flat, rising

    flat, rising = sums(None)
    return [rising / (flat + rising), *(sum(sums(one)) / (flat + rising) for one in at)]
