#!/usr/bin/python3
"""Independent solution of the flow files in layouts.json.

Every hole set, joint, tee and hose end is a node of one network; the flow in every pipe and the head at every node are
the unknowns, solved together by a sparse Newton iteration. Nothing here follows the engine's march. The friction law
is the same: 64/Re up to Re 2040, Colebrook from 2100, a straight ramp of the factor between.

Needs Debian's python3-scipy and, for the friction grid, python3-fluids.

  reference.py                  writes expected.json and friction.csv
  reference.py --check NAMES    solves the named cases (comma separated, or a number of first cases) again and compares
  reference.py --time [ROUNDS]  prints seconds of one solution of 5 laterals x 90 hole sets, one round a line
"""
import json
import math
import os
import sys
import time

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as spl

HERE = os.path.dirname(os.path.abspath(__file__))
G = 9.80665
# ASTM D1785 and D2241: outside diameter and minimum wall [in].
PIPES = {
    ("1/2", "schedule 40"): (0.840, 0.109), ("3/4", "schedule 40"): (1.050, 0.113),
    ("1", "schedule 40"): (1.315, 0.133), ("1-1/4", "schedule 40"): (1.660, 0.140),
    ("1/2", "SDR 13.5"): (0.840, 0.062), ("3/4", "SDR 21"): (1.050, 0.060), ("1", "SDR 21"): (1.315, 0.063),
}


def viscosity(t):
    """Kinematic viscosity of water [m2/s]: IAPWS SR6-08 over Kell's density."""
    r = (t + 273.15) / 300
    mu = 1e-6 * (280.68 * r**-1.9 + 511.45 * r**-7.7 + 61.131 * r**-19.6 + 0.45903 * r**-40)
    c = (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12)
    rho = sum(a * t**i for i, a in enumerate(c)) / (1 + 16.879850e-3 * t)
    return mu / rho


def bore(pipe):
    if pipe.get("inside_diameter_mm"):
        return pipe["inside_diameter_mm"] / 1000
    outside, wall = PIPES[(pipe["size"], pipe["wall"])]
    return (outside - 2 * wall) * 0.0254


def colebrook(re, rel):
    """Factor and df/dRe by Newton iteration on x = 1/sqrt(f)."""
    x = -1.8 * np.log10((rel / 3.7) ** 1.11 + 6.9 / re)
    for _ in range(60):
        arg = rel / 3.7 + 2.51 * x / re
        g = x + 2 * np.log10(arg)
        dg = 1 + 2 / math.log(10) * 2.51 / re / arg
        step = g / dg
        x = x - step
        if np.all(np.abs(step) < 1e-15 * np.abs(x)):
            break
    arg = rel / 3.7 + 2.51 * x / re
    dx = 2 / math.log(10) * 2.51 * x / re**2 / arg / (1 + 2 / math.log(10) * 2.51 / re / arg)
    return x**-2, -2 * x**-3 * dx


