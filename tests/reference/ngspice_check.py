#!/usr/bin/env python3
"""Reference operating points from ngspice.

    ngspice_check.py write FILE [--count N] [--seed S]
        makes N random networks, has ngspice solve them, writes networks and
        node voltages to FILE (JSON, one network a line)
    ngspice_check.py solve FILE
        has ngspice solve the networks in FILE, which tests/suite/line_reference.rs
        wrote, and writes their node voltages beside them
    ngspice_check.py check FILE
        reruns ngspice on the networks in FILE and compares with the voltages
        kept there

Standard library only; needs `ngspice` on the path. All networks are run in a
few batch processes.

Options given to ngspice, tight on purpose: reltol 1e-9, abstol 1e-15, vntol
1e-10, gmin 1e-15 (the default 1e-12 across every junction would show beside a
gigohm), temp = tnom = 26.85 C = 300 K (the default of 27 C is 300.15 K; kT/q
is then 25.865 and not 25.852 mV), itl1 1000. A network that ngspice cannot
bring to rest within these is run again with each tolerance of LOOSER (still a
thousandth of what is demanded of the result). Strings of junctions that block
are left out: their currents of femtoamperes are below ngspice's abstol.

Elements in FILE, nodes as numbers with 0 for ground:
    ["R", a, b, ohm]
    ["V", plus, minus, volt, series ohm, gives A or null, takes A or null]
    ["I", from, to, ampere]
    ["D", anode, cathode, Is, n, Rs]
    ["M", "n"|"p", gate, drain, source, Vto, KP*W/L, body Is, body n]
A source with limits is a behavioural current source in ngspice; its series
resistance is therefore never 0 here.

A network has its `parts`, or it is one of the `bases` of FILE (by number) with
the parts at the places `out` taken out and the parts `in` put in.
"""

import argparse
import json
import math
import os
import random
import re
import subprocess
import sys
import tempfile

TIGHT = "reltol=1e-9 abstol=1e-15 vntol=1e-10"
LOOSER = ["reltol=1e-7 abstol=1e-13 vntol=1e-8", "reltol=1e-6 abstol=1e-12 vntol=1e-7"]
OPTIONS = ".options %s gmin=1e-15 temp=26.85 tnom=26.85 itl1=1000"
PER_PROCESS = 100


def log_uniform(rng, low, high):
    return float("%.6g" % math.exp(rng.uniform(math.log(low), math.log(high))))


def tidy(x):
    return float("%.6g" % x)


class Maker:
    """One random network; nodes are numbered as they are made."""

    def __init__(self, rng):
        self.rng = rng
        self.nodes = 0
        self.parts = []

    def node(self):
        self.nodes += 1
        return self.nodes

    def r(self, a, b, low, high):
        self.parts.append(["R", a, b, log_uniform(self.rng, low, high)])

    def v(self, p, m, volts, series=0.0, gives=None, takes=None):
        self.parts.append(["V", p, m, tidy(volts), series, gives, takes])

    def d(self, a, k, schottky=False):
        rng = self.rng
        is_ = log_uniform(rng, 1e-8, 1e-6) if schottky else log_uniform(rng, 1e-15, 5e-9)
        n = tidy(rng.uniform(1.0, 1.15) if schottky else rng.uniform(1.0, 2.0))
        rs = 0.0 if rng.random() < 0.4 else log_uniform(rng, 0.1, 20)
        self.parts.append(["D", a, k, is_, n, rs])

    def m(self, kind, gate, drain, source):
        rng = self.rng
        vto = tidy(rng.uniform(0.5, 1.4) * (1 if kind == "n" else -1))
        self.parts.append(
            ["M", kind, gate, drain, source, vto, log_uniform(rng, 5e-3, 1.0),
             log_uniform(rng, 1e-15, 1e-11), tidy(rng.uniform(1.0, 1.4))]
        )

    def rail(self, powered):
        """A rail with its loads; with its regulator if powered."""
        rng = self.rng
        rail = self.node()
        self.r(rail, 0, 200, 50e3)
        if not powered and rng.random() < 0.7:
            self.d(rail, 0)
        if rng.random() < 0.5:
            self.d(0, rail)
        if powered:
            volts = rng.choice([1.2, 1.8, 2.8, 3.3, 5.0])
            kind = rng.random()
            if kind < 0.4:
                self.v(rail, 0, volts)
            elif kind < 0.6:
                self.v(rail, 0, volts, log_uniform(rng, 0.01, 2))
            else:
                self.v(rail, 0, volts, log_uniform(rng, 0.01, 2),
                       log_uniform(rng, 1e-3, 0.5), rng.choice([None, 0.0]))
        return rail

    def chain(self, start, length, rails):
        """Contacts, traces, series parts; clamps, pull-ups, leaks on the way."""
        rng = self.rng
        at = start
        made = [start]
        for _ in range(length):
            after = self.node()
            made.append(after)
            if rng.random() < 0.5:
                self.r(at, after, 0.02, 1)
            else:
                self.r(at, after, 5, 1000)
            if rng.random() < 0.35:
                self.d(0, after)
            if rails and rng.random() < 0.35:
                self.d(after, rng.choice(rails))
            if rails and rng.random() < 0.3:
                self.r(after, rng.choice(rails), 1e3, 100e3)
            if rng.random() < 0.25:
                self.r(after, 0, 10, 1e6)
            if rng.random() < 0.1:
                self.d(after, 0, schottky=True)
            at = after
        return made

    def meter(self, a, b):
        """A diode test, a resistance test or a voltmeter."""
        rng = self.rng
        kind = rng.random()
        if kind < 0.3:
            self.v(a, b, rng.uniform(1.5, 3.4), log_uniform(rng, 500, 5000))
        elif kind < 0.6:
            self.v(a, b, rng.uniform(1.5, 3.4), log_uniform(rng, 0.1, 10),
                   log_uniform(rng, 0.3e-3, 2e-3), rng.choice([None, 0.0]))
        elif kind < 0.8:
            self.v(a, b, rng.uniform(0.3, 0.6), log_uniform(rng, 500, 1e6))
        else:
            self.parts.append(["R", a, b, 1e7])


