"""Runs a script that makes reference values and compares what it makes with what is committed.

compare.py NAME...    for each NAME.py and NAME.json of this folder; the committed file stays
"""

import json
import math
import pathlib
import subprocess
import sys

RELATIVE = 1e-8
ABSOLUTE = 1e-12


def differences(old, new, path):
    if path == ".made_with":
        return
    if isinstance(old, dict) and isinstance(new, dict) and old.keys() == new.keys():
        for key in old:
            yield from differences(old[key], new[key], f"{path}.{key}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for index, pair in enumerate(zip(old, new)):
            yield from differences(*pair, f"{path}[{index}]")
    elif isinstance(old, (int, float)) and isinstance(new, (int, float)):
        if not math.isclose(old, new, rel_tol=RELATIVE, abs_tol=ABSOLUTE):
            yield f"{path}: {old} is committed, {new} comes out"
    elif old != new:
        yield f"{path}: {old!r} is committed, {new!r} comes out"


def main():
    folder = pathlib.Path(__file__).parent
    failed = False
    for name in sys.argv[1:]:
        path = folder / f"{name}.json"
        committed = path.read_text()
        try:
            subprocess.run([sys.executable, folder / f"{name}.py"], check=True)
            made = json.loads(path.read_text())
        finally:
            path.write_text(committed)
        found = list(differences(json.loads(committed), made, ""))
        for difference in found[:10]:
            print(f"{name}{difference}", file=sys.stderr)
        print(f"{name}: {len(found)} differences")
        failed |= bool(found)
    sys.exit(1 if failed else 0)


main()
