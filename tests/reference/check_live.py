"""Compares halfsplit's posteriors with those of a Bayesian-network library.

    pip install --no-deps -r requirements-light.txt
    python check_live.py path/to/halfsplit

Every network of networks.json becomes a rule file and a case; the last state
of `halfsplit replay` is compared with what pyagrum works out in this very run
and with the committed values. Posteriors may differ by 1e-9 at most, the
log2 of P(evidence) by 1e-9 of itself. Exits 1 if any network failed.

CONVENTION: a link's strength EXCLUDES the leak,
P(yes | faults) = 1 - (1-leak) * prod(1-strength_f for present f); see
noisy_or.py.
"""

import json
import math
import pathlib
import subprocess
import sys
import tempfile

from noisy_or import HERE, check_convention, gum, gum_posterior, read_networks

TOLERANCE = 1e-9


def rules(network):
    """The network as a rule file in its smallest form."""
    def flow(numbers):
        return "{" + ", ".join(f"{k}: {v!r}" for k, v in numbers.items()) + "}"

    lines = [
        "pack: net",
        "source: seeded random network",
        f"faults: {flow(network['faults'])}",
        "observations:",
    ]
    for name, obs in network["observations"].items():
        lines.append(f"  {name}: {{leak: {obs['leak']!r}, links: {flow(obs['links'])}}}")
    return "\n".join(lines) + "\n"


def case(network):
    """The network's evidence as the steps of a case."""
    lines = [f"case: {network['id']}", "steps:"]
    for name, yes in network["evidence"].items():
        answer = "yes" if yes else "no"
        lines.append(f'  - result: {{test: {name}, shows: "{answer}"}}')
    return "\n".join(lines) + "\n"


def replayed(binary, network, folder):
    """(log2 P(evidence), {fault: posterior}) as halfsplit has them."""
    (folder / "net.yaml").write_text(rules(network))
    (folder / "case.yaml").write_text(case(network))
    run = subprocess.run(
        [binary, "replay", "case.yaml", "--rules", "net.yaml", "--only-these-rules",
         "--candidates", "all", "--format", "json"],
        cwd=folder, capture_output=True, text=True, timeout=60,
    )
    if run.returncode != 0:
        raise ValueError(f"exit {run.returncode}: {run.stderr.strip() or run.stdout.strip()}")
    belief = json.loads(run.stdout)["end"]["belief"]
    suspects = {s["fault"]: s["posterior"] for s in belief["suspects"]}
    if len(suspects) != len(belief["suspects"]) or set(suspects) != set(network["faults"]):
        raise ValueError(f"suspects are {sorted(suspects)}")
    return belief["evidence_log2"], suspects


def compare(log2_evidence, posterior, against, p_evidence, expected):
    """The largest posterior difference; raises when anything is too far off."""
    fault = max(expected, key=lambda f: abs(posterior[f] - expected[f]))
    diff = abs(posterior[fault] - expected[fault])
    # `not <=` so that a NaN fails too.
    if not all(abs(posterior[f] - expected[f]) <= TOLERANCE for f in expected):
        raise ValueError(f"{fault}: {posterior[fault]!r}, {against} {expected[fault]!r}")
    want = math.log2(p_evidence)
    if not abs(log2_evidence - want) <= TOLERANCE * abs(want):
        raise ValueError(f"evidence_log2: {log2_evidence!r}, {against} {want!r}")
    return diff


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    binary = str(pathlib.Path(sys.argv[1]).resolve())
    check_convention()
    passed = failed = 0
    worst = 0.0
    for network in read_networks(HERE / "networks.json"):
        try:
            with tempfile.TemporaryDirectory() as folder:
                got = replayed(binary, network, pathlib.Path(folder))
            live = gum_posterior(network)
            committed = network["p_evidence"], network["posterior"]
            for against, want in (("pyagrum now", live), ("committed", committed)):
                worst = max(worst, compare(*got, against, *want))
            passed += 1
        except (ValueError, KeyError, TypeError, OSError, subprocess.TimeoutExpired) as wrong:
            failed += 1
            print(f"{network['id']}: {type(wrong).__name__}: {wrong}")
    print(f"pyagrum {gum.__version__}; largest posterior difference {worst:.1e}")
    print(f"{passed} passed, {failed} failed")
    sys.exit(1 if failed or not passed else 0)


if __name__ == "__main__":
    main()
