"""Times 300 searches over HTTP and an import, beside other engines on the same rows.

    python measure.py COLDTRAP FLOOR SIZES...

COLDTRAP is the release binary, FLOOR the built `search_speed` bench; started by
`tests/benches/search_speed.sh`. For each size: incidents are synthesised (seed 7), imported into an
empty store, and served on loopback. 300 seeded queries, 25 of each length from 1 to 12 words, are
asked by 1 client, and shared out among 8 at once, each in a process of its own with a connection
kept open; a few are asked before times are taken. COLDTRAP_BENCH_SECONDS (600) is the patience with
one engine and number of clients: what is not asked by then is left out, evenly over the lengths, and
the table says how many were asked.

* coldtrap: `GET /api/search?q=...&limit=20`; its times hold HTTP, JSON, excerpts and reasons.
* SQLite FTS5 (porter, unicode61) in the process of the client: any of the words, bm25, top 20.
* PostgreSQL: stored tsvector (english) with GIN, any of the words, ts_rank_cd, top 20, 256 MB of
  shared buffers, `analyze` done; over a local socket.
* floor: the bare index library on the very index that coldtrap searches: any of the stemmed words
  in any of its five text fields, top 20 by BM25, in process, threads for clients.

The peers hold one text a row: all strings a person reads in the incident. None of them reads
pressures, blends fields or explains a hit, so this compares speed and not what is found.
Bare import, stated in two ways, each the sum of a bare SQLite insert and of the bare index library's
indexing, by rows made ready before the clock runs. "Texts": the records in one table of two columns
by `executemany` in one transaction, and one text a row in one field. "Same rows": the three tables
into which a row goes here, with their columns, keys and indexes but without their checks, and the
fields that a row has here: number and times, five texts, tool, site, class, kind, cause and status,
three pressures, signs and circumstances. Not in it is what only this search makes of a text: words of
the trade, quantities, what is ruled out, digests. Times on the clock and of the processor, since on a
busy machine the clock tells of the others too.
"""

import contextlib
import datetime
import http.client
import json
import math
import multiprocessing
import os
import pathlib
import pwd
import random
import re
import resource
import shutil
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.parse

import psycopg

HITS = 20
WARM_UP = 24
PATIENCE_SECONDS = float(os.environ.get("COLDTRAP_BENCH_SECONDS", "600"))


def text_of(incident):
    parts = [incident["tool"], incident["tool_class"], incident["symptom"], incident.get("cause") or ""]
    parts += [incident.get(field) or "" for field in ("fix", "proof", "notes")]
    parts += incident.get("parts", [])
    parts += [sign for sign, seen in incident.get("signs", {}).items() if seen]
    parts += [name for name, told in incident.get("antecedents", {}).items() if told]
    return " ".join(parts).replace("-", " ").replace("\n", " ")


def queries_from(symptoms):
    """25 of each length: a run of words of one case, or words of many."""
    draw = random.Random(11)
    made = []
    for place in range(300):
        length = place % 12 + 1
        if draw.random() < 0.5:
            words = []
            while len(words) < length:
                words += draw.choice(symptoms).split()
            start = draw.randrange(len(words) - length + 1)
            made.append(" ".join(words[start : start + length]))
        else:
            made.append(" ".join(draw.choice(draw.choice(symptoms).split()) for _ in range(length)))
    return made


class OverHttp:
    def __init__(self, port):
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=300)

    def ask(self, query):
        address = "/api/search?" + urllib.parse.urlencode({"q": query, "limit": HITS})
        self.connection.request("GET", address)
        answer = self.connection.getresponse()
        body = answer.read()
        if answer.status != 200:
            raise RuntimeError(f"{answer.status} for {query!r}: {body[:200]}")


class Suggestions(OverHttp):
    """What is suggested for the beginning of a search, as the search box asks for it."""

    def ask(self, query):
        self.connection.request("GET", "/api/suggestions?" + urllib.parse.urlencode({"q": query}))
        answer = self.connection.getresponse()
        answer.read()
        if answer.status != 200:
            raise RuntimeError(f"{answer.status} for {query!r}")


