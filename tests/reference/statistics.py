"""Recomputes statistics.json with scipy, statsmodels and lifelines.

Run it with an interpreter that has them; the versions used are written into the file.
"""

import json
import math
import pathlib
import sys

import lifelines
import numpy
import scipy
import statsmodels
from scipy import integrate, optimize, special, stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

rng = numpy.random.default_rng(20250211)


def shares():
    for count, sample in [(0, 7), (1, 29), (3, 12), (9, 10), (15, 148), (40, 400), (10, 10), (731, 5000)]:
        row = {"count": count, "sample": sample}
        for ours, theirs in [("wilson", "wilson"), ("clopper_pearson", "beta"), ("jeffreys", "jeffreys")]:
            low, high = proportion_confint(count, sample, alpha=0.05, method=theirs)
            row[ours] = [float(low), float(high)]
        yield row


def inversions_at_least(count, reversals):
    ways = [1]
    for size in range(2, count + 1):
        longer = [0] * (len(ways) + size - 1)
        for at, number in enumerate(ways):
            for more in range(size):
                longer[at + more] += number
        ways = longer
    return sum(ways[reversals:]) / math.factorial(count)


def trends():
    for count, power in [(6, 1.0), (12, 0.5), (25, 1.8), (60, 1.0)]:
        end = 1000.0
        times = numpy.sort(end * rng.uniform(size=count) ** (1 / power))
        z = (times.mean() - end / 2) / (end * math.sqrt(1 / (12 * count)))
        chi_square = 2 * numpy.log(end / times).sum()
        gaps = numpy.diff(numpy.concatenate([[0.0], times]))
        reversals = sum(int(b > a) for i, a in enumerate(gaps) for b in gaps[i + 1 :])
        yield {
            "times": times.tolist(),
            "end": end,
            "laplace_z": float(z),
            "laplace_p_rising": float(stats.norm.sf(z)),
            "power_law_chi_square": float(chi_square),
            "power_law_p_falling": float(stats.chi2.sf(chi_square, 2 * count)),
            "reverse_p_falling": inversions_at_least(count, reversals),
        }


def adjusted():
    for count in [1, 5, 40]:
        p = rng.uniform(size=count) ** 3
        yield {"p": p.tolist(), "adjusted": multipletests(p, method="fdr_bh")[1].tolist()}


def lives():
    for count, shape, censored in [(15, 1.3, 0.0), (30, 2.5, 0.4), (80, 0.8, 0.2)]:
        times = numpy.round(500 * rng.weibull(shape, count), 1) + 0.1
        limit = numpy.where(rng.uniform(size=count) < censored, 0.7 * times, numpy.inf)
        failed = times <= limit
        times = numpy.round(numpy.minimum(times, limit), 2)
        curve = lifelines.KaplanMeierFitter().fit(times, failed)
        table = curve.event_table
        steps = []
        for time in table.index[table["observed"] > 0]:
            low, high = curve.confidence_interval_.loc[time]
            steps.append(
                {"time": float(time), "survival": float(curve.predict(time)), "low": float(low), "high": float(high)}
            )
        fit = lifelines.WeibullFitter().fit(times, failed)
        deviations = fit.summary["se(coef)"]
        # The mean life by the delta method; its slopes by central differences.
        covariance = fit.variance_matrix_.loc[["lambda_", "rho_"], ["lambda_", "rho_"]].to_numpy()
        at = numpy.array([fit.lambda_, fit.rho_])

        def ln_mean(parameters):
            return math.log(parameters[0]) + special.gammaln(1 + 1 / parameters[1])

        steps_of = 1e-5 * numpy.diag(at)
        slopes = numpy.array([(ln_mean(at + h) - ln_mean(at - h)) / (2 * h.sum()) for h in steps_of])
        spread = stats.norm.ppf(0.975) * math.sqrt(slopes @ covariance @ slopes)
        mean = math.exp(ln_mean(at))
        yield {
            "times": times.tolist(),
            "failed": failed.tolist(),
            "kaplan_meier": steps,
            "weibull": {
                "shape": float(fit.rho_),
                "scale": float(fit.lambda_),
                "ln_likelihood": float(fit.log_likelihood_),
                "deviation_ln_shape": float(deviations["rho_"] / fit.rho_),
                "deviation_ln_scale": float(deviations["lambda_"] / fit.lambda_),
                "mean": mean,
                "mean_low": mean * math.exp(-spread),
                "mean_high": mean * math.exp(spread),
            },
        }


def rates():
    for count, exposure in [(0, 12.0), (1, 3.5), (2, 100.0), (17, 240.0), (166000, 40000.0)]:
        low = stats.chi2.ppf(0.025, 2 * count) / 2 if count else 0.0
        high = stats.chi2.ppf(0.975, 2 * count + 2) / 2
        yield {"count": count, "exposure": exposure, "low": float(low / exposure), "high": float(high / exposure)}


