"""How long pyagrum needs for all posteriors of a 15- and a 120-fault network.

    pip install --no-deps -r requirements-light.txt
    python bench_pyagrum.py [TIMES] [--write]

TIMES is a file of lines `NAME seconds`; NAME is `faults-15` or `faults-120`,
other lines are passed over. It adds the ratio: pyagrum's best time by it.
The networks are in bench_networks.json with pyagrum's exact posteriors;
`--write` makes that file anew (it is made when missing, too).

CONVENTION: a link's strength EXCLUDES the leak,
P(yes | faults) = 1 - (1-leak) * prod(1-strength_f for present f); see
noisy_or.py.

What is timed is in pyagrum's favour. A run is: new engine, faults as targets,
evidence set, `makeInference`, `posterior` of every fault. Not timed: building
the network (with its tables filled in: some 10 % faster here than noisy-OR nodes,
which work out each entry when asked), and turning the posteriors into Python
numbers (some 0.02 ms each). Two forms of each network:

- as given: the library finds the unobserved observations irrelevant by itself.
  (Only with the faults as targets. By default every node is one: then the
  120-fault network took more than 24 GB. Do not try it.)
- absorbed: the "no" observations, which a noisy-OR lets one multiply into the
  priors, are multiplied in beforehand and the faults without a "yes" left out;
  neither is timed. Their posterior is the new prior.

Each is run with Shafer-Shenoy, LazyPropagation and VariableElimination; best of
RUNS runs each, garbage collection off. The answers of all ways must agree
to 1e-10, also with inclusion-exclusion over the "yes" observations in 60-digit
decimals and with the committed file.
"""

import argparse
import gc
import itertools
import pathlib
import random
import time
from decimal import Decimal, localcontext

from noisy_or import (
    HERE, check_convention, gum, gum_network, gum_posterior, random_network,
    read_networks, write_networks,
)

SEED = 20240229
RUNS = 50
TOLERANCE = 1e-10
FILE = HERE / "bench_networks.json"
ENGINES = (gum.ShaferShenoyInference, gum.LazyPropagation, gum.VariableElimination)


def make():
    """Writes the two networks with pyagrum's exact posteriors."""
    rng = random.Random(SEED)
    networks = [
        random_network(rng, "faults-15", 15, 10, yes=3, no=3),
        random_network(rng, "faults-120", 120, 60, yes=6, no=10),
    ]
    for network in networks:
        network["p_evidence"], network["posterior"] = gum_posterior(network)
    write_networks(
        FILE, f"bench_pyagrum.py, seed {SEED}: pyagrum {gum.__version__}", networks
    )


def absorbed(network):
    """(what is left once the "no" observations are in the priors, and the
    posteriors that are known by then)."""
    priors, positive = dict(network["faults"]), {}
    for name, yes in network["evidence"].items():
        obs = network["observations"][name]
        if yes:
            positive[name] = obs
            continue
        for f, s in obs["links"].items():
            priors[f] = priors[f] * (1 - s) / (1 - priors[f] * s)
    open_ = {f for obs in positive.values() for f in obs["links"]}
    left = {
        "faults": {f: p for f, p in priors.items() if f in open_},
        "observations": positive,
        "evidence": {name: True for name in positive},
    }
    return left, {f: p for f, p in priors.items() if f not in open_}


def exact(network):
    """(P(evidence), posteriors) by inclusion-exclusion over the "yes"
    observations, with digits enough that nothing cancels."""
    with localcontext() as context:
        context.prec = 60
        faults = {f: Decimal(p) for f, p in network["faults"].items()}
        observations = network["observations"]
        yes = [o for o, answer in network["evidence"].items() if answer]
        no = [o for o, answer in network["evidence"].items() if not answer]
        total, joint = Decimal(0), dict.fromkeys(faults, Decimal(0))
        for size in range(len(yes) + 1):
            for some in itertools.combinations(yes, size):
                term, share = Decimal((-1) ** size), dict(faults)
                for o in (*some, *no):
                    term *= 1 - Decimal(observations[o]["leak"])
                    for f, s in observations[o]["links"].items():
                        share[f] *= 1 - Decimal(s)
                for f, p in faults.items():
                    term *= 1 - p + share[f]
                total += term
                for f, p in faults.items():
                    joint[f] += term * share[f] / (1 - p + share[f])
        return float(total), {f: float(j / total) for f, j in joint.items()}


def with_tables(bn):
    """The same network with plain tables in place of noisy-OR nodes."""
    plain = gum.BayesNet()
    for name in bn.names():
        plain.add(gum.LabelizedVariable(name, name, 2))
    for name in bn.names():
        for parent in bn.cpt(name).names[1:]:
            plain.addArc(parent, name)
        plain.cpt(name).fillWith(bn.cpt(name))
    return plain


def best_time(engine_class, network):
    """(seconds of the best run, posteriors)."""
    bn = with_tables(gum_network(network))
    faults = {f: bn.idFromName(f) for f in network["faults"]}
    targets = set(faults.values())
    evidence = {o: int(yes) for o, yes in network["evidence"].items()}
    best = float("inf")
    gc.disable()
    for _ in range(RUNS):
        start = time.perf_counter()
        engine = engine_class(bn)
        engine.setTargets(targets)
        engine.setEvidence(evidence)
        engine.makeInference()
        answer = [engine.posterior(f) for f in faults.values()]
        best = min(best, time.perf_counter() - start)
    gc.enable()
    return best, {f: float(a[1]) for f, a in zip(faults, answer)}


def agree(got, expected, what):
    """Asserts that two sets of posteriors agree."""
    assert got.keys() == expected.keys(), what
    diff = max(abs(got[f] - expected[f]) for f in expected)
    assert diff <= TOLERANCE, f"{what}: differs by {diff}"


def main():
    parser = argparse.ArgumentParser(usage="bench_pyagrum.py [TIMES] [--write]")
    parser.add_argument("times", nargs="?", type=pathlib.Path)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    times = {}
    if options.times:
        lines = (line.split() for line in options.times.read_text().splitlines())
        times = {line[0]: float(line[1]) for line in lines if len(line) == 2}
    check_convention()
    if options.write or not FILE.exists():
        make()
    print(f"pyagrum {gum.__version__}, {gum.getNumberOfThreads()} threads, best of {RUNS}")
    for network in read_networks(FILE):
        name, committed = network["id"], network["posterior"]
        p_evidence, posterior = exact(network)
        assert abs(network["p_evidence"] / p_evidence - 1) <= TOLERANCE, name
        agree(posterior, committed, f"{name} inclusion-exclusion")
        left, known = absorbed(network)
        for form, given, rest in (("as given", network, {}), ("absorbed", left, known)):
            results = []
            for engine in ENGINES:
                seconds, got = best_time(engine, given)
                agree(got | rest, committed, f"{name} {form} {engine.__name__}")
                results.append((seconds, engine.__name__))
                print(f"{name:<11} {form}  {engine.__name__:<22} {seconds * 1e3:9.3f} ms")
            best, way = min(results)
            if name in times:
                print(f"{name:<11} {form}  pyagrum's best ({way}) {best:.6f} s / "
                      f"{times[name]:.6g} s = {best / times[name]:.2f} times")
    for missing in sorted({"faults-15", "faults-120"} - times.keys() if times else ()):
        print(f"no time for {missing} in {options.times.name}")


if __name__ == "__main__":
    main()