class Network:
    def __init__(self, options):
        self.nu = viscosity(options.get("water_temperature_c", 20))
        self.eps = options.get("pipe_roughness_mm", 0.0015) / 1000
        self.hose_eps = options.get("hose_roughness_mm", 0.01) / 1000
        self.gamma = options.get("velocity_head_regain", 0.0)
        self.hw = options.get("friction_law") == "hazen-williams"
        self.pipes = []   # (from, to, length, diameter, eps, k, extra, next pipe in the chain or -1, regains)
        self.nodes = 0
        self.z, self.kind, self.k, self.h0, self.x = [], [], [], [], []

    def node(self, z, kind=0, k=0.0, h0=1.0, x=0.5):
        for a, v in ((self.z, z), (self.kind, kind), (self.k, k), (self.h0, h0), (self.x, x)):
            a.append(v)
        self.nodes += 1
        return self.nodes - 1

    def pipe(self, a, b, length, d, eps, k=0.0, extra=0.0, regains=False):
        self.pipes.append([a, b, length, d, eps, k, extra, -1, regains])
        return len(self.pipes) - 1

    def arrays(self):
        p = np.array([[q[2], q[3], q[4], q[5], q[6]] for q in self.pipes])
        self.a = np.array([q[0] for q in self.pipes])
        self.b = np.array([q[1] for q in self.pipes])
        self.next = np.array([q[7] for q in self.pipes])
        self.reg = np.array([q[8] for q in self.pipes])
        self.L, self.D, self.E, self.K, self.X = p.T
        self.A = math.pi / 4 * self.D**2
        self.minor = self.K / (2 * G * self.A**2) + self.X
        self.rel = self.E / self.D
        self.dre = self.D / (self.A * self.nu)
        self.lam = 128 * self.nu * self.L / (math.pi * G * self.D**4)
        self.tur = self.L / (2 * G * self.D * self.A**2)
        self.ramp = (colebrook(np.full_like(self.D, 2100.0), self.rel)[0] - 64 / 2040) / 60
        self.z, self.kind, self.k, self.h0, self.x = (np.array(v) for v in (self.z, self.kind, self.k, self.h0, self.x))

    def loss(self, q):
        s, m = np.sign(q), np.abs(q)
        minor = self.minor
        if self.hw:
            c = 10.67 * self.L / (150**1.852 * self.D**4.8704)
            tiny = 1e-12
            h = c * np.maximum(m, tiny) ** 0.852 * m + minor * m * m
            return s * h, 1.852 * c * np.maximum(m, tiny) ** 0.852 + 2 * minor * m + 1e-9
        re = m * self.dre
        f, df = colebrook(np.maximum(re, 2100), self.rel)
        ramp = (re > 2040) & (re < 2100)
        f = np.where(ramp, 64 / 2040 + self.ramp * (re - 2040), f)
        df = np.where(ramp, self.ramp, df)
        h = np.where(re <= 2040, self.lam * m, f * self.tur * m * m)
        dh = np.where(re <= 2040, self.lam, 2 * f * self.tur * m + df * self.dre * self.tur * m * m)
        return s * (h + minor * m * m), dh + 2 * minor * m + 1e-9

    def emitters(self, head):
        """Outflow of each node and its derivative; a square root below 1e-8 m is a straight line."""
        h = head - self.z
        q, dq = np.zeros(self.nodes), np.zeros(self.nodes)
        hs = np.maximum(h, 1e-8)
        hole = (self.kind == 1) & (h > 0)
        r = np.sqrt(hs)
        fine = h >= 1e-8
        q[hole] = np.where(fine, self.k * r, self.k * h / 1e-4)[hole]
        dq[hole] = np.where(fine, self.k / (2 * r), self.k / 1e-4)[hole]
        rated = (self.kind == 2) & (h > 0)
        x = np.where((self.x == 0) & (hs < self.h0), 0.5, self.x)
        full = self.k * (hs / self.h0) ** x
        q[rated] = np.where(fine, full, full * h / 1e-8)[rated]
        dq[rated] = np.where(fine, x * full / hs, full / 1e-8)[rated]
        return q, dq

    def solve(self, source, supply, start):
        """Newton on heads and flows. supply(q) gives the head at the source and its derivative."""
        self.arrays()
        npipe, nn = len(self.pipes), self.nodes
        n = npipe + nn + 1
        ip, inode = np.arange(npipe), npipe + np.arange(nn)
        iq = npipe + nn
        x = np.zeros(n)
        x[inode] = start
        x[ip] = 1e-6
        x[iq] = 1e-5

        def residual(x):
            """What the equations miss by, and the slopes that the Jacobian is made of."""
            q, head, qs = x[ip], x[inode], x[iq]
            loss, dloss = self.loss(q)
            e, de = self.emitters(head)
            r = np.zeros(n)
            r[ip] = head[self.a] - head[self.b] - loss
            r[inode] = -e
            np.add.at(r, inode[self.b], q)
            np.add.at(r, inode[self.a], -q)
            r[inode[source]] += qs
            hs, dhs = supply(qs)
            r[iq] = head[source] - hs
            if self.gamma:
                r[ip] += regain * q * q
                r[ip[has]] -= regain_next * q[nx] ** 2
            return r, (q, dloss, de, dhs)

        def jacobian(slopes):
            q, dloss, de, dhs = slopes
            rows = [ip, ip, ip, inode, inode[self.b], inode[self.a], [inode[source]], [iq], [iq]]
            cols = [inode[self.a], inode[self.b], ip, inode, ip, ip, [iq], [inode[source]], [iq]]
            vals = [np.ones(npipe), -np.ones(npipe), -dloss, -de, np.ones(npipe), -np.ones(npipe), [1.0], [1.0], [-dhs]]
            if self.gamma:
                rows += [ip, ip[has]]
                cols += [ip, ip[nx]]
                vals += [2 * regain * q, -2 * regain_next * q[nx]]
            return sp.csc_matrix((np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols))), (n, n))

        if self.gamma:
            regain = np.where(self.reg, self.gamma / (2 * G * self.A**2), 0)
            has = self.next >= 0
            nx = self.next[has]
            regain_next = np.where(self.reg[has], self.gamma / (2 * G * self.A[nx] ** 2), 0)

        scale = np.concatenate([np.full(npipe, 1.0), np.full(nn, 1e-5), [1.0]])

        def size(r):
            return math.sqrt(float(np.sum((r / scale) ** 2)))

        r, slopes = residual(x)
        best = size(r)
        for step in range(1, 400):
            dx = spl.spsolve(jacobian(slopes), -r)
            t = 1.0
            while True:
                trial = x + t * dx
                rt, slopes = residual(trial)
                st = size(rt)
                if st < best * (1 - 1e-4 * t) or t < 1e-6:
                    break
                t /= 2
            x, r, best = trial, rt, st
            if best < 1e-13 or (t == 1.0 and np.max(np.abs(dx[ip])) < 1e-16 and np.max(np.abs(dx[inode])) < 1e-14):
                break
            if t < 1e-6 and best < 1e-11:
                break
        if best > 1e-9:
            raise RuntimeError("no convergence: residual %g after %d steps" % (best, step))
        self.steps, self.residual = step, best
        return x[ip], x[inode], x[iq]