def begun(queries):
    """The same with the last word broken off after two letters or more."""
    draw = random.Random(12)
    made = []
    for query in queries:
        *before, last = query.split()
        made.append(" ".join([*before, last[: max(2, draw.randrange(len(last)) + 1)]]))
    return made


class Fts5:
    def __init__(self, path):
        self.connection = sqlite3.connect(path)

    def ask(self, query):
        words = re.findall(r"\w+", query)
        if not words:
            return
        told = " OR ".join(f'"{word}"' for word in words)
        self.connection.execute(
            f"select rowid, text from told where told match ? order by bm25(told) limit {HITS}", (told,)
        ).fetchall()


class Postgres:
    def __init__(self, address):
        self.connection = psycopg.connect(address, autocommit=True)

    def ask(self, query):
        self.connection.execute(
            "with asked as (select replace(plainto_tsquery('english', %s)::text, '&', '|')::tsquery as q)"
            f" select number, text from told, asked where words @@ q"
            f" order by ts_rank_cd(words, q) desc limit {HITS}",
            (query,),
        ).fetchall()


def client(engine, where, queries, ready, out):
    peer = engine(where)
    for query in queries[: WARM_UP // ready.parties]:
        peer.ask(query)
    ready.wait()
    times, started = [], time.perf_counter()
    for query in queries:
        clock = time.perf_counter()
        if clock - started > PATIENCE_SECONDS:
            break
        peer.ask(query)
        times.append((time.perf_counter() - clock) * 1e3)
    out.put(times)


def asked(engine, where, queries, clients):
    ready, out = multiprocessing.Barrier(clients), multiprocessing.Queue()
    shares = [queries[place::clients] for place in range(clients)]
    running = [
        multiprocessing.Process(target=client, args=(engine, where, share, ready, out), daemon=True) for share in shares
    ]
    for process in running:
        process.start()
    times = []
    for _ in running:
        times += out.get(timeout=3 * PATIENCE_SECONDS + 600)
    for process in running:
        process.join()
    return times


def spread(times):
    times = sorted(times)
    at = lambda share: times[min(len(times) - 1, math.ceil(share * len(times)) - 1)]
    return statistics.median(times), at(0.95), at(0.99)


def size(path):
    return sum(file.stat().st_size for file in pathlib.Path(path).rglob("*") if file.is_file())


def memory(pid):
    told = dict(line.split(":", 1) for line in pathlib.Path(f"/proc/{pid}/status").read_text().splitlines())
    return {name: int(told[name].split()[0]) / 1024 for name in ("VmRSS", "RssAnon", "VmHWM")}


def until_ready(port):
    for _ in range(3600):
        asking = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        asking.request("GET", "/health/ready")
        if asking.getresponse().status == 200:
            return
        time.sleep(1)
    raise RuntimeError("the program was not ready within an hour")


@contextlib.contextmanager
def serving(program, where):
    """The port and the process of a store served on loopback, until the block ends."""
    served = subprocess.Popen(
        [program, "serve", *where, "--listen", "127.0.0.1:0"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        port = int(served.stdout.readline().rsplit(":", 1)[1])
        until_ready(port)
        yield port, served
    finally:
        served.terminate()
        served.wait()


def coldtrap(program, rows, folder, queries):
    data = folder / "data"
    data.mkdir()
    told = {}
    where = ["--db", f"sqlite://{folder}/cases.db", "--data", str(data)]
    clock, used = time.perf_counter(), processor(resource.RUSAGE_CHILDREN)
    subprocess.run([program, "import", *where, str(rows)], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    told["import"] = time.perf_counter() - clock
    told["processor"] = processor(resource.RUSAGE_CHILDREN) - used
    with serving(program, where) as (port, served):
        for clients in (1, 8):
            told[clients] = asked(OverHttp, port, queries, clients)
        clock = time.perf_counter()
        Suggestions(port).ask("fo")
        told["first suggestion"] = (time.perf_counter() - clock) * 1e3
        told["suggestions"] = asked(Suggestions, port, begun(queries), 1)
        told["memory"] = memory(served.pid)
        told["bytes"] = size(data)
        told["store"] = sum(file.stat().st_size for file in folder.glob("cases.db*"))
    return told


def fts5(texts, folder, queries):
    told, path = {}, str(folder / "fts.db")
    clock = time.perf_counter()
    connection = sqlite3.connect(path)
    connection.execute("create virtual table told using fts5(text, tokenize='porter unicode61')")
    with connection:
        connection.executemany("insert into told (text) values (?)", ((text,) for text in texts))
    connection.execute("insert into told (told) values ('optimize')")
    connection.commit()
    connection.close()
    told["import"] = time.perf_counter() - clock
    told["bytes"] = os.path.getsize(path)
    for clients in (1, 8):
        told[clients] = asked(Fts5, path, queries, clients)
    return told


def processor(who):
    used = resource.getrusage(who)
    return used.ru_utime + used.ru_stime


def bare_insert(rows, folder):
    clock, used = time.perf_counter(), processor(resource.RUSAGE_SELF)
    connection = sqlite3.connect(folder / "bare.db")
    connection.execute("create table incident (number integer primary key, record text not null)")
    with connection, open(rows, encoding="utf-8") as lines:
        connection.executemany("insert into incident (record) values (?)", ((line,) for line in lines))
    connection.close()
    return time.perf_counter() - clock, processor(resource.RUSAGE_SELF) - used


def rows_of(line, number):
    """A row as the three tables take it, and as a line of fields for the bare index."""
    told = json.loads(line)
    at = lambda name: told.get(name) or ""
    micros = lambda name: int(datetime.datetime.fromisoformat(told[name]).timestamp() * 1e6) if told.get(name) else None
    pascals = []
    for name in ("healthy", "faulty", "restored"):
        given = (told.get("pressures") or {}).get(name)
        pascals.append(given["value"] * PASCALS[given["unit"]] if given else None)
    incident = (number, 1, told["tool"], told["status"], micros("occurred_at"), micros("closed_at"), told.get("cause"))
    incident += (*pascals, told.get("labour_minutes"), told.get("down_hours"))
    revision = (number, 1, micros("closed_at") or micros("occurred_at"), told["author"], "", line)
    seen = [f"seen {name}" for name, so in told.get("signs", {}).items() if so]
    before = [f"before {name}" for name, so in told.get("antecedents", {}).items() if so]
    plain = lambda names: " ".join(names).replace("-", " ")
    checks = [check.get("note") or "" for check in told.get("checks", [])]
    powers = ["" if value is None else repr(math.log10(value)) for value in pascals]
    fields = [str(number), told["status"], told["tool"], at("site"), at("tool_class"), at("cause"), str(incident[4])]
    fields += [at("symptom"), plain([at("cause")]), at("fix")]
    fields += [" ".join([at("proof"), at("notes"), *told.get("parts", []), *checks]), plain([told["tool"], *seen, *before])]
    fields += [*powers, "\x1f".join([f"class {at('tool_class')}", *seen, *before])]
    return incident, revision, (number, number, 1), "\t".join(re.sub(r"[\t\n]", " ", field) for field in fields)


PASCALS = {"torr": 101325 / 760, "mtorr": 0.101325 / 0.76, "micron": 0.101325 / 0.76, "mbar": 100, "hpa": 100, "pa": 1, "atm": 101325}


def bare_tables(rows, folder):
    """Seconds on the clock and of the processor; what a row is made of is made ready outside of them."""
    connection = sqlite3.connect(folder / "tables.db")
    connection.execute("pragma page_size = 8192")
    connection.execute(
        "create table incident (number integer primary key, revision integer not null, tool text not null, status text not null,"
        " occurred_at integer not null, closed_at integer, cause text, healthy_pa real, faulty_pa real, restored_pa real,"
        " labour_minutes real, down_hours real)"
    )
    connection.execute(
        "create table revision (number integer not null, revision integer not null, at integer not null, author text not null,"
        " reason text not null, record text not null, primary key (number, revision))"
    )
    connection.execute("create table change (seq integer primary key, number integer not null, revision integer not null)")
    spent = [0.0, 0.0]

    def timed(work):
        clock, used = time.perf_counter(), processor(resource.RUSAGE_SELF)
        work()
        spent[0] += time.perf_counter() - clock
        spent[1] += processor(resource.RUSAGE_SELF) - used

    def put(made):
        for table, values in zip(("incident", "revision", "change"), zip(*made)):
            holders = ", ".join("?" * len(values[0]))
            connection.executemany(f"insert into {table} values ({holders})", values)

    with open(rows, encoding="utf-8") as lines, open(folder / "fields", "w", encoding="utf-8") as fields:
        number, made = 0, []
        for line in lines:
            number += 1
            *row, told = rows_of(line, number)
            made.append(row)
            fields.write(told + "\n")
            if len(made) == 5000:
                timed(lambda: put(made))
                made = []
        if made:
            timed(lambda: put(made))

    def end():
        connection.execute("create index incident_by_tool on incident (tool, occurred_at)")
        connection.execute("create index incident_by_status on incident (status, occurred_at)")
        connection.commit()

    timed(end)
    connection.close()
    (folder / "tables.db").unlink()
    return spent


def tool(name):
    found = sorted(pathlib.Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(found[-1]) if found else shutil.which(name)


def postgres(texts, folder, queries):
    """A server of our own, as a user who may do nothing else; PostgreSQL refuses to run as root."""
    home = folder / "postgres"
    home.mkdir()
    user = {}
    if os.getuid() == 0:
        nobody = pwd.getpwnam("nobody")
        os.chown(home, nobody.pw_uid, nobody.pw_gid)
        user = {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    cluster = str(home / "cluster")
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE, "check": True, "cwd": home, **user}
    subprocess.run([tool("initdb"), "-D", cluster, "-U", "bench", "-A", "trust", "-E", "UTF8", "--locale=C"], **quiet)
    settings = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={home} -c shared_buffers=256MB"
    settings += " -c max_wal_size=4GB -c work_mem=64MB -c maintenance_work_mem=256MB"
    control = [tool("pg_ctl"), "-D", cluster, "-w"]
    subprocess.run([*control, "-l", str(home / "log"), "-o", settings, "start"], **{**quiet, "stderr": subprocess.DEVNULL})
    try:
        address = f"host={home} port={port} user=bench dbname=postgres"
        told = {}
        with psycopg.connect(address) as connection:
            told["version"] = connection.execute("show server_version").fetchone()[0]
        clock = time.perf_counter()
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(
                "create table told (number bigserial primary key, text text not null,"
                " words tsvector generated always as (to_tsvector('english', text)) stored)"
            )
            with connection.cursor() as cursor, cursor.copy("copy told (text) from stdin") as copy:
                for text in texts:
                    copy.write_row((text,))
            connection.execute("create index told_words on told using gin (words)")
            connection.execute("vacuum analyze told")
            told["import"] = time.perf_counter() - clock
            told["bytes"] = connection.execute("select pg_total_relation_size('told')").fetchone()[0]
        for clients in (1, 8):
            told[clients] = asked(Postgres, address, queries, clients)
        return told
    finally:
        subprocess.run([*control, "-m", "fast", "stop"], **quiet)


def bare_index(program, texts, folder, queries):
    (folder / "texts").write_text("\n".join(texts) + "\n", encoding="utf-8")
    (folder / "queries").write_text("\n".join(queries) + "\n", encoding="utf-8")
    index = folder / "bare-index"
    index.mkdir()
    (searched,) = (folder / "data").glob("index-*/")
    fields = folder / "bare-fields"
    fields.mkdir()
    arguments = [folder / "texts", folder / "queries", index, searched, folder / "fields", fields]
    ran = subprocess.run([program, *map(str, arguments)], check=True, stdout=subprocess.PIPE)
    told = json.loads(ran.stdout)
    return {
        "import": told["index_seconds"],
        "processor": told["index_processor_seconds"],
        "same rows": told["fields_seconds"],
        "same rows processor": told["fields_processor_seconds"],
        "bytes": size(searched),
        1: told["1"],
        8: told["8"],
    }


def measure(program, floor, count):
    with tempfile.TemporaryDirectory(prefix="search-speed-") as made:
        folder = pathlib.Path(made)
        folder.chmod(0o755)
        rows = folder / "rows.jsonl"
        with rows.open("wb") as out:
            subprocess.run([program, "synthesise", "--incidents", str(count), "--seed", "7"], check=True, stdout=out)
        texts, symptoms = [], []
        with rows.open(encoding="utf-8") as lines:
            for line in lines:
                incident = json.loads(line)
                texts.append(text_of(incident))
                symptoms.append(incident["symptom"])
        queries = queries_from(symptoms)
        told = {"coldtrap": coldtrap(program, rows, folder, queries)}
        insert, insert_processor = bare_insert(rows, folder)
        tables, tables_processor = bare_tables(rows, folder)
        told["floor"] = bare_index(floor, texts, folder, queries)
        told["SQLite FTS5"] = fts5(texts, folder, queries)
        told["PostgreSQL"] = postgres(texts, folder, queries)
        told["bare"] = insert + told["floor"]["import"]
        told["bare processor"] = insert_processor + told["floor"]["processor"]
        told["same rows"] = tables + told["floor"]["same rows"]
        told["same rows processor"] = tables_processor + told["floor"]["same rows processor"]
        told["load"] = os.getloadavg()[2]
        return told


def show(count, told):
    for engine in ("coldtrap", "SQLite FTS5", "PostgreSQL", "floor"):
        cells = [f"{len(told[engine][1])}, {len(told[engine][8])}"]
        cells += [f"{figure:.1f}" for clients in (1, 8) for figure in spread(told[engine][clients])]
        cells += [f"{told[engine]['import']:.1f}", f"{told[engine]['bytes'] / 1e6:.0f}"]
        print(f"| {count:,} | {engine} | " + " | ".join(cells) + " |", flush=True)


def main():
    program, floor, *sizes = sys.argv[1:]
    sizes = sorted(int(size) for size in sizes)
    print("milliseconds: median, p95, p99 with 1 client, then with 8; import in seconds; index in MB (peers: texts too)")
    print("| incidents | engine | asked | median | p95 | p99 | median, 8 | p95, 8 | p99, 8 | import s | MB |")
    print("|---|---|---|---|---|---|---|---|---|---|---|", flush=True)
    all_told = {}
    lock = pathlib.Path("Cargo.lock").read_text(encoding="utf-8")
    library = re.search(r'name = "tantivy"\nversion = "([^"]+)"', lock).group(1)
    for count in sizes:
        all_told[count] = measure(program, floor, count)
        show(count, all_told[count])
    served = all_told[sizes[0]]["PostgreSQL"]["version"]
    print(f"SQLite {sqlite3.sqlite_version}, PostgreSQL {served}, tantivy {library}")
    for count, told in all_told.items():
        own = told["coldtrap"]
        kept = ", ".join(f"{name} {value:.0f} MiB" for name, value in own["memory"].items())
        print(
            f"{count:,}: {kept}; store {own['store'] / 1e6:.0f} MB; import {own['import']:.1f} s,"
            f" bare insert and bare indexing of the same rows {told['same rows']:.1f} s,"
            f" ratio {own['import'] / told['same rows']:.2f}, of texts alone {told['bare']:.1f} s,"
            f" ratio {own['import'] / told['bare']:.2f};"
            f" of the processor {own['processor']:.1f} s, {told['same rows processor']:.1f} s and {told['bare processor']:.1f} s,"
            f" ratios {own['processor'] / told['same rows processor']:.2f} and"
            f" {own['processor'] / told['bare processor']:.2f}; load {told['load']:.0f}"
        )
        print(
            f"{count:,}: suggestions while typing, ms: median, p95, p99"
            f" {', '.join(f'{figure:.1f}' for figure in spread(own['suggestions']))};"
            f" the first, which gathers them, {own['first suggestion']:.0f}"
        )
        for peer in ("SQLite FTS5", "PostgreSQL", "floor"):
            shares = [spread(own[clients])[1] / spread(told[peer][clients])[1] for clients in (1, 8)]
            print(f"{count:,}: p95 is {shares[0]:.3f} of {peer} with 1 client, {shares[1]:.3f} with 8")
    for low, high in zip(sizes, sizes[1:]):
        for engine in ("coldtrap", "SQLite FTS5", "PostgreSQL", "floor"):
            powers = [
                math.log(spread(all_told[high][engine][n])[1] / spread(all_told[low][engine][n])[1]) / math.log(high / low)
                for n in (1, 8)
            ]
            print(f"p95 from {low:,} to {high:,}, {engine}: exponent {powers[0]:.2f} with 1 client, {powers[1]:.2f} with 8")


if __name__ == "__main__":
    main()
