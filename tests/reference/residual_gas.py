"""Recomputes non-negative decompositions with scipy.optimize.nnls, and whole spectra by the shipped patterns.

Usage: residual_gas.py            writes residual_gas.json beside this file
       residual_gas.py --check    recomputes and compares with the committed values (1e-9 relative)
"""

import json
import pathlib
import platform
import sys
import tomllib

import numpy
import scipy
from scipy.optimize import nnls

PLACE = pathlib.Path(__file__).with_name("residual_gas.json")
PATTERNS = PLACE.parents[2] / "seed-data" / "cracking-patterns.toml"


def cases():
    random = numpy.random.default_rng(20251125)
    made = []
    for rows, columns in [(3, 2), (6, 6), (12, 5), (30, 13), (60, 13), (60, 20), (8, 12)]:
        for kind in ("inside", "noisy", "outside"):
            if columns > rows and kind != "outside":
                continue
            a = random.lognormal(0.0, 1.0, (rows, columns))
            a[random.random((rows, columns)) < 0.5] = 0.0
            a[random.integers(rows), :] = 1.0
            truth = random.lognormal(0.0, 2.0, columns) * (random.random(columns) < 0.6)
            b = a @ truth
            if kind == "noisy":
                b = b * random.lognormal(0.0, 0.3, rows)
            elif kind == "outside":
                b = random.normal(0.0, 1.0, rows)
            made.append((f"{kind} {rows}x{columns}", a, b))
    return made


def mixtures():
    """Ion currents of masses 1 to 60 of four chambers: air with water, walls, a solvent, and an oil with a peak at 58
    that no gas of the patterns has beside it, each as it is and with everything below a thousandth of the highest
    peak shown as zero."""
    random = numpy.random.default_rng(20261130)
    gases = {gas["id"]: gas for gas in tomllib.loads(PATTERNS.read_text())["gas"]}
    made = []
    for name, parts in {
        "air": {"nitrogen": 8.4e-10, "oxygen": 2.3e-10, "argon": 1.2e-11, "water": 5e-10, "hydrogen": 2e-10},
        "walls": {"water": 9e-10, "hydrogen": 4e-10, "carbon-monoxide": 3e-10, "carbon-dioxide": 6e-11, "methane": 2e-11},
        "solvent": {"water": 5e-10, "isopropanol": 2e-10, "acetone": 5e-11, "nitrogen": 1e-10},
        "oil": {"water": 2e-9, "hydrogen": 5e-10, "nitrogen": 8e-9, "carbon-dioxide": 1e-10, "hydrocarbon-oil": 3e-9, 58: 2.4e-9},
    }.items():
        currents = numpy.abs(random.normal(0.0, 2e-14, 60))
        for gas, current in parts.items():
            if isinstance(gas, int):
                currents[gas - 1] += current
                continue
            for mass, height in gases[gas]["peaks"].items():
                if int(mass) <= 60:
                    currents[int(mass) - 1] += current * height / 100.0 * random.lognormal(0.0, 0.2)
        currents = [float(f"{current:.4e}") for current in currents]
        cut = [current if current >= 1e-3 * max(currents) else 0.0 for current in currents]
        made += [(name, currents), (name + ", cut", cut)]
    return list(gases.values()), made


def decomposed():
    """Weights by the errors of the currents (5 % and the noise) and of the patterns, anew from half-way between each fit
    and the one before, since whole steps may swing between two fits for ever; at first from the most there can be of
    each gas."""
    gases, made = mixtures()
    out = []
    for name, currents in made:
        measured = numpy.array(currents)
        masses = range(1, len(currents) + 1)
        tried = [gas for gas in gases if max(gas["peaks"], key=gas["peaks"].get) in map(str, masses)]
        table = numpy.array([[gas["peaks"].get(str(mass), 0.0) / 100.0 for gas in tried] for mass in masses])
        spread = numpy.where(table == 1.0, 0.0, table * [gas.get("spread", 0.3) for gas in tried])
        top = measured.max()
        empty = measured[4:11]
        noise = empty.mean() if empty.mean() > 0.0 else 1e-4 * top
        hidden = min(0.01 * top, measured[measured > 0.0].min()) if (measured == 0.0).any() else 0.0
        least = max(noise, hidden / 3.0**0.5)
        fit = numpy.array([measured[int(max(gas["peaks"], key=gas["peaks"].get)) - 1] for gas in tried])
        for _ in range(400):
            error = numpy.sqrt((0.05 * measured) ** 2 + least**2 + ((spread * fit) ** 2).sum(axis=1))
            fit = 0.5 * (fit + nnls(table / error[:, None], measured / error)[0])
        out.append({"name": name, "currents": currents, "gases": {gas["id"]: float(x) for gas, x in zip(tried, fit)}})
    return out


def computed():
    out = []
    for name, a, b in cases():
        x, norm = nnls(a, b)
        unique = numpy.linalg.matrix_rank(a) == a.shape[1]
        out.append(
            {
                "name": name,
                "rows": [list(map(float, row)) for row in a],
                "b": list(map(float, b)),
                "x": list(map(float, x)),
                "residual_norm": float(norm),
                "unique": bool(unique),
            }
        )
    return out


def main():
    now, spectra = computed(), decomposed()
    if "--check" in sys.argv[1:]:
        committed = json.loads(PLACE.read_text())
        kept = committed["cases"]
        if len(kept) != len(now):
            sys.exit(f"{len(now)} cases computed, {len(kept)} committed")
        for new, old in zip(now, kept):
            for key in ("rows", "b", "x", "residual_norm"):
                if key == "x" and not new["unique"]:
                    continue
                if not numpy.allclose(new[key], old[key], rtol=1e-9, atol=1e-10):
                    sys.exit(f"{new['name']}: {key} differs from the committed value")
        for new, old in zip(spectra, committed["spectra"], strict=True):
            if new["currents"] != old["currents"] or new["gases"].keys() != old["gases"].keys():
                sys.exit(f"{new['name']}: not the spectrum or the gases that were committed")
            highest = max(old["gases"].values())
            for gas, current in new["gases"].items():
                if abs(current - old["gases"][gas]) > 1e-7 * highest:
                    sys.exit(f"{new['name']}: {gas} differs from the committed value")
        print(f"{len(now)} decompositions and {len(spectra)} spectra as committed")
        return
    versions = {
        "python": platform.python_version(),
        "numpy": numpy.__version__,
        "scipy": scipy.__version__,
    }
    PLACE.write_text(json.dumps({"versions": versions, "cases": now, "spectra": spectra}) + "\n")


main()
