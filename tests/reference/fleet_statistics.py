"""Recomputes every table of the statistics of a made-up fleet from its incidents alone.

    python tests/reference/fleet_statistics.py PROGRAM [SEED [INCIDENTS]]

PROGRAM is the built program. It synthesises a fleet, of which every seventh tool is stripped of its
first day in service and a third are given planned services; imports it into a store in a
temporary folder; serves that; and every number of the files behind the statistics pages is compared
with one worked out here from the incidents and the rules the pages state: counts, shares (Wilson,
statsmodels), times (numpy; scipy's bootstrap for the intervals of classes), exposure of tools under
watch, Laplace and power-law tests, rates, Benjamini-Hochberg (scipy, statsmodels), the change of a
rate (a grid of a thousand points), times between losses, hours lost, lives of parts, Weibull fits with the
mean life (lifelines) and age replacement (scipy). The answers of the API are held against the files by
tests/statistics.rs. Needs the packages of requirements.txt. Exits 1 where a number differs.
"""

import csv
import datetime
import io
import json
import math
import pathlib
import subprocess
import sys
import tempfile
import tomllib
import urllib.parse
import urllib.request
from collections import defaultdict

import lifelines
import numpy as np
from scipy import integrate, optimize, special, stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

MONTH = 30.4375
EPOCH = datetime.date(1970, 1, 1)
CATALOGUE = pathlib.Path(__file__).parents[2] / "seed-data/catalogue"
CAUSES = {cause["id"]: cause for cause in tomllib.loads((CATALOGUE / "causes.toml").read_text())["cause"]}
NOTHING = "not-found"

compared, wrong = 0, []


def same(where, got, want, relative=1e-6, absolute=2e-6):
    """A cell of a file, of six decimals, against a number or none."""
    global compared
    compared += 1
    if want is None or (isinstance(want, float) and math.isnan(want)):
        if got != "":
            wrong.append(f"{where}: {got}, but there is none")
    elif isinstance(want, str):
        if got != want:
            wrong.append(f"{where}: {got!r}, not {want!r}")
    elif got == "" or not math.isclose(float(got), want, rel_tol=relative, abs_tol=absolute):
        wrong.append(f"{where}: {got!r}, not {want}")


def day_of(text):
    return (datetime.datetime.fromisoformat(text).astimezone(datetime.timezone.utc).date() - EPOCH).days


def date_of(day):
    return (EPOCH + datetime.timedelta(days=day)).isoformat()


