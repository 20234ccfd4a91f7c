"""Compares the judging of a 100,000-row log with scipy's plain curve_fit of the same model.

    python tests/reference/rise_speed.py COMMAND...

COMMAND is the built benchmark of tests/benches/rise.rs (for example `cargo bench --bench rise --`);
the path of the log is added to it. Both run one after the other on this machine, the best of several
runs each, twice in turn. curve_fit gets the log's numbers ready in memory and starts near the truth;
it fits one model and gives no profile intervals. Three ratios are printed: judging (all models and
intervals) to this fit; reading the text and judging to this fit; and reading and judging to numpy's
loadtxt of the same file and this fit. The straight rise is written three times: with elapsed seconds,
with ISO 8601 times (which loadtxt does not read), and with decimal commas (nor these).
"""

import datetime
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


def fastest(work, runs=15):
    best = float("inf")
    for _ in range(runs):
        clock = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - clock)
    return best


def timed(path):
    out = subprocess.run(sys.argv[1:] + [path], capture_output=True, text=True, check=True)
    return json.loads(out.stdout)


START = datetime.datetime(2025, 3, 4, 22, 0)


def seconds(log, t, y):
    log.write("time (s),pressure (Pa)\n")
    log.writelines(f"{a:.4f},{b:.6e}\n" for a, b in zip(t, np.exp(y)))


def iso(log, t, y):
    log.write("time,pressure (Pa)\n")
    for a, b in zip(t, np.exp(y)):
        moment = START + datetime.timedelta(seconds=a)
        log.write(f"{moment.isoformat(timespec='milliseconds')},{b:.6e}\n")


def commas(log, t, y):
    log.write("time (s);pressure (Pa)\n")
    log.writelines(f"{a:.4f};{b:.6e}\n".replace(".", ",") for a, b in zip(t, np.exp(y)))


def main():
    random = np.random.default_rng(1)
    t = np.linspace(0, 3600, ROWS)
    for name, curve, truth, write in [
        ("leak and trapped volume", model, [1e-4, 1e-6, 1e-3, 400.0], seconds),
        ("leak", straight, [1e-4, 1e-6], seconds),
        ("leak, ISO 8601 times", straight, [1e-4, 1e-6], iso),
        ("leak, decimal commas", straight, [1e-4, 1e-6], commas),
    ]:
        y = curve(t, *truth) + 0.05 * random.standard_normal(ROWS)
        start = np.array(truth) * 1.2
        with tempfile.NamedTemporaryFile("w", suffix=".csv") as log:
            write(log, t, y)
            log.flush()
            fit = judge = read = float("inf")
            for _ in range(2):
                fit = min(fit, fastest(lambda: curve_fit(curve, t, y, p0=start)))
                ours = timed(log.name)
                judge = min(judge, ours["judge_seconds"])
                read = min(read, ours["read_seconds"])
            line = (
                f"{name} ({ours['outcome']}): curve_fit {1e3 * fit:.1f} ms; "
                f"judged in {1e3 * judge:.1f} ms, read in {1e3 * read:.1f} ms. "
                f"Judging to curve_fit {judge / fit:.2f}; reading and judging to curve_fit "
                f"{(read + judge) / fit:.2f}"
            )
            if write is seconds:
                load = fastest(lambda: np.loadtxt(log.name, delimiter=",", skiprows=1), 3)
                line += (
                    f"; loadtxt {1e3 * load:.1f} ms, reading and judging to loadtxt and curve_fit "
                    f"{(read + judge) / (load + fit):.2f}"
                )
        print(line)


if __name__ == "__main__":
    main()
