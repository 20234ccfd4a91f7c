#!/usr/bin/env bash
# Measures how fast the search answers over HTTP, and an import, beside SQLite FTS5, PostgreSQL and
# the bare index library on the same rows in the same run, and prints one table.
#
#     bash tests/benches/search_speed.sh SIZES...     (10000 100000 where none is given)
#     bash tests/benches/search_speed.sh beside-import [SIZE]     (100000 where none is given)
#     bash tests/benches/search_speed.sh bad-input [SIZE]         (100000 where none is given)
#
# The second times searches before, during and after an import into the store that is served, the
# third what nobody should type.
#
# PostgreSQL and its client for Python are installed where they are missing (Debian package,
# Python package below target/). It runs in a folder of its own, on a free port of this machine,
# and is stopped at the end; 1000000 takes about 12 GB of disc.
set -euo pipefail
cd "$(dirname "$0")/../.."

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo "$@"; fi
}

if ! ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 && ! command -v initdb >/dev/null; then
    as_root apt-get update -q
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends postgresql
fi

client=target/search-speed-python
if [ ! -e "$client/complete" ]; then
    python3 -m venv "$client"
    "$client/bin/pip" install --quiet --disable-pip-version-check 'psycopg[binary]'
    touch "$client/complete"
fi

cargo build --quiet --release --bin coldtrap
if [ "${1:-}" = beside-import ]; then
    exec "$client/bin/python" tests/benches/search/speed/beside_import.py target/release/coldtrap "${2:-100000}"
fi
if [ "${1:-}" = bad-input ]; then
    exec "$client/bin/python" tests/benches/search/speed/bad_input.py target/release/coldtrap "${2:-100000}"
fi
floor=$(cargo bench --no-run --bench search_speed --message-format=json |
    "$client/bin/python" -c 'import json, sys
for line in sys.stdin:
    told = json.loads(line)
    if told.get("target", {}).get("name") == "search_speed" and told.get("executable"):
        print(told["executable"])')
[ $# -gt 0 ] || set -- 10000 100000
exec "$client/bin/python" tests/benches/search/speed/measure.py target/release/coldtrap "$floor" "$@"
