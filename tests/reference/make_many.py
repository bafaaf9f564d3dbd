"""Makes many_findings.json: seeded two-layer noisy-OR networks in which 14 to
40 findings are all present, with P(evidence) and every fault's posterior.

    pip install -r requirements.txt && python make_many.py

CONVENTION: a link's strength EXCLUDES the leak, see noisy_or.py.

Each network is solved twice, and the two must agree to 1e-10 (posteriors
absolutely, P(evidence) relatively) before anything is written:

- pyagrum: its own noisy-OR nodes, LazyPropagation (the values written);
- pgmpy: a Markov network of the priors and of one full table for each finding,
  VariableElimination, asked for one fault at a time. (Its BeliefPropagation
  divides tables by each other and is wrong where a leak of 0 makes a 0.)

`width` is the largest number of neighbours when the vertices of the graph
finding--fault are eliminated one by one, always the one that needs fewest new
edges. Networks that are wider than WIDEST have no posterior: there only a bound
is asked for.
"""

import itertools
import logging
import random

import numpy as np
import pgmpy
import pyagrum as gum
from pgmpy.factors.discrete import DiscreteFactor
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteMarkovNetwork

from noisy_or import HERE, check_convention, gum_posterior, write_networks

SEED = 20260302
TOLERANCE = 1e-10
WIDEST = 16
# Networks whose tables are wider take pgmpy too long; another one is drawn.
WIDEST_TABLES = 15
# Faults, findings, most links of a finding.
SHAPES = [
    (15, 14, 5), (15, 25, 5), (15, 40, 5), (16, 30, 6), (16, 40, 6), (18, 40, 5),
    (20, 14, 5), (20, 30, 4), (20, 40, 4), (24, 20, 5), (24, 40, 3), (22, 30, 4),
    (30, 14, 5), (30, 20, 4), (30, 30, 3), (30, 40, 3), (36, 30, 3), (40, 14, 6),
    (40, 24, 4), (45, 40, 3), (60, 14, 6), (60, 30, 3), (60, 40, 3), (30, 40, 6),
    (60, 40, 6),
]
# The same with the width that is wanted: the widest that are summed.
WIDE = [(26, 36, 5, 13), (28, 34, 5, 14), (32, 40, 5, 15), (32, 40, 5, 16)]
WIDEST_TABLES_OF_WIDE = 16
# So many faults of those are asked of pgmpy, which takes minutes for each.
ASKED_OF_WIDE = 3


def width(near):
    """The largest number of neighbours in a min-fill elimination."""
    near, widest = {v: set(others) for v, others in near.items()}, 0
    while near:
        def fill(v):
            pairs = itertools.combinations(sorted(near[v]), 2)
            return sum(b not in near[a] for a, b in pairs)
        v = min(sorted(near), key=lambda v: (fill(v), len(near[v])))
        others = near.pop(v)
        widest = max(widest, len(others))
        for a in others:
            near[a] = (near[a] | others) - {a, v}
    return widest


def graphs(network):
    """Each vertex with its neighbours: findings--faults, and faults of one
    finding with each other, as a library has them that knows tables alone."""
    both = {v: set() for v in (*network["faults"], *network["observations"])}
    tables = {f: set() for f in network["faults"]}
    for o, obs in network["observations"].items():
        both[o] |= obs["links"].keys()
        for f in obs["links"]:
            both[f].add(o)
            tables[f] |= obs["links"].keys() - {f}
    return both, tables


def random_present(rng, name, faults, findings, most):
    """A seeded network whose findings are all present."""
    # Log-uniform priors: rare faults matter as much as common ones.
    priors = {f"f{f}": round(0.005 * 60 ** rng.random(), 6) for f in range(faults)}
    observations = {}
    for o in range(findings):
        links = sorted(rng.sample(range(faults), rng.randint(2, most)))
        observations[f"o{o}"] = {
            "leak": rng.choice([0.0, round(rng.uniform(0.0, 0.1), 4)]),
            "links": {f"f{f}": round(rng.uniform(0.05, 0.99), 4) for f in links},
        }
    evidence = {o: True for o in observations}
    return {"id": name, "faults": priors, "observations": observations, "evidence": evidence}


def pgmpy_posterior(network, asked=None):
    """(P(evidence), {fault: posterior}) from pgmpy, of so many faults. It gives only posteriors, so
    P(evidence) is asked for as odds: a switch that leaves the findings out."""
    faults = network["faults"]

    def engine(switch):
        model = DiscreteMarkovNetwork()
        model.add_nodes_from([*faults, *switch])
        factors = [DiscreteFactor([f], [2], [1 - p, p]) for f, p in faults.items()]
        factors += [DiscreteFactor([s], [2], [0.5, 0.5]) for s in switch]
        for obs in network["observations"].values():
            links = obs["links"]
            model.add_edges_from(itertools.combinations([*switch, *links], 2))
            # The last fault changes fastest.
            yes = [
                1 - (1 - obs["leak"]) * np.prod([1 - s for s, on in zip(links.values(), row) if on])
                for row in itertools.product([0, 1], repeat=len(links))
            ]
            values = [1.0] * len(yes) + yes if switch else yes
            scope = [*switch, *links]
            factors.append(DiscreteFactor(scope, [2] * len(scope), values))
        model.add_factors(*factors)
        return VariableElimination(model)

    def ask(engine, of):
        return engine.query([of], elimination_order="MinFill", show_progress=False).values

    def share(values):
        return float(values[1] / values.sum())

    seen = ask(engine(["switch"]), "switch")
    plain = engine([])
    return float(seen[1] / seen[0]), {f: share(ask(plain, f)) for f in list(faults)[:asked]}


def main():
    logging.getLogger("pgmpy").setLevel(logging.WARNING)
    check_convention()
    rng = random.Random(SEED)
    networks, worst = [], 0.0
    for i, (*shape, wanted) in enumerate([*[(*s, None) for s in SHAPES], *WIDE]):
        widest_tables = WIDEST_TABLES if wanted is None else WIDEST_TABLES_OF_WIDE
        while True:
            network = random_present(rng, f"many-{i}", *shape)
            network["width"], tables = map(width, graphs(network))
            if wanted not in (None, network["width"]):
                continue
            if network["width"] > WIDEST or tables <= widest_tables:
                break
        if network["width"] <= WIDEST:
            asked = None if wanted is None else ASKED_OF_WIDE
            answer, other = gum_posterior(network), pgmpy_posterior(network, asked)
            diff = max(
                abs(answer[0] / other[0] - 1),
                *(abs(answer[1][f] - other[1][f]) for f in other[1]),
            )
            assert diff <= TOLERANCE, f"{network['id']}: the two differ by {diff}"
            worst = max(worst, diff)
            network["p_evidence"], network["posterior"] = answer
        networks.append(network)
        print(network["id"], shape, "width", network["width"], flush=True)
    made_by = (
        f"make_many.py, seed {SEED}: pyagrum {gum.__version__}, agreeing to {TOLERANCE}"
        f" with pgmpy {pgmpy.__version__}"
    )
    write_networks(HERE / "many_findings.json", made_by, networks)
    print(f"{len(networks)} networks; largest difference {worst:.1e}")


if __name__ == "__main__":
    main()
