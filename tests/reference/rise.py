"""Reference values for the fits of pressure against time, made with scipy.

    python tests/reference/rise.py            writes rise.json beside this file
    python tests/reference/rise.py --check    recomputes and compares with it

Records are made by formula (no random numbers), so that any version gives the same ones.
Fits are least squares of ln p by scipy.optimize.curve_fit. Intervals are by profile likelihood
with the scatter known: the values at which the least sum of squares, with the parameter held,
exceeds the lowest by 3.8414588 times the variance. The drift model is checked with its dense
covariance matrix.
"""

import json
import pathlib
import sys

import numpy as np
import scipy
from scipy.optimize import brentq, curve_fit, least_squares

HERE = pathlib.Path(__file__).parent
CUT = 3.841458820694124
SCATTER = 0.04


def straight(t, p0, a):
    return p0 + a * t


def flattening(t, p0, b, tau):
    return p0 + b * (1 - np.exp(-t / tau))


def both(t, p0, a, b, tau):
    return p0 + a * t + b * (1 - np.exp(-t / tau))


def power(t, p0, c, alpha, age):
    e = 1 - alpha
    return p0 + c * ((t + age) ** e - age**e) / e


def settling(t, c, alpha, floor):
    return c * t**-alpha + floor


def falling(t, start, rate):
    return start * np.exp(-rate * t)


def scatter(count, seed):
    """Even scatter without a generator: fractions of multiples of the golden ratio, made normal."""
    u = np.modf((np.arange(count) + 1) * 0.6180339887498949 + 0.137 * seed)[0]
    v = np.modf((np.arange(count) + 1) * 0.7548776662466927 + 0.311 * seed)[0]
    return SCATTER * np.sqrt(-2 * np.log(1 - 0.999 * u)) * np.cos(2 * np.pi * v)


CASES = {
    "straight": (straight, [1e-3, 1e-4], np.linspace(0, 1200, 120)),
    "flattening": (flattening, [1e-3, 5e-2, 300.0], np.linspace(0, 1200, 120)),
    "both": (both, [1e-3, 6e-5, 4e-2, 120.0], np.linspace(0, 1200, 120)),
    "power": (power, [2e-3, 2e-3, 0.7, 150.0], np.linspace(0, 1200, 120)),
    "settling": (settling, [0.5, 1.0, 2e-5], np.geomspace(1000, 36000, 120)),
    "falling": (falling, [1e5, 0.02], np.linspace(0, 440, 120)),
}


def logarithmic(model):
    return lambda t, *theta: np.log(np.maximum(model(t, *theta), 1e-300))


def settled(log, t, y, start):
    """Gauss-Newton steps with exact (complex-step) slopes until they are rounding.

    A fit stops when the sum of squares no longer falls, which in a flat valley leaves its place
    open to about 1e-6: there the last digits are the processor's, not the data's.
    """
    theta = np.array(start)
    for _ in range(200):
        tilted = theta * (1 + 1e-30j * np.eye(len(theta)))
        slopes = np.transpose([log(t, *row).imag / 1e-30 for row in tilted])
        step = np.linalg.lstsq(slopes, y - log(t, *theta), rcond=None)[0]
        theta = theta * (1 + step)
        if np.max(np.abs(step)) < 1e-11:
            return theta
    raise ArithmeticError("the fit does not settle")


def profile(model, t, y, best, index):
    """Ends of the 95 % interval of one parameter, the others refitted at each value."""
    log = logarithmic(model)
    lowest = np.sum((y - log(t, *best)) ** 2)
    others = [i for i in range(len(best)) if i != index]

    def height(value):
        def residual(scaled):
            theta = np.array(best)
            theta[others] = np.array(best)[others] * np.exp(scaled)
            theta[index] = value
            return y - log(t, *theta)

        fit = least_squares(residual, np.zeros(len(others)), xtol=1e-14, ftol=1e-14, gtol=1e-14)
        return (2 * fit.cost - lowest) / SCATTER**2 - CUT

    ends = []
    for side in (-1, 1):
        far = best[index]
        step = 0.01 * abs(best[index])
        while height(far + side * step) < 0:
            far += side * step
            step *= 1.5
        ends.append(brentq(height, far, far + side * step, xtol=1e-12 * abs(best[index]), rtol=1e-10))
    return ends


def compute():
    out = {
        "versions": {"numpy": np.__version__, "scipy": scipy.__version__},
        "scatter": SCATTER,
        "cut": CUT,
        "fits": [],
    }
    for seed, (name, (model, truth, t)) in enumerate(CASES.items()):
        y = np.log(model(t, *truth)) + scatter(len(t), seed)
        best, _ = curve_fit(
            logarithmic(model), t, y, p0=truth, x_scale=np.abs(truth), method="trf",
            bounds=(np.array(truth) * 1e-3, np.array(truth) * 1e3), xtol=1e-14, ftol=1e-14, gtol=1e-14,
        )
        best = settled(logarithmic(model), t, y, best)
        rss = float(np.sum((y - logarithmic(model)(t, *best)) ** 2))
        case = {
            "name": name,
            "seconds": t.tolist(),
            "pascals": np.exp(y).tolist(),
            "parameters": best.tolist(),
            "sum_of_squares": rss,
        }
        if name != "power":
            case["interval_of_second"] = profile(model, t, y, list(best), 1)
        out["fits"].append(case)

    # Residuals with scatter and an exponentially forgetting drift, by the dense covariance.
    t = np.concatenate([np.linspace(0, 0.2, 12), np.linspace(0.22, 1, 20)])
    count = 1.0 + np.arange(len(t)) % 5
    residual = scatter(len(t), 9)
    drift, memory = 0.03, 0.25
    covariance = drift**2 * np.exp(-np.abs(t[:, None] - t[None, :]) / memory)
    covariance += np.diag(SCATTER**2 / count)
    out["drift"] = {
        "at": t.tolist(),
        "count": count.tolist(),
        "residual": residual.tolist(),
        "scatter": SCATTER,
        "drift": drift,
        "memory": memory,
        "quadratic_form": float(residual @ np.linalg.solve(covariance, residual)),
        "log_determinant": float(np.linalg.slogdet(covariance)[1]),
    }
    return out


def same(new, old, path=""):
    """Differences above 1e-6 relative, versions aside."""
    if isinstance(new, dict):
        for key in new:
            if key != "versions":
                yield from same(new[key], old[key], f"{path}.{key}")
    elif isinstance(new, list):
        if len(new) != len(old):
            yield f"{path}: {len(new)} values, {len(old)} committed"
        for index, (a, b) in enumerate(zip(new, old)):
            yield from same(a, b, f"{path}[{index}]")
    elif isinstance(new, float):
        if abs(new - old) > 1e-6 * max(abs(new), abs(old)) + 1e-12:
            yield f"{path}: {new} now, {old} committed"
    elif new != old:
        yield f"{path}: {new} now, {old} committed"


def main():
    target = HERE / "rise.json"
    new = compute()
    if "--check" in sys.argv[1:]:
        differences = list(same(new, json.loads(target.read_text())))
        print("\n".join(differences[:20]) or "rise.json: as committed")
        sys.exit(bool(differences))
    target.write_text(json.dumps(new, indent=1) + "\n")


if __name__ == "__main__":
    main()