def hole_sets(piece):
    p = piece.get("pattern")
    if not p:
        return []
    spacing = p.get("spacing_m", 0.0)
    first = p.get("first_offset_m", spacing / 2)
    if p.get("count"):
        return [first + i * spacing for i in range(p["count"])]
    out, i = [], 0
    while first + i * spacing <= piece["length_m"] + 1e-9:
        out.append(first + i * spacing)
        i += 1
    return out


def outlet(pattern, n):
    if n == 0:
        return 0, 0.0, 1.0, 0.5
    if pattern.get("rated"):
        r = pattern["rated"]
        return 2, n * r["flow_l_per_h"] / 3.6e6, r["head_m"], r["exponent"]
    d = pattern["hole_diameter_mm"] / 1000
    cd = pattern.get("discharge_coefficient", 0.62)
    return 1, n * cd * math.pi / 4 * d * d * math.sqrt(2 * G), 1.0, 0.5


def add_feed(net, start, feed, d_default):
    """Hose, fittings, valve and filter from a node to a new one."""
    d = feed.get("hose_diameter_mm", 0) / 1000 or d_default
    extra = 0.0
    if feed.get("filter"):
        extra = feed["filter"]["loss_m"] / (feed["filter"]["flow_l_per_min"] / 6e4) ** 2
    end = net.node(0.0)
    net.pipe(start, end, feed.get("hose_length_m", 0.0), d, net.hose_eps, feed.get("fittings_k", 0) + feed.get("valve_k", 0), extra)
    return end


def add_lateral(net, start, z0, lateral, branch_k):
    """Pipes and hole sets of a lateral; returns the record of its sets."""
    total = sum(p["length_m"] for p in lateral["pieces"])
    slope = (lateral.get("rise_m") or 0.0) / total
    plugged = {(g["piece"], g["set"]): g.get("holes", 10**6) for g in lateral.get("plugged", [])}
    here, at, k, before, begin, sets = start, 0.0, branch_k, -1, 0.0, []
    for i, piece in enumerate(lateral["pieces"]):
        d = bore(piece["pipe"])
        pattern = piece.get("pattern") or {}
        facing = {"up": 0.5, "down": -0.5}.get(pattern.get("facing", "side"), 0.0) * d
        for s, offset in enumerate(hole_sets(piece)):
            x = begin + min(offset, piece["length_m"])
            holes = pattern.get("holes_per_set", 1)
            holes -= min(holes, plugged.get((i, s), 0))
            node = net.node(z0 + slope * x + facing, *outlet(pattern, holes))
            p = net.pipe(here, node, x - at, d, net.eps, k + lateral.get("hole_edge_k", 0), regains=True)
            if before >= 0:
                net.pipes[before][7] = p
            before, here, at, k = p, node, x, 0.0
            sets.append((i, s, holes, node, p))
        begin += piece["length_m"]
        if i + 1 < len(lateral["pieces"]):
            node = net.node(z0 + slope * begin)
            p = net.pipe(here, node, begin - at, d, net.eps, k + lateral.get("joint_k", 0), regains=True)
            if before >= 0:
                net.pipes[before][7] = p
            before, here, at, k = p, node, begin, 0.0
    return sets


