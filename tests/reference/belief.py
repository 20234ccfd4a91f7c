"""Makes belief.json: 200 random small models and their posteriors by variable elimination.

Needs pgmpy and numpy; the versions used are written into the file. Prior, share for a
cause that is not listed, and the meaning of the chances are those of the belief module:
a search without a listed cause came from something else, or gave up on a listed cause,
whose signs and isolating checks are as ever while no other check finds it.
"""

import json
import pathlib
import sys

import numpy
import pgmpy
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

UNLISTED_SHARE = 0.03
GIVEN_UP = 0.5
rng = numpy.random.default_rng(49)


def chance(low=0.02, high=0.98):
    return float(rng.uniform(low, high))


def model():
    causes, signs, checks = (int(rng.integers(1, high)) for high in (7, 6, 4))
    weights = [float(weight) for weight in rng.gamma(1.0, 2.0, causes) + 0.05]
    background = [chance() for _ in range(signs)]
    listed = [[chance() if rng.uniform() < 0.6 else None for _ in range(signs)] for _ in range(causes)]
    alarms = [chance(0.01, 0.3) for _ in range(checks)]
    reveals = [[chance() if rng.uniform() < 0.5 else None for _ in range(checks)] for _ in range(causes)]
    seen = [bool(rng.integers(2)) if rng.uniform() < 0.8 else None for _ in range(signs)]
    outcomes = [bool(rng.integers(2)) if rng.uniform() < 0.7 else None for _ in range(checks)]

    total = sum(weights) / (1 - UNLISTED_SHARE)
    isolating = [bool(rng.uniform() < 0.4) for _ in range(checks)]
    prior = [[weight / total] for weight in weights] + [[UNLISTED_SHARE * (1 - GIVEN_UP)]]
    prior += [[UNLISTED_SHARE * GIVEN_UP * weight / sum(weights)] for weight in weights]
    network = DiscreteBayesianNetwork()
    network.add_node("cause")
    network.add_cpds(TabularCPD("cause", 2 * causes + 1, prior))
    evidence = {}
    for name, table, default, values in (("sign", listed, background, seen), ("check", reveals, alarms, outcomes)):
        for at, value in enumerate(values):
            node = f"{name}{at}"
            listed_yes = [row[at] if row[at] is not None else default[at] for row in table]
            hidden = name == "check" and not isolating[at]
            given_up = [default[at]] * causes if hidden else listed_yes
            yes = listed_yes + [default[at]] + given_up
            network.add_edge("cause", node)
            network.add_cpds(
                TabularCPD(node, 2, [[1 - p for p in yes], yes], evidence=["cause"], evidence_card=[2 * causes + 1])
            )
            if value is not None:
                evidence[node] = int(value)
    network.check_model()
    posterior = VariableElimination(network).query(["cause"], evidence=evidence, show_progress=False)
    return {
        "weights": weights,
        "background": background,
        "signs": listed,
        "false_alarm": alarms,
        "reveals": reveals,
        "seen": seen,
        "outcomes": outcomes,
        "isolating": isolating,
        "posterior": [float(value) for value in posterior.values[:causes]]
        + [float(sum(posterior.values[causes:]))],
    }


made = {
    "made_with": {
        "python": sys.version.split()[0],
        "numpy": numpy.__version__,
        "pgmpy": pgmpy.__version__,
    },
    "models": [model() for _ in range(200)],
}
path = pathlib.Path(__file__).with_suffix(".json")
path.write_text(json.dumps(made) + "\n")
