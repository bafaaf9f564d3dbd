#!/usr/bin/env python3
"""Holds one program to what another shows: the same steps by id, outcomes and
posteriors, and the same words, on seeded jobs. For changes that must change nothing.

    same.py draw OLD FOLDER [COUNT]    draws jobs with a program and keeps what it shows
    same.py check NEW FOLDER           works the same jobs with another one

Each job is a complaint of a kind of device with some steps: what is advised, or any
other of the first few, with an outcome or a value drawn.
"""
import json
import math
import random
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

COMPLAINTS = [
    ("phone", "it will not charge"),
    ("phone", "charges very slowly and gets warm"),
    ("phone", "rear camera is black"),
    ("phone", "both cameras are dead since it fell"),
    ("tablet", "it does not charge and the rear camera is blurred"),
    ("tablet", "front camera shows lines"),
    ("laptop", "dead, nothing happens when I press the power button"),
    ("laptop", "the webcam is not found since the update"),
    ("laptop", "does not charge, the plug is loose"),
    ("handheld", "the scanner reads nothing"),
    ("handheld", "no charge in the cradle"),
    ("phone", "there was smoke from the port"),
    ("laptop", "I spilled coffee over it and now it does not charge"),
    ("phone", "the speaker crackles"),
    ("tablet", "does not start any more"),
]
VALUES = {
    "ohm": ["0.4", "12", "300", "2.2k", "47k", "550k", "4M", "OL", "good", "low"],
    "V": ["0", "0.2", "0.9", "1.25", "1.8", "3.3", "4.2", "5.1", "good"],
}
STEPS = 6
# Sums in another order round differently.
CLOSE = 1e-9


def replay(program, path):
    """What a program shows of a case file."""
    run = subprocess.run(
        [program, "replay", str(path), "--format", "json"],
        capture_output=True, text=True, check=False,
    )
    return json.loads(run.stdout) if run.stdout.strip() else {"error": run.stderr.strip()}


def entry(rng, step):
    """One entry for a step that is advised, as YAML."""
    if step["act"] == "remedy":
        return f"  - remedy: {{did: {step['id']}}}\n"
    outcomes = [o["shows"] for o in step["outcomes"]] or ["yes", "no"]
    unit = step.get("unit")
    measured = unit or ("ol" in outcomes and "ohm") or None
    if measured is None and step["id"].endswith("-ohms"):
        measured = "ohm"
    if measured is None and step["id"].endswith(("-volts", "-diode")):
        measured = "V"
    shows = rng.choice(VALUES[measured]) if measured in VALUES and rng.random() < 0.7 else rng.choice(outcomes)
    if rng.random() < 0.06:
        return f"  - unclear: {{test: {step['id']}}}\n"
    return f"  - result: {{test: {step['id']}, shows: '{shows}'}}\n"


def draw(program, folder, seed):
    """Draws one job; what cannot be entered is left out."""
    rng = random.Random(seed)
    kind, complaint = rng.choice(COMPLAINTS)
    head = f"case: seed {seed}\ndevice: {{kind: {kind}}}\ncomplaint: {complaint}\n"
    path = folder / f"{seed}.yaml"
    path.write_text(head)
    shown, steps = replay(program, path), ""
    for _ in range(rng.randint(1, STEPS)):
        advised = shown.get("end", {}).get("next", {}).get("steps", [])
        if not advised:
            break
        more = steps + entry(rng, rng.choice(advised))
        path.write_text(head + "steps:\n" + more)
        then = replay(program, path)
        if "error" not in then:
            shown, steps = then, more
    path.write_text(head + ("steps:\n" + steps if steps else ""))
    (folder / f"{seed}.json").write_text(json.dumps(shown))


def differences(old, new, at=""):
    """Where two forms differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            if key not in old or key not in new:
                yield f"{at}/{key}: only in the {'old' if key in old else 'new'}"
            else:
                yield from differences(old[key], new[key], f"{at}/{key}")
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{at}: {len(old)} became {len(new)}"
        for n, (a, b) in enumerate(zip(old, new)):
            yield from differences(a, b, f"{at}/{n}")
    elif isinstance(old, float) or isinstance(new, float):
        if not math.isclose(old, new, rel_tol=CLOSE, abs_tol=CLOSE):
            yield f"{at}: {old} became {new}"
    elif old != new:
        yield f"{at}: {old!r} became {new!r}"


def check(program, folder, path):
    """What differs in one job."""
    old = json.loads(path.read_text())
    return [f"{path.stem}{d}" for d in differences(old, replay(program, path.with_suffix(".yaml")))]


def main():
    """Draws or checks."""
    act, program, folder = sys.argv[1], sys.argv[2], Path(sys.argv[3])
    with ThreadPoolExecutor(2) as pool:
        if act == "draw":
            folder.mkdir(parents=True, exist_ok=True)
            count = int(sys.argv[4]) if len(sys.argv) > 4 else 500
            list(pool.map(lambda seed: draw(program, folder, seed), range(count)))
            return
        jobs = sorted(folder.glob("*.json"))
        all_of = list(pool.map(lambda p: check(program, folder, p), jobs))
    differ = [d for d in all_of if d]
    for found in differ[:20]:
        print("\n".join(found[:4]))
    print(f"{len(jobs)} jobs, {len(differ)} differ")
    sys.exit(bool(differ))


if __name__ == "__main__":
    main()