def add_layout(net, start, layout, z_source):
    m, feed = layout["manifold"], layout.get("feed", {})
    d = bore(m["pipe"])
    tee_run, branch = m.get("tee_run_k", 0.2), m.get("tee_branch_k", 1.0)
    z = z_source + feed.get("rise_m", 0.0)
    hub = add_feed(net, start, feed, d)
    feed_at, length = m.get("feed_at_m", 0.0), m.get("length_m", 0.0)
    slope = (m.get("rise_m") or 0.0) / length if length else 0.0
    nodes = {feed_at: hub}
    for side in (1, -1):
        here, at, before = hub, feed_at, -1
        places = sorted({o["at_m"] for o in m["outlets"] if side * (o["at_m"] - feed_at) > 0}, key=lambda v: side * v)
        for n, x in enumerate(places):
            node = net.node(0.0)
            p = net.pipe(here, node, abs(x - at), d, net.eps, tee_run if n else 0.0, regains=True)
            if before >= 0:
                net.pipes[before][7] = p
            nodes[x] = node
            here, at, before = node, x, p
    record = {"hub": hub, "z": z, "laterals": []}
    for i, o in enumerate(m["outlets"]):
        if o.get("plugged"):
            continue
        zt = z + slope * (o["at_m"] - feed_at) + o.get("rise_m", 0.0)
        sets = add_lateral(net, nodes[o["at_m"]], zt, o["lateral"], branch)
        if any(s[2] for s in sets):
            record["laterals"].append((i, nodes[o["at_m"]], zt, sets))
    return record


def supply_of(source):
    if "tank" in source:
        t = source["tank"]
        d = t.get("outlet_diameter_mm", 0) / 1000
        c = t.get("outlet_k", 0.5) / (2 * G * (math.pi / 4 * d * d) ** 2) if d else 0.0
        return lambda q: (t["level_m"] - c * q * abs(q), -2 * c * abs(q)), t["level_m"]
    c = source["curve"]
    k = c["k"] * 6e4 ** c["n"]
    other = source.get("elsewhere_l_per_min", 0) / 6e4

    def head(q):
        t = max(q + other, 1e-12)
        return c["h0_m"] - k * t ** c["n"], -k * c["n"] * t ** (c["n"] - 1)

    return head, c["h0_m"]


def low_quarter(values):
    """DU of (flow, count) pairs with the boundary hole by its fraction."""
    flows = sorted(values)
    n = sum(c for _, c in flows)
    total = sum(q * c for q, c in flows)
    if not n or total <= 0:
        return 0.0
    left, low = n / 4, 0.0
    for q, c in flows:
        take = min(left, c)
        low += q * take
        left -= take
    return low / (n / 4) / (total / n)


def run(case):
    """Answers a flow file: one entry for each open set."""
    layouts = {l["id"]: l["layout"] for l in case["layouts"]}
    answers = []
    for ids in case["open"]:
        net = Network(case.get("options", {}))
        head, top = supply_of(case["source"])
        source = start = net.node(0.0)
        z = 0.0
        if case["source"].get("common_feed"):
            start = add_feed(net, source, case["source"]["common_feed"], 0.0)
            z = case["source"]["common_feed"].get("rise_m", 0.0)
        records = [(i, add_layout(net, start, layouts[i], z)) for i in ids]
        q, h, total = net.solve(source, head, top / 2)
        out, _ = net.emitters(h)
        answer = {"open": ids, "head_m": h[source], "flow_l_per_min": total * 6e4, "layouts": []}
        for ident, rec in records:
            holes, laterals = [], []
            for o, node, zt, sets in rec["laterals"]:
                holes += [(out[s[3]] / s[2], s[2]) for s in sets if s[2]]
                laterals.append({
                    "outlet": o, "inlet_head_m": h[node] - zt, "flow_l_per_min": sum(out[s[3]] for s in sets) * 6e4,
                    "set_flow_l_per_h": [out[s[3]] * 3.6e6 for s in sets],
                    "set_head_m": [h[s[3]] - net.z[s[3]] for s in sets],
                })
            answer["layouts"].append({
                "id": ident, "flow_l_per_min": sum(l["flow_l_per_min"] for l in laterals),
                "manifold_head_m": h[rec["hub"]] - rec["z"], "du": low_quarter(holes), "laterals": laterals,
            })
        answers.append(answer)
    return answers


