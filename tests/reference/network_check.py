"""Works the belief of seeded jobs out again from what `replay --network` prints.

    pip install --no-deps -r requirements-light.txt
    python network_check.py path/to/halfsplit [JOBS]

The rules of the folder lamps/ have two copies with shared parts, and every sort of
finding: function checks, looks with several outcomes, swaps, readings of a line in
ohms and volts that hang together, remedies that may fail and may break something.
Each job is drawn; its network goes to a Bayesian-network library as it was printed,
a fault that something is done about as one node before and one after. Posteriors may
differ by 1e-9 at most, and by what the program itself says that it left out: large
sets of faults of one line. Exits 1 if any does.
"""

import json
import pathlib
import random
import subprocess
import sys
import tempfile

import numpy
import pyagrum as gum

from noisy_or import HERE

TOLERANCE = 1e-9
RULES = HERE / "lamps"
VALUES = {
    "pad-ohms": ["0.3", "40", "180", "600", "900", "1.5k", "8k", "200k", "OL", "good"],
    "pad-volts": ["0", "0.4", "1.7", "3.0", "3.3", "3.45", "5", "good"],
}
WORDS = {
    "light-try": ["yes", "no"],
    "setting-look": ["on", "off"],
    "plug-look": ["seated", "raised", "out"],
    "good-module-light": ["works", "fails"],
}
REMEDIES = ["new-module", "reseat", "new-fuse", "set-on", "repair-feed"]
SHARED = {"setting-look", "set-on", "repair-feed"}


def named(rng, step):
    """A step of one of the copies; what both share has no copy."""
    return f"{'lamp' if step in SHARED else rng.choice(['left-lamp', 'right-lamp'])}/{step}"


def job(seed):
    """A job as YAML."""
    rng = random.Random(seed)
    lines = [f"case: seed {seed}", "device: {kind: handheld}",
             f"complaint: the {rng.choice(['left', 'right'])} lamp is dark", "steps:"]
    for _ in range(rng.randint(1, 7)):
        if rng.random() < 0.25:
            lines.append(f"  - remedy: {{did: {named(rng, rng.choice(REMEDIES))}}}")
            continue
        test = rng.choice([*VALUES, *WORDS])
        shows = rng.choice(VALUES.get(test) or WORDS[test])
        lines.append(f"  - result: {{test: {named(rng, test)}, shows: '{shows}'}}")
    return "\n".join(lines) + "\n"


def replayed(binary, text, folder):
    """A job's network and what was left out; None where an entry is refused."""
    path = folder / "job.yaml"
    path.write_text(text)
    run = subprocess.run(
        [binary, "replay", str(path), "--only-these-rules", "--rules", str(RULES),
         "--candidates", "all", "--format", "json", "--network"],
        capture_output=True, text=True, timeout=60, check=False,
    )
    if run.returncode != 0:
        return None
    shown = json.loads(run.stdout)
    return shown["network"], shown["end"]["belief"].get("left_out", 0.0)


def rows_of(rows, present):
    """The mean of the rows of the largest listed sets within one."""
    within = [r for r in rows if set(r["faults"]) <= present]
    size = max(len(r["faults"]) for r in within)
    largest = [r["chances"] for r in within if len(r["faults"]) == size]
    return numpy.mean(largest, axis=0)


def likelihood(finding, outcome, present):
    """How likely an outcome is with exactly these faults, as docs/json.md has it."""
    acts = finding["acts"]
    if "alone" in acts:
        at_most = numpy.array(acts["alone"]["no_fault_at_most"])
        for link in acts["alone"]["links"]:
            if link["fault"] in present:
                at_most = at_most * numpy.array(link["at_most"])
        edges = numpy.concatenate([[0.0], at_most, [1.0]])
        truly = edges[outcome + 1] - edges[outcome]
    else:
        truly = rows_of(acts["together"]["rows"], present)[outcome]
    return (1 - finding["misread"]) * truly + finding["misread"] * finding["at_random"][outcome]


def sees(finding):
    """The faults that a finding depends on."""
    acts = finding["acts"]
    if "alone" in acts:
        return [link["fault"] for link in acts["alone"]["links"]]
    return sorted({f for row in acts["together"]["rows"] for f in row["faults"]})


def posterior(network):
    """{fault: posterior} from the library."""
    bn = gum.BayesNet()
    now = {}
    for number, fault in enumerate(network["faults"]):
        now[fault["fault"]] = node = f"f{number}"
        bn.add(gum.LabelizedVariable(node, node, 2))
        bn.cpt(node).fillWith([1 - fault["prior"], fault["prior"]])
    evidence = {}
    for number, event in enumerate(network["events"]):
        if "seen" in event:
            finding, outcome = event["seen"]["finding"], event["seen"]["outcome"]
            node, faults = f"e{number}", sees(event["seen"]["finding"])
            bn.add(gum.LabelizedVariable(node, node, 2))
            for fault in faults:
                bn.addArc(now[fault], node)
            table = {}
            for bits in range(2 ** len(faults)):
                present = {f for i, f in enumerate(faults) if bits >> i & 1}
                table[bits] = likelihood(finding, outcome, present)
            # A density may be above one: only ratios matter.
            most = max(table.values())
            for bits, value in table.items():
                of = {now[f]: bits >> i & 1 for i, f in enumerate(faults)}
                bn.cpt(node)[of] = [1 - value / most, value / most]
            evidence[node] = 1
            continue
        clears = {c["fault"]: c["chance"] for c in event["changed"]["clears"]}
        brings = {c["fault"]: c["chance"] for c in event["changed"]["brings"]}
        for fault in sorted(clears.keys() | brings.keys()):
            node = f"{now[fault]}_{number}"
            bn.add(gum.LabelizedVariable(node, node, 2))
            bn.addArc(now[fault], node)
            for was in (0, 1):
                stays = was * (1 - clears.get(fault, 0.0))
                there = stays + (1 - stays) * brings.get(fault, 0.0)
                bn.cpt(node)[{now[fault]: was}] = [1 - there, there]
            now[fault] = node
    engine = gum.LazyPropagation(bn)
    engine.setTargets(set(now.values()))
    engine.setEvidence(evidence)
    engine.makeInference()
    return {fault: float(engine.posterior(node)[1]) for fault, node in now.items()}


def main():
    """Checks as many jobs as are asked for."""
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    binary = str(pathlib.Path(sys.argv[1]).resolve())
    jobs = int(sys.argv[2]) if len(sys.argv) > 2 else 60
    worst, checked, whole, sorts = 0.0, 0, 0, set()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(jobs):
            shown = replayed(binary, job(seed), pathlib.Path(folder))
            if shown is None:
                continue
            network, left_out = shown
            want = posterior(network)
            off = max(abs(f["posterior"] - want[f["fault"]]) for f in network["faults"])
            if not off <= TOLERANCE + left_out:
                sys.exit(f"seed {seed}: {off:.1e} off, {left_out:.1e} left out\n{job(seed)}")
            if left_out < TOLERANCE:
                worst, whole = max(worst, off), whole + 1
            checked += 1
            for event in network["events"]:
                seen = event.get("seen", {}).get("finding", {}).get("acts", {"changed": 0})
                sorts.update(seen)
    print(f"pyagrum {gum.__version__}; {checked} of {jobs} jobs within what was left out; "
          f"in {whole} nothing was, largest difference {worst:.1e}")
    enough = whole > jobs / 4 and checked > jobs / 2
    sys.exit(0 if enough and sorts == {"alone", "together", "changed"} else 1)


if __name__ == "__main__":
    main()
