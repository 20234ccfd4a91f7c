"""Compares the judging of a 100,000-row log with scipy's plain curve_fit of the same model.

    python tests/reference/rise_speed.py COMMAND...

COMMAND is the built benchmark of tests/benches/rise.rs (for example `cargo bench --bench rise --`);
the path of the log is added to it. Both run one after the other on this machine. curve_fit gets the
log's numbers ready in memory and starts near the truth; it fits one model and gives no profile
intervals. Two ratios to this fit are printed: that of judging (all models and intervals), and that of
reading the text and judging.
"""

import json
import subprocess
import sys
import tempfile
import time

import numpy as np
from scipy.optimize import curve_fit

ROWS = 100_000


def model(t, p0, a, b, tau):
    return np.log(np.maximum(p0 + a * t + b * (1 - np.exp(-t / tau)), 1e-300))


def straight(t, p0, a):
    return np.log(np.maximum(p0 + a * t, 1e-300))


def fastest(fit, runs=7):
    best = float("inf")
    for _ in range(runs):
        clock = time.perf_counter()
        fit()
        best = min(best, time.perf_counter() - clock)
    return best


def main():
    random = np.random.default_rng(1)
    t = np.linspace(0, 3600, ROWS)
    for name, curve, truth in [
        ("leak and trapped volume", model, [1e-4, 1e-6, 1e-3, 400.0]),
        ("leak", straight, [1e-4, 1e-6]),
    ]:
        y = curve(t, *truth) + 0.05 * random.standard_normal(ROWS)
        start = np.array(truth) * 1.2
        scipy_seconds = fastest(lambda: curve_fit(curve, t, y, p0=start))
        with tempfile.NamedTemporaryFile("w", suffix=".csv") as log:
            log.write("time (s),pressure (Pa)\n")
            log.writelines(f"{a:.4f},{b:.6e}\n" for a, b in zip(t, np.exp(y)))
            log.flush()
            out = subprocess.run(sys.argv[1:] + [log.name], capture_output=True, text=True, check=True)
        ours = json.loads(out.stdout)
        print(
            f"{name}: curve_fit {1e3 * scipy_seconds:.1f} ms; judged in "
            f"{1e3 * ours['judge_seconds']:.1f} ms ({ours['outcome']}), "
            f"ratio {ours['judge_seconds'] / scipy_seconds:.2f}; "
            f"reading the text took {1e3 * ours['read_seconds']:.1f} ms more, ratio with it "
            f"{(ours['judge_seconds'] + ours['read_seconds']) / scipy_seconds:.2f}"
        )


if __name__ == "__main__":
    main()