def rounded(x):
    """Nine digits: more than is compared, and the file stays readable."""
    if isinstance(x, dict):
        return {k: rounded(v) for k, v in x.items()}
    if isinstance(x, list):
        return [rounded(v) for v in x]
    return float("%.9g" % x) if isinstance(x, float) else x


def friction_grid():
    from fluids.friction import Colebrook
    rows = ["# Darcy friction factor: 64/Re up to 2040, else the Colebrook equation solved by fluids.friction.Colebrook.",
            "# Columns: Reynolds number [-], relative roughness [-], factor [-]"]
    for re in np.logspace(0, 7, 71).tolist() + [2039.0, 2040.0, 2100.0, 2101.0]:
        if 2040 < re < 2100:
            continue
        for rel in (0.0, 1e-6, 1e-5, 1e-4, 1e-3, 5e-3, 0.01, 0.02, 0.05):
            f = 64 / re if re <= 2040 else Colebrook(re, rel)
            rows.append("%.17g,%g,%.12g" % (re, rel, f))
    return "\n".join(rows) + "\n"


def compare(name, got, want, faults, path=""):
    if isinstance(want, dict):
        for k in want:
            compare(name, got[k], want[k], faults, path + "/" + k)
    elif isinstance(want, list):
        for i, w in enumerate(want):
            compare(name, got[i], w, faults, "%s/%d" % (path, i))
    elif isinstance(want, float) and abs(got - want) > 1e-6 * abs(want) + 1e-7:
        faults.append("%s%s: %.9g, expected.json has %.9g" % (name, path, got, want))


def five_by_ninety():
    lateral = {"pieces": [{"pipe": {"size": "1/2", "wall": "SDR 13.5"}, "length_m": 13.716, "pattern": {
        "spacing_m": 0.1524, "hole_diameter_mm": 1.5875}}]}
    return {
        "source": {"curve": {"h0_m": 31.6, "k": 0.0785, "n": 1.7664}}, "open": [["a"]],
        "layouts": [{"id": "a", "layout": {
            "feed": {"hose_length_m": 15.24, "hose_diameter_mm": 15.875, "fittings_k": 2},
            "manifold": {"pipe": {"size": "3/4", "wall": "SDR 21"}, "length_m": 2.4, "feed_at_m": 1.2,
                         "outlets": [{"at_m": 0.6 * i, "lateral": lateral} for i in range(5)]}}}]}


def main(args):
    if args[:1] == ["--time"]:
        case = five_by_ninety()
        run(case)
        for _ in range(int(args[1]) if len(args) > 1 else 5):
            begin = time.perf_counter()
            run(case)
            print("%.6f" % (time.perf_counter() - begin))
        return 0
    with open(os.path.join(HERE, "layouts.json")) as f:
        cases = json.load(f)
    if args[:1] == ["--check"]:
        with open(os.path.join(HERE, "expected.json")) as f:
            expected = json.load(f)
        names = list(cases)[: int(args[1])] if args[1].isdigit() else args[1].split(",")
        faults = []
        for name in names:
            compare(name, rounded(run(cases[name])), expected[name], faults)
        for line in faults:
            print(line)
        print("%d cases checked, %d differences" % (len(names), len(faults)))
        return 1 if faults else 0
    expected = {}
    for name, case in cases.items():
        expected[name] = rounded(run(case))
    with open(os.path.join(HERE, "expected.json"), "w") as f:
        f.write("{\n" + ",\n".join('"%s": %s' % (k, json.dumps(v, separators=(",", ":"))) for k, v in expected.items()) + "\n}\n")
    with open(os.path.join(HERE, "friction.csv"), "w") as f:
        f.write(friction_grid())
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
