"""Recomputes non-negative decompositions with scipy.optimize.nnls.

Usage: residual_gas.py            writes residual_gas.json beside this file
       residual_gas.py --check    recomputes and compares with the committed values (1e-9 relative)
"""

import json
import pathlib
import platform
import sys

import numpy
import scipy
from scipy.optimize import nnls

PLACE = pathlib.Path(__file__).with_name("residual_gas.json")


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
    now = computed()
    if "--check" in sys.argv[1:]:
        kept = json.loads(PLACE.read_text())["cases"]
        if len(kept) != len(now):
            sys.exit(f"{len(now)} cases computed, {len(kept)} committed")
        for new, old in zip(now, kept):
            for key in ("rows", "b", "x", "residual_norm"):
                if key == "x" and not new["unique"]:
                    continue
                if not numpy.allclose(new[key], old[key], rtol=1e-9, atol=1e-10):
                    sys.exit(f"{new['name']}: {key} differs from the committed value")
        print(f"{len(now)} decompositions as committed")
        return
    versions = {
        "python": platform.python_version(),
        "numpy": numpy.__version__,
        "scipy": scipy.__version__,
    }
    PLACE.write_text(json.dumps({"versions": versions, "cases": now}) + "\n")


main()
