"""Exact inference on small isolation tables with pgmpy; JSON in on stdin, JSON out on stdout.

Each table becomes a network: hypothesis and sample are roots, every ask is a child of both. Takes
are virtual evidence on the asks. Answers: the posterior of each hypothesis, and for each ask
without evidence the mutual information, in bits, of equivalence group and outcome.
"""

import json
import sys

import numpy as np
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork
from scipy.stats import entropy

MISTAKEN = 0.02


def live_of(ask):
    return [c for c in range(6) if ask["live"] >> c & 1]


def distribution(ask, row):
    live = live_of(ask)
    codes = np.array([ask["rows"][row][c] for c in live], dtype=float)
    p = np.where(codes == 255, 0.0, np.exp(-codes / 20))
    return (1 - MISTAKEN) * p / p.sum() + MISTAKEN / len(live)


def solve(case):
    samples = case["samples"]
    priors = np.array(case["priors"], dtype=float)
    priors /= priors.sum()
    count = len(priors)
    names = [f"ask{a}" for a in range(len(case["asks"]))]
    edges = [(root, name) for name in names for root in ("h", "s")]
    network = DiscreteBayesianNetwork(edges)
    network.add_cpds(
        TabularCPD("h", count, priors.reshape(-1, 1)),
        TabularCPD("s", samples, np.full((samples, 1), 1 / samples)),
    )
    for name, ask in zip(names, case["asks"]):
        # Columns: hypothesis by hypothesis, its samples side by side, as in the table's cells.
        columns = np.array([distribution(ask, cell) for cell in ask["cells"]]).T
        network.add_cpds(
            TabularCPD(name, len(columns), columns, evidence=["h", "s"], evidence_card=[count, samples])
        )
    network.check_model()
    virtual = [
        TabularCPD(f"ask{a}", len(live_of(case["asks"][a])), [[weights[c]] for c in live_of(case["asks"][a])])
        for a, weights in case["evidence"]
    ]
    inference = VariableElimination(network)
    posterior = inference.query(["h"], virtual_evidence=virtual, show_progress=False)
    groups = np.array(case["groups"])
    answered = {a for a, _ in case["evidence"]}
    bits = []
    for a, name in enumerate(names):
        if a in answered:
            bits.append(None)
            continue
        both = inference.query(["h", name], virtual_evidence=virtual, show_progress=False)
        joint = both.values if both.variables[0] == "h" else both.values.T
        joint = np.array([joint[groups == g].sum(axis=0) for g in range(groups.max() + 1)])
        bits.append(
            float(entropy(joint.sum(axis=0), base=2) + entropy(joint.sum(axis=1), base=2) - entropy(joint.ravel(), base=2))
        )
    return {"posterior": posterior.values.tolist(), "information": bits}


json.dump([solve(case) for case in json.load(sys.stdin)], sys.stdout)
