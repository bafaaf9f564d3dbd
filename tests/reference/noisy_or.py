"""Two-layer noisy-OR networks, as the scripts of this folder share them.

CONVENTION. A link's strength EXCLUDES the leak: with the faults in F present,

    P(yes | F) = 1 - (1 - leak) * product over f in F of (1 - strength_f)

so a fault alone makes the observation "yes" with 1 - (1 - leak)(1 - strength),
not with `strength`. pyagrum offers both conventions: its `addNoisyORNet` is
this one, its `addNoisyORCompound` (alias `addNoisyOR`) takes strengths that
include the leak. `check_convention` proves that against a table worked out by
hand; every script calls it before it trusts the library.

A network is a dict: {"id", "faults": {fault: prior}, "observations":
{name: {"leak", "links": {fault: strength}}}, "evidence": {name: true/false}},
plus "p_evidence" and "posterior" once they have been worked out.
"""

import json
import pathlib

import pyagrum as gum

HERE = pathlib.Path(__file__).parent
FORMAT = "noisy-or-networks/1"
CONVENTION = (
    "strengths exclude the leak: "
    "P(yes | faults) = 1 - (1-leak) * prod(1-strength_f for present f)"
)


def check_convention():
    """pyagrum's noisy-OR node against a hand table: leak 0.1, a 0.8, b 0.5."""
    bn = gum_network(
        {
            "faults": {"a": 0.3, "b": 0.3},
            "observations": {"o": {"leak": 0.1, "links": {"a": 0.8, "b": 0.5}}},
        }
    )
    by_hand = {(0, 0): 0.1, (1, 0): 0.82, (0, 1): 0.55, (1, 1): 0.91}
    for (a, b), yes in by_hand.items():
        got = bn.cpt("o")[{"a": a, "b": b}][1]
        assert abs(got - yes) < 1e-12, f"a={a} b={b}: {got}, by hand {yes}"


def gum_network(network):
    """The network in pyagrum, with its own noisy-OR nodes ("net" variant)."""
    bn = gum.BayesNet()
    for fault, prior in network["faults"].items():
        bn.add(gum.LabelizedVariable(fault, fault, 2))
        bn.cpt(fault).fillWith([1 - prior, prior])
    for name, obs in network["observations"].items():
        bn.addNoisyORNet(gum.LabelizedVariable(name, name, 2), obs["leak"])
        for fault, strength in obs["links"].items():
            bn.addWeightedArc(fault, name, strength)
    return bn


def gum_posterior(network):
    """(P(evidence), {fault: posterior}) from pyagrum, by exact inference."""
    bn = gum_network(network)
    engine = gum.LazyPropagation(bn)
    engine.setTargets(set(network["faults"]))
    engine.setEvidence({o: int(yes) for o, yes in network["evidence"].items()})
    engine.makeInference()
    posterior = {f: float(engine.posterior(f)[1]) for f in network["faults"]}
    return float(engine.evidenceProbability()), posterior


def random_network(rng, name, faults, observations, yes=None, no=None):
    """A seeded network. Without `yes` and `no`, at least one observation each
    is yes, no and unobserved and the others are drawn; with them, just so many
    are. Strengths stay below 1 and above 0, so no evidence is impossible."""
    links = [
        {f: round(rng.uniform(0.05, 0.99), 4)
         for f in sorted(rng.sample(range(faults), rng.randint(2, 6)))}
        for _ in range(observations)
    ]
    for f in range(faults):  # every fault shows in at least one observation
        if not any(f in row for row in links):
            row = rng.choice([row for row in links if len(row) < 6])
            row[f] = round(rng.uniform(0.05, 0.99), 4)
    if yes is None:
        answers = [True, False, None]
        answers += rng.choices(answers, k=observations - 3)
    else:
        answers = [True] * yes + [False] * no + [None] * (observations - yes - no)
    rng.shuffle(answers)
    return {
        "id": name,
        # Log-uniform priors: rare faults matter as much as common ones.
        "faults": {f"f{f}": round(0.005 * 60 ** rng.random(), 6) for f in range(faults)},
        "observations": {
            f"o{o}": {
                "leak": rng.choice([0.0, round(rng.uniform(0.0, 0.1), 4)]),
                "links": {f"f{f}": row[f] for f in sorted(row)},
            }
            for o, row in enumerate(links)
        },
        "evidence": {f"o{o}": a for o, a in enumerate(answers) if a is not None},
    }


def write_networks(path, made_by, networks):
    """Writes the networks, one a line, every number in full."""
    head = {"format": FORMAT, "made_by": made_by, "convention": CONVENTION}
    lines = [f" {json.dumps(k)}: {json.dumps(v)},\n" for k, v in head.items()]
    rows = ",\n".join("  " + json.dumps(n) for n in networks)
    path.write_text("{\n" + "".join(lines) + ' "networks": [\n' + rows + "\n ]\n}\n")


def read_networks(path):
    """The networks of a file in that format."""
    data = json.loads(path.read_text())
    assert data["format"] == FORMAT, data["format"]
    return data["networks"]
