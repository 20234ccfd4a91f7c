"""Times searches over HTTP before, during and after an import into the store that is served.

    python beside_import.py COLDTRAP SIZE

Started by `bash tests/benches/search_speed.sh beside-import [SIZE]` (100000 where none is given).
A store of SIZE synthesised incidents (seed 7) is served on loopback, and one client asks the queries
of the search bench. Then another SIZE (seed 8) are imported by a second process into the same store,
which the serving one follows: it indexes, commits and merges beside the searches. The peer of the
times during it are those before it and after it in the same run.
"""

import json
import pathlib
import subprocess
import sys
import tempfile
import time

from measure import WARM_UP, OverHttp, memory, queries_from, serving, spread


def asked(client, queries):
    times = []
    for query in queries:
        clock = time.perf_counter()
        client.ask(query)
        times.append((time.perf_counter() - clock) * 1e3)
    return times


def synthesised(program, count, seed, path):
    with path.open("wb") as out:
        subprocess.run([program, "synthesise", "--incidents", str(count), "--seed", str(seed)], check=True, stdout=out)


def measure(program, count, folder):
    first, second = folder / "first.jsonl", folder / "second.jsonl"
    synthesised(program, count, 7, first)
    synthesised(program, count, 8, second)
    with first.open(encoding="utf-8") as lines:
        queries = queries_from([json.loads(line)["symptom"] for line in lines])
    where = ["--db", f"sqlite://{folder}/cases.db", "--data", str(folder / "data")]
    (folder / "data").mkdir()
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    subprocess.run([program, "import", *where, str(first)], check=True, **quiet)
    with serving(program, where) as (port, served):
        client = OverHttp(port)
        asked(client, queries[:WARM_UP])
        told = {"before": asked(client, queries)}
        clock = time.perf_counter()
        importing = subprocess.Popen([program, "import", *where, str(second)], **quiet)
        told["during"] = []
        for query in (query for _ in range(1000) for query in queries):
            told["during"] += asked(client, [query])
            if importing.poll() is not None:
                break
        seconds = time.perf_counter() - clock
        if importing.wait() != 0:
            raise RuntimeError("the import failed")
        asked(client, queries[:WARM_UP])
        told["after"] = asked(client, queries)
        return told, seconds, memory(served.pid)


def main():
    program, count = sys.argv[1], int(sys.argv[2])
    with tempfile.TemporaryDirectory(prefix="beside-import-") as made:
        told, seconds, kept = measure(program, count, pathlib.Path(made))
    print(f"{count:,} served, as many imported beside; milliseconds, 1 client")
    print("| when | asked | median | p95 | p99 |")
    print("|---|---|---|---|---|")
    for when, times in told.items():
        print(f"| {when} | {len(times)} | " + " | ".join(f"{figure:.1f}" for figure in spread(times)) + " |")
    p95 = {when: spread(times)[1] for when, times in told.items()}
    print(
        f"p95 during is {p95['during'] / p95['before']:.2f} of that before and {p95['during'] / p95['after']:.2f} of"
        f" that after; import until found {seconds:.1f} s; " + ", ".join(f"{n} {v:.0f} MiB" for n, v in kept.items())
    )


if __name__ == "__main__":
    main()