def line(rng):
    """A line with its pull-ups and clamps, powered or not."""
    m = Maker(rng)
    powered = rng.random() < 0.4
    rails = [m.rail(powered and rng.random() < 0.8) for _ in range(rng.randint(1, 3))]
    made = m.chain(m.node(), rng.randint(1, 8), rails)
    m.r(made[-1], 0, 1e4, 1e8)
    m.meter(rng.choice(made), rng.choice([0, 0, 0, rails[0]]))
    return m


def shifter(rng):
    """A two-way level shifter between two lines, in any state."""
    m = Maker(rng)
    low, high = m.rail(rng.random() < 0.8), m.rail(rng.random() < 0.8)
    gate = low
    if rng.random() < 0.4:
        gate = m.node()
        m.r(gate, low, 10, 10e3)
    left = m.chain(m.node(), rng.randint(0, 3), [low])
    right = m.chain(m.node(), rng.randint(0, 3), [high])
    source, drain = left[-1], right[0]
    m.r(source, low, 1e3, 20e3)
    m.r(drain, high, 1e3, 20e3)
    m.m("n", gate, drain, source)
    for end in (left[0], right[-1]):
        if rng.random() < 0.4:
            m.r(end, 0, 5, 500)
    if rng.random() < 0.6:
        m.meter(rng.choice(left + right), 0)
    return m


def load_switch(rng):
    """A P channel switch with its gate pulled one way or the other."""
    m = Maker(rng)
    supply, out, gate = m.node(), m.node(), m.node()
    m.v(supply, 0, rng.choice([3.3, 3.8, 5.0]), log_uniform(rng, 0.01, 1),
        rng.choice([None, log_uniform(rng, 0.01, 1)]), None)
    m.r(gate, supply, 1e3, 100e3)
    if rng.random() < 0.6:
        m.r(gate, 0, 10, 10e3)
    m.m("p", gate, out, supply)
    m.r(out, 0, 20, 1e5)
    if rng.random() < 0.5:
        m.d(out, 0)
    m.chain(out, rng.randint(0, 4), [supply])
    return m


