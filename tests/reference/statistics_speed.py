"""Compares the statistics of one tool class over 1,000,000 incidents with DuckDB's GROUP BY.

    python tests/reference/statistics_speed.py COMMAND...

COMMAND is the built benchmark of tests/benches/statistics.rs (for example `cargo bench --bench
statistics --`); a file for the rows and their number are added to it. Needs `pip install duckdb`.
DuckDB holds the same rows in a table in memory and answers the same questions (cases, sums, means
and medians of labour and hours down, first checks that hit, repeats on the same tool within 30
and 90 days) in the same run on the same machine with all its threads; its times are medians of 41
answers after one to warm up, as are those of the ledger. Every number has to be equal. Exits 1
where a number differs or DuckDB is less than 20 times slower.
"""

import json
import math
import subprocess
import sys
import tempfile
import time

import duckdb

ROWS = 1_000_000
ANSWERS = 41
GOAL = 20.0

FIGURES = """
    select cause, count(*) as cases,
           sum(labour_minutes) as labour, avg(labour_minutes) as labour_mean, median(labour_minutes) as labour_median,
           sum(down_hours) as down, avg(down_hours) as down_mean, median(down_hours) as down_median,
           sum(first_hit) as first_hits,
           count(*) filter (since <= 30 and cause <> 'not-found') as repeats_30,
           count(*) filter (since <= 90 and cause <> 'not-found') as repeats_90
    from incident where tool_class = ? group by cause
"""
PLAIN = "select cause, count(*), sum(labour_minutes), sum(down_hours) from incident where tool_class = ? group by cause"


def timed(connection, query, parameters):
    connection.execute(query, parameters).fetchall()
    seconds = []
    for _ in range(ANSWERS):
        clock = time.perf_counter()
        rows = connection.execute(query, parameters).fetchall()
        seconds.append(time.perf_counter() - clock)
    return sorted(seconds)[ANSWERS // 2], rows


def main():
    with tempfile.NamedTemporaryFile(suffix=".csv") as table:
        out = subprocess.run(sys.argv[1:] + [table.name, str(ROWS)], capture_output=True, text=True, check=True)
        ours = json.loads(out.stdout)
        connection = duckdb.connect()
        # The gap to the case before is worked out beforehand, so that the query need not.
        connection.execute(
            f"""create table incident as
                select *, day - lag(day) over (partition by tool, cause order by day, number) as since
                from read_csv('{table.name}')"""
        )
    seconds, rows = timed(connection, FIGURES, [ours["class"]])
    plain_seconds, _ = timed(connection, PLAIN, [ours["class"]])
    year = FIGURES.replace("group by", "and day between 730 and 730 + 364 group by")
    year_seconds, year_rows = timed(connection, year, [ours["class"]])
    days = FIGURES.replace("group by", "and day between 1095 - 10 and 2190 - 100 group by")
    days_seconds, days_rows = timed(connection, days, [ours["class"]])
    by_tool = FIGURES.replace("select cause,", "select tool,").replace("group by cause", "group by tool")
    tool_seconds, _ = timed(connection, by_tool, [ours["class"]])

    compared = differ = 0
    for groups, there in [("groups", rows), ("year_groups", year_rows), ("days_groups", days_rows)]:
        names = list(ours[groups][0])
        theirs = {row[0]: dict(zip(names, row)) for row in there}
        for group in ours[groups]:
            for name in names[1:]:
                want = theirs[group["cause"]][name]
                compared += 1
                if not math.isclose(group[name], want, rel_tol=1e-9, abs_tol=1e-9):
                    print(f"{group['cause']} {name}: {group[name]} here, {want} there", file=sys.stderr)
                    differ += 1
        differ += len(theirs) != len(ours[groups])

    print(f"duckdb {duckdb.__version__}, {ours['rows']} incidents, {ours['sample']} of the class, {len(rows)} causes")
    print(f"numbers compared: {compared}, different: {differ}")
    print(f"{'':34}{'DuckDB':>12}{'here':>12}{'times':>8}")
    ratio = seconds / ours["seconds"]
    for what, there, here in [
        ("all figures, all days", seconds, ours["seconds"]),
        ("cases and sums alone, against all", plain_seconds, ours["seconds"]),
        ("all figures, one year", year_seconds, ours["year_seconds"]),
        ("all figures, 1006 days, months cut", days_seconds, ours["days_seconds"]),
        (f"all figures, by {ours['tools']} tools", tool_seconds, ours["tool_seconds"]),
    ]:
        print(f"{what:34}{1e3 * there:9.2f} ms{1e3 * here:9.3f} ms{there / here:8.1f}")
    print(f"trends of the whole fleet, {ours['trends']} streams: {1e3 * ours['trend_seconds']:.0f} ms")
    print(f"one incident more or corrected: {ours['microseconds_a_change']:.1f} microseconds")
    year_ratio = year_seconds / ours["year_seconds"]
    sys.exit(1 if differ or min(ratio, year_ratio) < GOAL else 0)


main()