class Served:
    """The program with a fleet of its own."""

    def __init__(self, program, folder, rows):
        self.db, data = f"sqlite://{folder}/fleet.db", f"{folder}/data"
        file = pathlib.Path(folder, "fleet.jsonl")
        file.write_text("".join(json.dumps(row) + "\n" for row in rows))
        subprocess.run([program, "import", str(file), "--db", self.db, "--data", data], check=True, capture_output=True)
        self.process = subprocess.Popen(
            [program, "serve", "--db", self.db, "--data", data, "--listen", "127.0.0.1:0"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        for line in self.process.stdout:
            if line.startswith("listening on "):
                self.base = line.split()[-1]
                return
        raise SystemExit("the program did not begin to listen")

    def get(self, address):
        with urllib.request.urlopen(self.base + address) as answer:
            return answer.read().decode()

    def table(self, address):
        return list(csv.DictReader(io.StringIO(self.get(address))))

    def post(self, address, body):
        request = urllib.request.Request(
            self.base + address, json.dumps(body).encode(), {"content-type": "application/json"}
        )
        urllib.request.urlopen(request).read()


class Case:
    def __init__(self, number, row):
        self.number, self.day = number, day_of(row["occurred_at"])
        self.tool, self.site, self.tool_class, self.cause = (row[k] for k in ("tool", "site", "tool_class", "cause"))
        known = CAUSES.get(self.cause)
        self.component = known["component"] if known else NOTHING
        self.kind = known["kind"] if known else NOTHING
        self.labour, self.down = row["labour_minutes"], row["down_hours"]
        self.first = row["checks"][0]["outcome"] == "found" if row["checks"] else None
        self.since = None


def wilson(count, sample):
    return proportion_confint(count, sample, method="wilson") if sample else (None, None)


def shares(served, cases):
    last = {}
    for case in sorted(cases, key=lambda case: (case.day, case.number)):
        key = (case.tool, case.cause)
        if case.cause != NOTHING:
            case.since = case.day - last[key] if key in last else None
            last[key] = case.day
    for by in ["cause", "component", "kind", "tool_class", "site", "tool"]:
        groups = defaultdict(list)
        for case in cases:
            groups[getattr(case, by)].append(case)
        order = sorted(groups, key=lambda name: (-len(groups[name]), name))
        table = served.table(f"/statistics/table.csv?by={by}")
        same(f"rows by {by}", str(len(table)), str(len(order)))
        so_far = 0
        for row, name in zip(table, order):
            group = groups[name]
            n = len(group)
            so_far += n
            where = f"{by} {name} "
            same(where, row[by], name)
            found = [case for case in group if case.cause != NOTHING]
            checked = [case for case in group if case.first is not None]
            within = lambda days: sum(case.since is not None and case.since <= days for case in found)
            for heading, count, sample in [
                ("share", n, len(cases)),
                ("first_check_share", sum(case.first for case in checked), len(checked)),
                ("repeat_30_share", within(30), len(found)),
                ("repeat_90_share", within(90), len(found)),
                ("not_found_share", n - len(found), n),
            ]:
                low, high = wilson(count, sample)
                same(where + heading, row[heading], count / sample if sample else None)
                same(where + heading + " low", row[heading + "_low"], low)
                same(where + heading + " high", row[heading + "_high"], high)
            for heading, count in [
                ("cases", n),
                ("sample", len(cases)),
                ("first_check_found", sum(case.first for case in checked)),
                ("first_check_sample", len(checked)),
                ("repeats_30_days", within(30)),
                ("repeats_90_days", within(90)),
                ("repeat_sample", len(found)),
                ("not_found", n - len(found)),
            ]:
                same(where + heading, row[heading], str(count))
            same(where + "cumulative", row["cumulative_share"], so_far / len(cases))
            for heading, values in [
                ("labour_minutes", np.array([case.labour for case in group], float)),
                ("down_hours", np.array([case.down for case in group], float)),
            ]:
                same(where + heading, row[heading], values.sum())
                same(where + heading + " mean", row[heading + "_mean"], values.mean())
                same(where + heading + " median", row[heading + "_median"], np.median(values))
                same(where + heading + " without interval", str(row[heading + "_mean_low"] == ""), str(n < 6))
                same(where + heading + " without interval", str(row[heading + "_median_low"] == ""), str(n < 6))
                if by != "tool_class" or not 6 <= n <= 2000:
                    continue
                for what, statistic, method in [("mean", np.mean, "BCa"), ("median", np.median, "percentile")]:
                    drawn = stats.bootstrap(
                        (values,), statistic, n_resamples=8000, batch=200, method=method, rng=np.random.default_rng(n)
                    ).confidence_interval
                    if what == "median":
                        # It lies at or between two values: at most one further than drawn by luck.
                        ordered = np.unique(values)
                        for end, limit in [("low", drawn.low), ("high", drawn.high)]:
                            got = float(row[f"{heading}_{what}_{end}"])
                            first, last = np.searchsorted(ordered, [limit, limit], "left") + [-2, 1]
                            near = ordered[max(first, 0)] <= got <= ordered[min(last, len(ordered) - 1)]
                            near |= abs(got - limit) <= 0.06 * (drawn.high - drawn.low)
                            same(f"{where}{what} {end} {got} near {limit}", str(near), "True")
                        continue
                    width = drawn.high - drawn.low
                    same(where + what, row[f"{heading}_{what}_low"], drawn.low, 0, 0.06 * width + 1e-9)
                    same(where + what, row[f"{heading}_{what}_high"], drawn.high, 0, 0.06 * width + 1e-9)


class Fleet:
    """Tools under watch, by the rules the pages state."""

    def __init__(self, cases, tools):
        self.cases, self.tools = cases, tools
        self.of_tool = defaultdict(list)
        for case in sorted(cases, key=lambda case: (case.day, case.number)):
            self.of_tool[case.tool].append(case)
        self.opened = {}
        for case in cases:
            self.opened[case.site] = min(self.opened.get(case.site, case.day), case.day)
        # The newest case closes the record, so that no watch ends with a case by its own making.
        self.last = max(case.day for case in cases) - 1

    def watched(self, wanted=lambda tool: True):
        for name in sorted(self.tools):
            tool = self.tools[name]
            if not wanted(tool) or tool["site"] not in self.opened:
                continue
            opened = self.opened[tool["site"]] + 1
            own = self.of_tool[name]
            since = tool["in_service"] and day_of(tool["in_service"])
            if since is not None:
                start = max(since, opened)
            elif own:
                start = own[0].day + 1
            else:
                continue
            until = tool["out_of_service"] and day_of(tool["out_of_service"])
            end = (self.last if until is None else min(until, self.last)) + 1
            if start < end:
                new = since is not None and since >= opened
                yield name, tool, start, end, new

    def events(self, name, start, end):
        return [case for case in self.of_tool[name] if start <= case.day < end]


def clock(spans):
    """Days in service before each day, as a function of the day, and their sum."""
    first, end = min(start for start, _ in spans), max(end for _, end in spans)
    count = np.zeros(end - first)
    for start, stop in spans:
        count[start - first : stop - first] += 1
    before = np.concatenate([[0.0], np.cumsum(count)])
    return first, before


def trend_cells(where, row, times, total, adjusted, calendar=None):
    n = len(times)
    same(where + "cases", row["cases"], str(n))
    same(where + "tool_days", row["tool_days"], total)
    months = total / MONTH
    same(where + "rate", row["rate_per_tool_month"], n / months)
    low = stats.chi2.ppf(0.025, 2 * n) / 2 / months if n else 0.0
    same(where + "rate low", row["rate_low"], low)
    same(where + "rate high", row["rate_high"], stats.chi2.ppf(0.975, 2 * n + 2) / 2 / months)
    if n < 4:
        for heading in ["laplace_z", "power_law_p", "change_chance"]:
            same(where + heading, row[heading], None)
        same(where + "verdict", row["verdict"], "too-few")
        return
    times = np.asarray(times)
    z, p = laplace(times, total)
    same(where + "z", row["laplace_z"], z)
    same(where + "p", row["laplace_p"], p)
    same(where + "adjusted", row["laplace_p_adjusted"], adjusted)
    chi = 2 * np.log(total / times).sum()
    same(where + "chi", row["power_law_chi_square"], chi)
    same(where + "power p", row["power_law_p"], min(1.0, 2 * min(stats.chi2.sf(chi, 2 * n), stats.chi2.cdf(chi, 2 * n))))
    same(where + "shape", row["power_law_shape"], 2 * n / chi)
    verdict = "not-shown" if adjusted > 0.05 else "rising" if z > 0 else "falling"
    same(where + "verdict", row["verdict"], verdict)
    if calendar:
        changed(where, row, times, total, calendar)


def laplace(times, total):
    z = (np.mean(times) - total / 2) / (total * math.sqrt(1 / (12 * len(times))))
    return z, 2 * stats.norm.sf(abs(z))


def changed(where, row, times, total, calendar):
    """Raftery and Akman (1986) on a grid: even odds, a flat prior for the time, gamma(1/2) rates."""
    n, weight = len(times), 0.5 * total / len(times)
    at = total * (np.arange(1000) + 0.5) / 1000
    early = np.searchsorted(np.sort(times), at, side="right")

    def marginal(events, time):
        return 0.5 * np.log(weight) - special.gammaln(0.5) + special.gammaln(events + 0.5) - (events + 0.5) * np.log(time + weight)

    ln = marginal(early, at) + marginal(n - early, total - at) - marginal(n, total)
    shares = np.exp(ln - ln.max())
    odds = math.exp(ln.max()) * shares.mean()
    same(where + "change", row["change_chance"], odds / (1 + odds))
    so_far = np.cumsum(shares) / shares.sum()
    best = int(np.argmax(so_far >= 0.5))
    first, before = calendar
    for heading, place in [
        ("change_day", best),
        ("change_day_low", int(np.argmax(so_far >= 0.025))),
        ("change_day_high", int(np.argmax(so_far >= 0.975))),
    ]:
        day = first + int(np.searchsorted(before, at[place], side="right")) - 1
        same(where + heading, row[heading], date_of(day))
    same(where + "before", row["rate_before_change"], early[best] / at[best] * MONTH)
    same(where + "after", row["rate_after_change"], (n - early[best]) / (total - at[best]) * MONTH)


def adjust(streams):
    tested = {name: laplace(times, total)[1] for name, (times, total, _) in streams.items() if len(times) >= 4}
    if not tested:
        return {}
    return dict(zip(tested, multipletests(list(tested.values()), method="fdr_bh")[1]))


def on_clock(spans, days):
    first, before = calendar = clock(spans)
    times = sorted((before[day - first] + before[day - first + 1]) / 2 for day in days)
    return times, before[-1], calendar


def trends(served, fleet, classes):
    watched = list(fleet.watched())
    by_cause = defaultdict(list)
    for name, tool, start, end, _ in watched:
        for case in fleet.events(name, start, end):
            if case.cause == NOTHING or CAUSES[case.cause]["component"] in tool["components"]:
                by_cause[case.cause].append(case.day)

    def of(wanted, days):
        return on_clock([(start, end) for _, tool, start, end, _ in watched if wanted(tool)], days)

    causes = {
        cause: of(lambda tool: cause == NOTHING or CAUSES[cause]["component"] in tool["components"], days)
        for cause, days in by_cause.items()
    }
    of_class = {}
    for name in classes:
        days = [
            case.day
            for tool_name, tool, start, end, _ in watched
            if tool["tool_class"] == name
            for case in fleet.events(tool_name, start, end)
        ]
        of_class[name] = of(lambda tool: tool["tool_class"] == name, days)
    tools = {}
    for name, _, start, end, _ in watched:
        events = fleet.events(name, start, end)
        if events:
            tools[name] = ([case.day - start + 0.5 for case in events], float(end - start), (start, np.arange(end - start + 1.0)))
    for by, streams in [("cause", causes), ("tool_class", of_class), ("tool", tools)]:
        adjusted = adjust(streams)
        table = {row[by]: row for row in served.table(f"/statistics/trends.csv?by={by}")}
        same(f"trends by {by}", str(sorted(table)), str(sorted(streams)))
        for name, (times, total, calendar) in streams.items():
            trend_cells(f"trend {name} ", table[name], times, total, adjusted.get(name), calendar)


def reliability(served, fleet):
    table = {(row["of"], row["id"]): row for row in served.table("/statistics/reliability.csv")}
    for (of, name), row in table.items():
        wanted = (lambda tool: True) if of == "all" else (lambda tool: tool[of] == name)
        watched = list(fleet.watched(wanted))
        events = [case for tool, _, start, end, _ in watched for case in fleet.events(tool, start, end)]
        days = float(sum(end - start for _, _, start, end, _ in watched))
        n, where = len(events), f"reliability {of} {name} "
        same(where + "tools", row["tools"], str(len(watched)))
        same(where + "days", row["tool_days"], days)
        same(where + "cases", row["cases_while_watched"], str(n))
        same(where + "between", row["days_between"], days / n)
        same(where + "between low", row["days_between_low"], 2 * days / stats.chi2.ppf(0.975, 2 * n + 2))
        same(where + "between high", row["days_between_high"], 2 * days / stats.chi2.ppf(0.025, 2 * n))
        down = np.array([case.down for case in events])
        same(where + "down", row["down_hours_mean"], down.mean())
        same(where + "labour", row["labour_minutes_mean"], np.mean([case.labour for case in events]))
        lost = down.sum() / (24 * days)
        deviation = math.sqrt((1 + (down.std(ddof=1) / down.mean()) ** 2) / n)
        low, high = stats.norm(math.log(lost), deviation).interval(0.95)
        same(where + "left", row["not_down_for_this"], 1 - lost)
        same(where + "left low", row["not_down_for_this_low"], 1 - math.exp(high))
        same(where + "left high", row["not_down_for_this_high"], 1 - math.exp(low))


def lives_of(fleet, cause):
    lives, unknown, planned, early, fitted = [], 0, 0, 0, 0
    component = CAUSES[cause]["component"]
    for name, tool, start, end, new in fleet.watched(lambda tool: component in tool["components"]):
        fitted += 1
        renewals = [(case.day, 0) for case in fleet.of_tool[name] if case.cause == cause]
        if CAUSES[cause].get("wears"):
            renewals += [(day_of(s["on"]), 1) for s in tool["services"] if s["component"] == component]
        since = start if new else None
        # The case that opens the record of an older tool is known too; before it nothing is.
        known = start if new else start - 1
        for day, by_plan in sorted(set(renewals)):
            if day >= end:
                continue
            if day < known:
                early += by_plan
                continue
            if since is None:
                unknown += not by_plan
            elif day > since:
                lives.append((day - since, not by_plan))
                planned += by_plan
            since = day
        if since is not None and end - 1 > since:
            lives.append((end - 1 - since, False))
    return lives, unknown, planned, early, fitted


def wear_out(served, fleet):
    table = {row["cause"]: row for row in served.table("/statistics/wear-out.csv")}
    chances = {}
    for cause in CAUSES:
        lives, unknown, planned, early, fitted = lives_of(fleet, cause)
        failures = sum(failed for _, failed in lives)
        if not failures and not unknown:
            same("wear-out", str(cause in table), "False")
            continue
        row, where = table[cause], f"wear-out {cause} "
        for heading, count in [
            ("tools_with_the_component", fitted),
            ("failures", failures),
            ("still_running", len(lives) - failures - planned),
            ("ended_by_planned_service", planned),
            ("failures_of_unknown_age", unknown),
            ("services_before_the_record", early),
        ]:
            same(where + heading, row[heading], str(count))
        if failures < 5:
            same(where + "shape", row["shape"], None)
            continue
        times, failed = zip(*lives)
        fit = lifelines.WeibullFitter().fit(times, failed)
        shape, scale = fit.rho_, fit.lambda_
        covariance = fit.variance_matrix_.loc[["lambda_", "rho_"], ["lambda_", "rho_"]].to_numpy()
        d_shape, d_scale = math.sqrt(covariance[1, 1]) / shape, math.sqrt(covariance[0, 0]) / scale
        z = stats.norm.ppf(0.975)
        # lifelines stops where the likelihood no longer grows by much.
        near = 2e-4
        same(where + "shape", row["shape"], shape, near)
        same(where + "shape low", row["shape_low"], shape * math.exp(-z * d_shape), 2e-3)
        same(where + "shape high", row["shape_high"], shape * math.exp(z * d_shape), 2e-3)
        same(where + "scale", row["scale_days"], scale, near)
        same(where + "scale low", row["scale_days_low"], scale * math.exp(-z * d_scale), 2e-3)
        same(where + "scale high", row["scale_days_high"], scale * math.exp(z * d_scale), 2e-3)
        mean = scale * math.gamma(1 + 1 / shape)
        slopes = np.array([1 / scale, -special.digamma(1 + 1 / shape) / shape**2])
        spread = math.exp(z * math.sqrt(slopes @ covariance @ slopes))
        same(where + "mean", row["mean_life_days"], mean, near)
        same(where + "mean low", row["mean_life_days_low"], mean / spread, 3e-3)
        same(where + "mean high", row["mean_life_days_high"], mean * spread, 3e-3)
        chances[cause] = 2 * stats.norm.sf(abs(math.log(shape)) / d_shape)
        replacement(where, row, shape, scale)
    if chances:
        for cause, adjusted in zip(chances, multipletests(list(chances.values()), method="fdr_bh")[1]):
            same(f"wear-out {cause} adjusted", table[cause]["chance_if_random_adjusted"], adjusted, 2e-2, 1e-5)


def replacement(where, row, shape, scale):
    planned, failure = (float(row[name] or "nan") for name in ("planned_service_hours", "failure_hours"))
    if float(row["shape_low"]) <= 1 or not failure > planned:
        same(where + "plan", row["replace_every_days"], None)
        return
    survival = lambda age: math.exp(-((age / scale) ** shape))

    def rate(age):
        running = integrate.quad(survival, 0, age, epsabs=1e-12)[0]
        return (planned * survival(age) + failure * (1 - survival(age))) / running

    best = optimize.minimize_scalar(rate, bounds=(0.01 * scale, 5 * scale), method="bounded", options={"xatol": 1e-7 * scale})
    same(where + "age", row["replace_every_days"], best.x, 2e-3)
    same(where + "planned", row["planned_hours_a_year"], 365.25 * best.fun, 5e-4)
    unplanned = failure / (scale * math.gamma(1 + 1 / shape))
    same(where + "unplanned", row["unplanned_hours_a_year"], 365.25 * unplanned, 5e-4)
    same(where + "saved", row["saved_hours_a_year"], 365.25 * (unplanned - best.fun), 5e-3)


def main():
    program, seed, incidents = sys.argv[1], *(int(text) for text in (sys.argv[2:] + ["60611", "4000"][len(sys.argv) - 2 :]))
    made = subprocess.run(
        [program, "synthesise", "--incidents", str(incidents), "--seed", str(seed)], check=True, capture_output=True, text=True
    )
    rows = [json.loads(line) for line in made.stdout.splitlines()]
    names = sorted({row["tool"] for row in rows})
    undated = set(names[::7])
    for row in rows:
        details = row.get("tool_details") or {}
        if row["tool"] in undated:
            details.pop("in_service", None)
    with tempfile.TemporaryDirectory() as folder:
        served = Served(program, folder, rows)
        try:
            # Services of parts that wear, a year apart, on a third of the tools.
            worn = sorted({cause["component"] for cause in CAUSES.values() if cause.get("wears")})
            tools = {name: json.loads(served.get("/api/tools/" + urllib.parse.quote(name, safe=""))) for name in names}
            for at, name in enumerate(names[::3]):
                for component in worn:
                    if component in tools[name]["components"]:
                        on = f"{2019 + at % 5}-0{1 + at % 9}-15"
                        served.post(f"/api/tools/{name}/services", {"component": component, "on": on, "author": "reference"})
            tools = {name: json.loads(served.get("/api/tools/" + urllib.parse.quote(name, safe=""))) for name in names}
            cases = [Case(number, row) for number, row in enumerate(rows, 1) if row["status"] == "closed"]
            fleet = Fleet(cases, tools)
            shares(served, cases)
            trends(served, fleet, sorted({case.tool_class for case in cases}))
            reliability(served, fleet)
            wear_out(served, fleet)
        finally:
            served.process.terminate()
            served.process.wait()
    for line in wrong[:20]:
        print(line, file=sys.stderr)
    print(f"{len(cases)} closed incidents of {len(names)} tools, seed {seed}: {compared} numbers compared, {len(wrong)} different")
    sys.exit(1 if wrong else 0)


main()
