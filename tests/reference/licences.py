"""Checks the licences of everything in the lock file, from the manifests that
cargo has fetched: every package must offer one of the permissive ones named in
deny.toml. Exits 1 and names those that do not."""

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

root = Path(__file__).resolve().parents[2]
allowed = set(tomllib.loads((root / "deny.toml").read_text())["licenses"]["allow"])
meta = json.loads(
    subprocess.run(
        ["cargo", "metadata", "--format-version=1", "--locked"],
        cwd=root, check=True, capture_output=True, text=True,
    ).stdout
)


def permitted(expression: str) -> bool:
    """Whether an SPDX expression can be met with the allowed licences."""
    words = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR "))
    python = []
    skip = False
    for w in words:
        if skip:  # an exception after WITH only widens what is allowed
            skip = False
        elif w in ("(", ")"):
            python.append(w)
        elif w in ("OR", "AND"):
            python.append(w.lower())
        elif w == "WITH":
            skip = True
        else:
            python.append(str(w in allowed))
    return bool(eval(" ".join(python)))  # only True, False, and, or, brackets


bad = []
for p in meta["packages"]:
    if p["source"] is None:
        continue
    licence = p["license"] or ""
    if not licence or not permitted(licence):
        bad.append(f"{p['name']} {p['version']}: {licence or 'no licence named'}")
print(f"{len(meta['packages'])} packages, {len(bad)} without a permitted licence")
for b in bad:
    print("  " + b)
sys.exit(1 if bad else 0)
