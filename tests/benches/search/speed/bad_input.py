"""Times what nobody should type into the search, over HTTP.

    python bad_input.py COLDTRAP SIZE

Started by `bash tests/benches/search_speed.sh bad-input [SIZE]` (100000 where none is given). A store of
SIZE synthesised incidents (seed 7) is served on loopback; each input goes by GET and by POST to page and
API, three times. Printed are the longest times beside 50 plain questions of the search bench, which
answers there were, and whether anything of an input came back as markup. Aimed at: an answer or a clear
refusal within 200 ms on an idle machine.
"""

import http.client
import json
import pathlib
import subprocess
import sys
import tempfile
import time
import urllib.parse

from beside_import import asked, synthesised
from measure import WARM_UP, OverHttp, queries_from, serving, spread

INPUTS = {
    "one word of 100 kB": "a" * 100_000,
    "words of 100 kB": "stuck foil " * 9_100,
    "10,000 words": " ".join(f"w{place}" for place in range(10_000)),
    "only common words": "the of and it is was",
    "only signs": "!?.,;:--()[]{}***",
    "right to left": "\u05ea\u05e7\u05dc\u05d4 \u05d1\u05d5\u05d5\u05d0\u05e7\u05d5\u05dd \u0645\u0636\u062e\u0629",
    "emoji": "\U0001f525\U0001f525 pump \U0001f4a7",
    "unbalanced quotes": '"door seal (gate [cause:"foil',
    "only quotes": '"' * 9_999,
    "SQL": "'; drop table incident; -- union select * from revision",
    "query text of the index library": "title:foo^2 AND (a OR b) NOT c~2 [1 TO 5] *:*",
    "HTML": "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "a zero byte": "a\0b",
    "3,000 pressures": " ".join(f"{place % 9 + 1}e-6" for place in range(3_000)),
    "3,000 field words": "cause:foil " * 3_000,
    "8,000 times not": "not " * 8_000,
}


def sent(port, address, method, query):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    body = urllib.parse.urlencode({"q": query})
    clock = time.perf_counter()
    if method == "GET":
        connection.request("GET", f"{address}?{body}")
    else:
        connection.request("POST", address, body, {"Content-Type": "application/x-www-form-urlencoded"})
    answer = connection.getresponse()
    text = answer.read().decode("utf-8", "replace")
    passed = (time.perf_counter() - clock) * 1e3
    connection.close()
    marked_up = address == "/search" and any(part in text for part in ("<script>alert", "<img src=x"))
    return passed, answer.status, marked_up


def measure(program, count, folder):
    rows = folder / "rows.jsonl"
    synthesised(program, count, 7, rows)
    with rows.open(encoding="utf-8") as lines:
        queries = queries_from([json.loads(line)["symptom"] for line in lines])
    where = ["--db", f"sqlite://{folder}/cases.db", "--data", str(folder / "data")]
    (folder / "data").mkdir()
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    subprocess.run([program, "import", *where, str(rows)], check=True, **quiet)
    with serving(program, where) as (port, _):
        client = OverHttp(port)
        asked(client, queries[:WARM_UP])
        plain = asked(client, queries[:50])
        told = {
            name: [sent(port, address, method, query) for _ in range(3) for address in ("/search", "/api/search") for method in ("GET", "POST")]
            for name, query in INPUTS.items()
        }
        return plain, told


def main():
    program, count = sys.argv[1], int(sys.argv[2])
    with tempfile.TemporaryDirectory(prefix="bad-input-") as made:
        plain, told = measure(program, count, pathlib.Path(made))
    print(f"{count:,} incidents; 50 plain questions: median, p95, longest {', '.join(f'{ms:.0f}' for ms in (*spread(plain)[:2], max(plain)))} ms")
    for name, answers in sorted(told.items(), key=lambda told: -max(told[1])[0]):
        codes = ", ".join(str(code) for code in sorted({code for _, code, _ in answers}))
        print(f"{name}: {max(answers)[0]:.0f} ms at most; answered {codes}")
    print(f"longest {max(max(answers)[0] for answers in told.values()):.0f} ms, where 200 are aimed at")
    if any(marked_up for answers in told.values() for *_, marked_up in answers):
        sys.exit("something typed came back as markup")


if __name__ == "__main__":
    main()