def replacement():
    for shape, scale, planned, failure in [(2.0, 1000.0, 1.0, 5.0), (3.5, 400.0, 2.0, 30.0), (1.5, 9000.0, 1.0, 12.0)]:

        def rate(age):
            outlive = math.exp(-((age / scale) ** shape))
            running = scipy.integrate.quad(lambda t: math.exp(-((t / scale) ** shape)), 0, age, epsabs=1e-12)[0]
            return (planned * outlive + failure * (1 - outlive)) / running

        best = optimize.minimize_scalar(rate, bounds=(0.01 * scale, 3 * scale), method="bounded", options={"xatol": 1e-9 * scale})
        yield {
            "shape": shape,
            "scale": scale,
            "planned": planned,
            "failure": failure,
            "age": float(best.x),
            "cost_rate": float(best.fun),
        }


def bootstrap():
    for size, spread in [(8, 0.6), (13, 0.8), (40, 1.0), (200, 1.2), (700, 1.0)]:
        values = numpy.round(60 * numpy.exp(spread * rng.standard_normal(size)), 1)
        row = {"values": values.tolist()}
        for what, statistic, method in [("mean", numpy.mean, "BCa"), ("median", numpy.median, "percentile")]:
            runs = []
            for _ in range(10):
                found = stats.bootstrap(
                    (values,), statistic, n_resamples=10_000, batch=500, method=method, rng=rng
                ).confidence_interval
                runs.append([float(found.low), float(found.high)])
            row[what] = numpy.mean(runs, axis=0).tolist()
            row[what + "_luck"] = (numpy.std(runs, axis=0, ddof=1) / math.sqrt(10)).tolist()
        yield row


def changes():
    """One change of a Poisson rate (Raftery and Akman 1986): between two events the posterior
    of its time is integrated by quadrature."""
    for early, late, prior in [(12, 12, 0.5), (20, 5, 0.5), (3, 1, 0.5), (60, 95, 0.5)]:
        end, at = 1000.0, 400.0
        times = numpy.sort(numpy.concatenate([at * rng.uniform(size=early), at + (end - at) * rng.uniform(size=late)]))
        total = len(times)
        weight = prior * end / total

        def ln_marginal(events, time):
            return (
                prior * math.log(weight)
                - special.gammaln(prior)
                + special.gammaln(events + prior)
                - (events + prior) * math.log(time + weight)
            )

        edges = numpy.concatenate([[0.0], times, [end]])
        plain = ln_marginal(total, end)

        def density(time):
            before = numpy.searchsorted(times, time, side="right")
            return math.exp(ln_marginal(before, time) + ln_marginal(total - before, end - time) - plain)

        pieces = [integrate.quad(density, a, b, epsabs=0, epsrel=1e-10)[0] for a, b in zip(edges, edges[1:])]
        whole = sum(pieces)
        odds = whole / end

        def quantile(chance):
            so_far = numpy.concatenate([[0.0], numpy.cumsum(pieces)]) / whole
            at = min(int(numpy.searchsorted(so_far, chance, side="right")) - 1, len(pieces) - 1)

            def missing(time):
                return so_far[at] + integrate.quad(density, edges[at], time, epsabs=0, epsrel=1e-10)[0] / whole - chance

            return float(optimize.brentq(missing, edges[at], edges[at + 1]))

        yield {
            "times": times.tolist(),
            "end": end,
            "chance": odds / (1 + odds),
            "low": quantile(0.025),
            "middle": quantile(0.5),
            "high": quantile(0.975),
        }


def lost():
    """Hours lost to failures over hours in service; normal interval of the logarithm of a
    compound Poisson sum."""
    for events, hours, spread in [(3, 5000.0, 0.4), (40, 40_000.0, 1.0), (400, 2e6, 1.3)]:
        down = 8 * numpy.exp(spread * rng.standard_normal(events))
        share = down.sum() / hours
        scatter = down.std(ddof=1) / down.mean()
        deviation = math.sqrt((1 + scatter**2) / events)
        low, high = stats.norm(math.log(share), deviation).interval(0.95)
        yield {"down": down.tolist(), "hours": hours, "share": share, "low": math.exp(low), "high": math.exp(high)}


def between():
    """Mean time between failures, time-truncated: chi-square (NIST/SEMATECH e-Handbook 8.4.5.1)."""
    for events, days in [(0, 400.0), (1, 90.0), (5, 1000.0), (93, 7123.0)]:
        yield {
            "events": events,
            "days": days,
            "low": float(2 * days / stats.chi2.ppf(0.975 if events else 0.95, 2 * events + 2)),
            "high": float(2 * days / stats.chi2.ppf(0.025, 2 * events)) if events else None,
        }


made = {
    "made_with": {
        "python": sys.version.split()[0],
        "numpy": numpy.__version__,
        "scipy": scipy.__version__,
        "statsmodels": statsmodels.__version__,
        "lifelines": lifelines.__version__,
    },
    "shares": list(shares()),
    "trends": list(trends()),
    "benjamini_hochberg": list(adjusted()),
    "lives": list(lives()),
    "replacement": list(replacement()),
    "rates": list(rates()),
    "bootstrap": list(bootstrap()),
    "changes": list(changes()),
    "lost": list(lost()),
    "between": list(between()),
}
path = pathlib.Path(__file__).with_suffix(".json")
path.write_text(json.dumps(made, indent=1) + "\n")
