"""Measures the memory that a program takes for logs of 50 MB, sent to its page and to its API.

    python tests/benches/upload_memory.py PROGRAM [PROGRAM...]

PROGRAM is a built `coldtrap`; several are compared. Each is started anew for each way of sending, in
a temporary folder on a free port, and asked for its highest resident memory (VmHWM of /proc, Linux)
before and after. Nothing but the standard library is used.
"""

import http.client
import json
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
            before = highest(process)
            clock = time.perf_counter()
            connection = http.client.HTTPConnection(address, timeout=300)
            connection.request("POST", path, body, {"content-type": kind})
            answer = connection.getresponse()
            text = answer.read().decode()
            seconds = time.perf_counter() - clock
            if answer.status not in (200, 413):
                raise SystemExit(f"{program} answered {answer.status}: {text[:300]}")
            refused = ", refused as too large" if answer.status == 413 else ""
            return before, highest(process), seconds, refused
        finally:
            process.terminate()
            process.wait()


def main():
    text, rows = log()
    ways = [("page", "/calculations/rise", *form(text)), ("API", "/api/calculations/rise", *request(text))]
    print(f"a log of {len(text) / 2**20:.1f} MB, {rows} rows: 20 bytes a row are {20 * rows / 2**20:.0f} MB")
    for program in sys.argv[1:]:
        for way, path, body, kind in ways:
            before, after, seconds, refused = measure(program, path, body, kind)
            print(
                f"{program}, {way}: {before:.0f} MB before, {after:.0f} MB at most, "
                f"{after - before:.0f} MB more; {seconds:.1f} s{refused}"
            )


if __name__ == "__main__":
    main()
