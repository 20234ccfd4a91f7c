#!/usr/bin/env bash
# Passes every test of the project on a Debian machine with the Rust toolchain: installs
# what the tests need (a browser with its driver, a Python for the reference figures),
# then checks form, lints, documentation, tests and figures. Services the tests start are
# started and stopped by the tests themselves, on free loopback ports, in temporary folders.
set -euo pipefail
cd "$(dirname "$0")/.."

say() { printf '\n== %s\n' "$*"; }

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo "$@"; fi
}

needed=()
command -v cc >/dev/null || needed+=(gcc libc6-dev)
command -v chromium >/dev/null || needed+=(chromium)
command -v chromedriver >/dev/null || needed+=(chromium-driver)
command -v python3 >/dev/null || needed+=(python3)
python3 -c 'import venv, ensurepip' 2>/dev/null || needed+=(python3-venv)
if [ ${#needed[@]} -gt 0 ]; then
    say "installing ${needed[*]}"
    as_root apt-get update -q
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends "${needed[@]}"
fi

say "form"
cargo fmt --check

say "lints"
cargo clippy --quiet --all-targets -- -D warnings

say "documentation"
RUSTDOCFLAGS="-D warnings" cargo doc --quiet --no-deps

say "reference figures"
# Kept below target/ so that a second run need not install them again.
reference=target/reference-python
if [ ! -x "$reference/bin/python" ]; then
    python3 -m venv "$reference"
fi
"$reference/bin/python" -m pip install --quiet --disable-pip-version-check -r tests/reference/requirements.txt
"$reference/bin/python" tests/reference/rise.py --check
"$reference/bin/python" tests/reference/residual_gas.py --check
"$reference/bin/python" tests/reference/compare.py statistics belief

say "tests"
cargo test

say "statistics of a made-up fleet"
"$reference/bin/python" tests/reference/fleet_statistics.py target/debug/coldtrap