def mesh(rng):
    """Anything to anything: a random mesh of resistances and junctions."""
    m = Maker(rng)
    nodes = [0] + [m.node() for _ in range(rng.randint(3, 12))]
    for i, node in enumerate(nodes[1:]):
        m.r(node, rng.choice(nodes[: i + 1]), 10, 1e5)
    for _ in range(rng.randint(2, 10)):
        a, b = rng.sample(nodes, 2)
        if rng.random() < 0.5:
            m.r(a, b, 1, 1e6)
        else:
            m.d(a, b)
    for _ in range(rng.randint(1, 3)):
        a, b = rng.sample(nodes, 2)
        kind = rng.random()
        if kind < 0.4:
            m.v(a, b, rng.uniform(-5, 5), log_uniform(rng, 0.1, 1e4))
        elif kind < 0.7:
            m.v(a, b, rng.uniform(1, 5), log_uniform(rng, 0.1, 10),
                log_uniform(rng, 1e-4, 0.1), log_uniform(rng, 1e-4, 0.1))
        else:
            m.parts.append(["I", a, b, tidy(rng.choice([-1, 1]) * log_uniform(rng, 1e-5, 1e-2))])
    return m


def string(rng):
    """Junctions in series, with nothing but junctions at the inner nodes."""
    m = Maker(rng)
    top = m.node()
    m.meter(top, 0)
    m.v(top, 0, rng.uniform(0.5, 5), log_uniform(rng, 100, 1e4))
    at = top
    for _ in range(rng.randint(1, 4)):
        after = m.node()
        m.d(at, after)
        at = after
    m.d(at, 0) if rng.random() < 0.5 else m.r(at, 0, 1, 1e6)
    return m


KINDS = [("line", line, 5), ("shifter", shifter, 3), ("load switch", load_switch, 1),
         ("mesh", mesh, 3), ("string", string, 1)]


def worked_line():
    """The worked line of the tests in diode mode: healthy, pull-up missing,
    series part open, leaks of 300 ohm and 3 kilohm, short of 2 ohm."""
    series, pull_up = ["R", 1, 2, 22.0], ["R", 1, 3, 2200.0]
    rest = [["D", 2, 0, 1e-9, 1.3, 5.0], ["D", 3, 0, 1e-6, 1.2, 0.0], ["R", 3, 0, 5000.0],
            ["V", 1, 0, 3.0, 2500.0, None, None]]
    cases = [[series, pull_up], [series], [pull_up]]
    cases += [[series, pull_up, ["R", 1, 0, leak]] for leak in (300.0, 3000.0, 2.0)]
    return [{"kind": "worked line", "nodes": 3, "parts": case + rest} for case in cases]


def make(count, seed):
    rng = random.Random(seed)
    names = [k for k in KINDS for _ in range(k[2])]
    made = worked_line()
    for i in range(count):
        name, maker, _ = names[i % len(names)]
        m = maker(rng)
        made.append({"kind": name, "nodes": m.nodes, "parts": m.parts})
    return made


def netlist(network, title, tolerances):
    out = [title]
    for i, part in enumerate(network["parts"]):
        kind = part[0]
        if kind == "R":
            out.append("R%d %d %d %r" % (i, part[1], part[2], part[3]))
        elif kind == "V":
            _, p, m, volts, series, gives, takes = part
            if gives is None and takes is None:
                inner = p
                if series > 0:
                    inner = "s%d" % i
                    out.append("R%d %s %d %r" % (i, inner, p, series))
                out.append("V%d %s %d dc %r" % (i, inner, m, volts))
            else:
                flow = "(%r-v(%d,%d))/%r" % (volts, p, m, series)
                if gives is not None:
                    flow = "min(%r,%s)" % (gives, flow)
                if takes is not None:
                    flow = "max(%r,%s)" % (-takes, flow)
                out.append("B%d %d %d i=%s" % (i, m, p, flow))
        elif kind == "I":
            out.append("I%d %d %d dc %r" % (i, part[1], part[2], part[3]))
        elif kind == "D":
            _, a, k, is_, n, rs = part
            out.append("D%d %d %d d%d" % (i, a, k, i))
            out.append(".model d%d d(is=%r n=%r rs=%r)" % (i, is_, n, rs))
        elif kind == "M":
            _, polarity, gate, drain, source, vto, gain, is_, n = part
            out.append("M%d %d %d %d %d m%d w=1u l=1u" % (i, drain, gate, source, source, i))
            out.append(".model m%d %smos(level=1 vto=%r kp=%r lambda=0 gamma=0 phi=0.6 is=1e-30)"
                       % (i, polarity, vto, gain))
            ends = (source, drain) if polarity == "n" else (drain, source)
            out.append("D%d %d %d b%d" % (i, ends[0], ends[1], i))
            out.append(".model b%d d(is=%r n=%r)" % (i, is_, n))
    out += [OPTIONS % tolerances, ".end", ""]
    return "\n".join(out)


