"""Makes networks.json: 60 seeded two-layer noisy-OR networks with mixed
evidence, their P(evidence) and every fault's posterior.

    pip install -r requirements.txt && python make_networks.py

CONVENTION: a link's strength EXCLUDES the leak,
P(yes | faults) = 1 - (1-leak) * prod(1-strength_f for present f); see
noisy_or.py.

Each network is solved three times, and the three must agree to 1e-10
(posteriors absolutely, P(evidence) relatively) before anything is written:

- pyagrum: its own noisy-OR nodes, exact inference (the values written);
- pgmpy: full conditional tables filled from the formula above,
  VariableElimination; P(evidence) by the chain rule, one answer at a time;
- numpy: the sum over all 2^n sets of faults, written out.

The networks are the same in every run; pyagrum's answers are not, in their
last bits (some 1e-16).
"""

import itertools
import logging
import random

import numpy as np
import pgmpy
import pyagrum as gum
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

from noisy_or import (
    HERE, check_convention, gum_posterior, random_network, write_networks,
)

SEED = 20240229
COUNT = 60
TOLERANCE = 1e-10


def pgmpy_posterior(network):
    """(P(evidence), {fault: posterior}) from pgmpy, with full tables."""
    faults, evidence = network["faults"], network["evidence"]
    model = DiscreteBayesianNetwork()
    model.add_nodes_from(faults)
    model.add_cpds(*(TabularCPD(f, 2, [[1 - p], [p]]) for f, p in faults.items()))
    for name, obs in network["observations"].items():
        links = obs["links"]
        model.add_edges_from((f, name) for f in links)
        # Columns in pgmpy's order: the last parent changes fastest.
        no = [
            (1 - obs["leak"]) * np.prod([1 - s for s, on in zip(links.values(), row) if on])
            for row in itertools.product([0, 1], repeat=len(links))
        ]
        yes = [1 - n for n in no]
        model.add_cpds(TabularCPD(name, 2, [no, yes], list(links), [2] * len(links)))
    model.check_model()
    engine = VariableElimination(model)
    ask = {"show_progress": False}

    p_evidence, seen = 1.0, {}
    for name, yes in evidence.items():
        p_evidence *= engine.query([name], evidence=seen, **ask).values[int(yes)]
        seen = seen | {name: int(yes)}
    posterior = {
        f: float(engine.query([f], evidence=seen, **ask).values[1]) for f in faults
    }
    return float(p_evidence), posterior


def brute_force(network):
    """The same by summing over every set of faults."""
    faults = network["faults"]
    n = len(faults)
    column = {f: i for i, f in enumerate(faults)}
    present = (np.arange(2**n)[:, None] >> np.arange(n)) & 1 == 1
    priors = np.array(list(faults.values()))
    weight = np.where(present, priors, 1 - priors).prod(axis=1)
    for name, yes in network["evidence"].items():
        obs = network["observations"][name]
        no = np.full(2**n, 1 - obs["leak"])
        for f, s in obs["links"].items():
            no[present[:, column[f]]] *= 1 - s
        weight *= 1 - no if yes else no
    total = weight.sum()
    return float(total), {f: float(weight[present[:, i]].sum() / total) for f, i in column.items()}


def difference(a, b):
    """The largest difference of two answers."""
    (pa, qa), (pb, qb) = a, b
    return max(abs(pa / pb - 1), *(abs(qa[f] - qb[f]) for f in qa))


def main():
    logging.getLogger("pgmpy").setLevel(logging.WARNING)
    check_convention()
    rng = random.Random(SEED)
    networks, worst = [], {"pgmpy": 0.0, "numpy": 0.0}
    for i in range(COUNT):
        network = random_network(rng, f"net-{i}", rng.randint(8, 16), rng.randint(4, 10))
        answer = gum_posterior(network)
        for other, solve in (("pgmpy", pgmpy_posterior), ("numpy", brute_force)):
            diff = difference(answer, solve(network))
            assert diff <= TOLERANCE, f"{network['id']}: pyagrum and {other} differ by {diff}"
            worst[other] = max(worst[other], diff)
        network["p_evidence"], network["posterior"] = answer
        networks.append(network)
    made_by = (
        f"make_networks.py, seed {SEED}: pyagrum {gum.__version__}, agreeing to {TOLERANCE}"
        f" with pgmpy {pgmpy.__version__} and with enumeration in numpy {np.__version__}"
    )
    write_networks(HERE / "networks.json", made_by, networks)
    print(f"{COUNT} networks; largest difference from pyagrum:",
          ", ".join(f"{k} {v:.1e}" for k, v in worst.items()))


if __name__ == "__main__":
    main()
