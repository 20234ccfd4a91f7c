"""Measures the memory that a program takes for logs of 50 MB, sent to its page and to its API, and
kept with an incident.

    python tests/benches/upload_memory.py PROGRAM [PROGRAM...]

PROGRAM is a built `coldtrap`; several are compared. Each is started anew for each way of sending, in
a temporary folder on a free port, and asked for its highest resident memory (VmHWM of /proc, Linux)
before and after. Nothing but the standard library is used.
"""

import http.client
import json
import os
import subprocess
import sys
import tempfile
import time

SIZE = 50 * 1024 * 1024 - 4096
EDGE = "edge-of-parts"


def log():
    """A rise as a logger writes it, about SIZE bytes long."""
    lines = ["time (s),pressure (mbar)\n"]
    length, row = len(lines[0]), 0
    while length < SIZE:
        scatter = 1 + 0.02 * ((row * 0.6180339887) % 1 - 0.5)
        line = f"{row * 0.01:.3f},{(1e-5 + 1e-8 * row) * scatter:.6e}\n"
        lines.append(line)
        length += len(line)
        row += 1
    return "".join(lines), row


def form(text):
    head = (
        f"--{EDGE}\r\ncontent-disposition: form-data; name=\"log_file\"; filename=\"rise.csv\"\r\n"
        "content-type: text/csv\r\n\r\n"
    )
    tail = (
        f"\r\n--{EDGE}\r\ncontent-disposition: form-data; name=\"volume.value\"\r\n\r\n100\r\n"
        f"--{EDGE}\r\ncontent-disposition: form-data; name=\"volume.unit\"\r\n\r\nl\r\n--{EDGE}--\r\n"
    )
    return (head + text + tail).encode(), f"multipart/form-data; boundary={EDGE}"


def request(text):
    body = {"log": text, "volume": {"value": 100, "unit": "l"}}
    return json.dumps(body).encode(), "application/json"


def kept(text):
    body = {"log": text, "volume": {"value": 100, "unit": "l"}}
    return json.dumps({"kind": "rise", "by": "K. M.", "request": body}).encode(), "application/json"


def columns(text):
    """The same readings as columns of numbers, which take about as many bytes."""
    rows = [line.split(",") for line in text.splitlines()[1:]]
    seconds, pressures = (",".join(column) for column in zip(*rows))
    body = (
        '{"readings": {"seconds": [%s], "pressures": [%s]}, "pressure_unit": "mbar", '
        '"volume": {"value": 100, "unit": "l"}}' % (seconds, pressures)
    )
    return body.encode(), "application/json"


INCIDENT = {
    "status": "open",
    "tool": "TST-01",
    "tool_class": "cryo-evaporator",
    "site": "TST",
    "occurred_at": "2025-03-04T10:20:00Z",
    "symptom": "does not go below 5e-5 mbar",
    "pressures": {
        "healthy": {"value": 5e-7, "unit": "torr"},
        "faulty": {"value": 5e-5, "unit": "mbar"},
    },
    "author": "benches",
    "tool_details": {
        "site_name": "Test site",
        "volume_litres": 100,
        "speed_litres_per_second": 1500,
        "healthy_base": {"value": 5e-7, "unit": "torr"},
    },
}


def ask(address, method, path, body=None, kind="application/json"):
    connection = http.client.HTTPConnection(address, timeout=300)
    connection.request(method, path, body, {"content-type": kind} if body else {})
    answer = connection.getresponse()
    return answer.status, answer.read()


def highest(process):
    with open(f"/proc/{process.pid}/status") as status:
        for line in status:
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    raise SystemExit("no VmHWM: this needs Linux")


def measure(program, path, body, kind):
    with tempfile.TemporaryDirectory() as folder:
        process = subprocess.Popen(
            [program, "serve", "--db", f"sqlite://{folder}/store.db", "--data", folder]
            + ["--listen", "127.0.0.1:0"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        try:
            first = process.stdout.readline().strip()
            address = first.removeprefix("listening on http://")
            status, text = ask(address, "POST", "/api/incidents", json.dumps(INCIDENT).encode())
            if status != 201:
                raise SystemExit(f"{program} answered {status}: {text[:300]}")
            before = highest(process)
            clock = time.perf_counter()
            status, text = ask(address, "POST", path, body, kind)
            seconds = time.perf_counter() - clock
            if status not in (200, 201, 413):
                raise SystemExit(f"{program} answered {status}: {text[:300]}")
            after = highest(process)
            told = ", refused as too large" if status == 413 else ""
            if status == 201:
                id = json.loads(text)["id"]
                status, text = ask(address, "GET", f"{path}/{id}/again")
                again = json.loads(text)["same"]
                size = os.path.getsize(f"{folder}/store.db") + os.path.getsize(f"{folder}/store.db-wal")
                told = (
                    f", {size / 2**20:.0f} MB of store; computed again the same: {again}, then "
                    f"{highest(process) - before:.0f} MB more"
                )
            return before, after, seconds, told
        finally:
            process.terminate()
            process.wait()


def main():
    text, rows = log()
    ways = [
        ("page", "/calculations/rise", *form(text)),
        ("API", "/api/calculations/rise", *request(text)),
        ("API, columns", "/api/calculations/rise", *columns(text)),
        ("kept", "/api/incidents/1/calculations", *kept(text)),
    ]
    print(f"a log of {len(text) / 2**20:.1f} MB, {rows} rows: 20 bytes a row are {20 * rows / 2**20:.0f} MB")
    for program in sys.argv[1:]:
        for way, path, body, kind in ways:
            before, after, seconds, told = measure(program, path, body, kind)
            print(
                f"{program}, {way}: {before:.0f} MB before, {after:.0f} MB at most, "
                f"{after - before:.0f} MB more; {seconds:.1f} s{told}"
            )


if __name__ == "__main__":
    main()