def run(networks):
    """Node voltages of each network, None where ngspice gave none."""
    results = run_once(networks, TIGHT)
    for tolerances in LOOSER:
        again = [i for i, r in enumerate(results) if r is None]
        if again:
            for i, r in zip(again, run_once([networks[i] for i in again], tolerances)):
                results[i] = r
    return results


def run_once(networks, tolerances):
    results = []
    with tempfile.TemporaryDirectory() as folder:
        for start in range(0, len(networks), PER_PROCESS):
            batch = networks[start : start + PER_PROCESS]
            control = ["* operating points", ".control", "set numdgt=15", "set noaskquit"]
            for k, network in enumerate(batch):
                path = os.path.join(folder, "n%d.cir" % k)
                with open(path, "w") as f:
                    f.write(netlist(network, "n%d" % k, tolerances))
                control += ["echo network %d" % k, "source %s" % path, "op"]
                control += ["print v(%d)" % node for node in range(1, network["nodes"] + 1)]
                control += ["destroy all", "remcirc"]
            control += ["quit", ".endc", ".end", ""]
            path = os.path.join(folder, "run.cir")
            with open(path, "w") as f:
                f.write("\n".join(control))
            done = subprocess.run(["ngspice", "-b", path], capture_output=True, text=True, timeout=900)
            if os.environ.get("NGSPICE_LOG"):
                sys.stderr.write(done.stdout + done.stderr)
            volts = [dict() for _ in batch]
            at = None
            for text in done.stdout.splitlines():
                found = re.match(r"network (\d+)", text)
                if found:
                    at = int(found.group(1))
                found = re.match(r"v\((\d+)\) = (\S+)", text)
                if found and at is not None:
                    volts[at][int(found.group(1))] = float(found.group(2))
            for network, v in zip(batch, volts):
                full = all(n in v for n in range(1, network["nodes"] + 1))
                results.append([v[n] for n in range(1, network["nodes"] + 1)] if full else None)
    return results


def whole(network, bases):
    """The network with all its parts."""
    if "base" not in network:
        return network
    base, out = bases[network["base"]], set(network["out"])
    parts = [p for i, p in enumerate(base["parts"]) if i not in out]
    return {"nodes": base["nodes"], "parts": parts + network["in"]}


def save(path, head, bases, networks):
    def block(items):
        return "[\n%s\n]" % ",\n".join(json.dumps(n, separators=(",", ":")) for n in items)

    with open(path, "w") as f:
        f.write('{"about": %s,\n' % json.dumps(head))
        if bases:
            f.write('"bases": %s,\n' % block(bases))
        f.write('"networks": %s}\n' % block(networks))


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("what", choices=["write", "solve", "check"])
    parser.add_argument("file")
    parser.add_argument("--count", type=int, default=390)
    parser.add_argument("--seed", type=int, default=20)
    args = parser.parse_args()
    version = subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout
    version = re.search(r"ngspice-\S+", version).group(0)
    head = {"made by": version, "options": OPTIONS % TIGHT}
    if args.what == "write":
        bases, networks = [], make(args.count, args.seed)
        head |= {"seed": args.seed}
    else:
        with open(args.file) as f:
            kept = json.load(f)
        bases, networks = kept.get("bases", []), kept["networks"]
    results = run([whole(n, bases) for n in networks])
    if args.what != "check":
        solved = [dict(n, volts=[float("%.8g" % v) for v in r])
                  for n, r in zip(networks, results) if r is not None]
        head |= {"made": len(networks), "solved": len(solved)}
        save(args.file, head, bases, solved)
        print("%d networks, %d solved by %s" % (len(networks), len(solved), version))
        # Of the random ones some are left out; of the lines none may be.
        return 1 if args.what == "solve" and len(solved) < len(networks) else 0
    worst, bad = 0.0, 0
    for network, result in zip(networks, results):
        if result is None:
            bad += 1
            continue
        for kept, now in zip(network["volts"], result):
            worst = max(worst, abs(kept - now))
            bad += abs(kept - now) > max(1e-3 * abs(kept), 0.5e-3)
    print("%d networks, %s, largest difference %.3g V, %d outside" % (len(networks), version, worst, bad))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
