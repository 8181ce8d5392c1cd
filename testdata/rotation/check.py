#!/usr/bin/env python3
"""Checks a schedule against its problem file, from the files alone: python3 check.py PROBLEM.json SCHEDULE.json

Prints one JSON object with "violations" (rule, text), "unservable", "fractions" and "over_l"; exit status 1 when a rule
is broken. It shares nothing with the Go planner but the files' meaning, works in floating point and steps through the
horizon instant by instant, where the Go checker adds up integers zone by zone.

Extensions beyond the first form of the files, all optional:
  layouts: hand_flow_lpm (a hand turn: always alone, at that flow), max_day_min, own_valve,
           reservoirs [{from_day, missing_l, use_l, holds_l, reaches_l}] (no plant goes short on a day, in litres at the layout)
  sources: hose_connections (most members of a zone), free_share (part of each window that stays free),
           tank {volume_l, level_l, refill_lpm} (never empty),
           supply {elsewhere_lpm, own_share}: head(Q) = h0 - k*((1-own_share)*(Q+elsewhere_lpm)^n + own_share*Q^n)
  windows: attended (somebody is there, who may shut a valve early)
  runs:    closings [{layout, at_min}] (a member with its own valve shut before the run ends, in an attended window; the
           others then have the flows of a zone without it)
  past:    [{source, zone, window, day, start_min, end_min, flow_lpm, given [{layout, volume_l, open_min}]}] (runs that
           are over, which count for everything and can't be changed)
"""
import json
import math
import sys

DAY = 1440.0
SLACK_MIN = 2e-4
SLACK_FLOW = 2e-4
SLACK_HEAD = 1e-4


class Hydraulics:
    """Joint operating point of the layouts of one zone, found by a secant-safeguarded search on the flow."""

    def __init__(self, source, members):
        self.source, self.members = source, members

    def head_for(self, q):
        s = self.source["supply"]
        q, elsewhere, own = max(q, 0.0), s.get("elsewhere_lpm", 0.0), s.get("own_share", 0.0)
        return s["h0_m"] - s["k"] * ((1 - own) * math.pow(q + elsewhere, s["n"]) + own * math.pow(q, s["n"]))

    def taken(self, layout, head):
        if layout.get("hand_flow_lpm") is not None:
            return layout["hand_flow_lpm"]
        x = layout.get("exponent") or 0.0
        if x == 0.0:
            return layout["flow_lpm"]
        return layout["flow_lpm"] * math.pow(max(head, 0.0) / layout["head_nom_m"], x)

    def solve(self):
        """The total flow q at which the members, at the head that q leaves, take q."""
        low, high = 0.0, sum(self.taken(m, self.source["supply"]["h0_m"]) for m in self.members)
        for _ in range(200):
            q = 0.5 * (low + high)
            if sum(self.taken(m, self.head_for(q)) for m in self.members) > q:
                low = q
            else:
                high = q
        head = self.head_for(high)
        return head, {m["id"]: self.taken(m, head) for m in self.members}


def load(path):
    def refuse(text):
        raise ValueError(f"{path}: {text} is no number for a file")

    with open(path, encoding="utf-8") as f:
        return json.load(f, parse_constant=refuse)


def keyed(rows):
    return {row["id"]: row for row in rows}


class Check:
    def __init__(self, problem, schedule):
        self.problem, self.schedule = problem, schedule
        self.layouts, self.sources = keyed(problem["layouts"]), keyed(problem["sources"])
        self.windows, self.lines = keyed(problem["windows"]), keyed(problem["parents"])
        self.zones, self.flows, self.found, self.parts = {}, {}, [], {}
        self.past = problem.get("past") or []
        self.given = {i: [0.0] * problem["horizon_days"] for i in self.layouts}
        self.time = {i: [0.0] * problem["horizon_days"] for i in self.layouts}
        for p in self.past:
            for g in p["given"]:
                self.given[g["layout"]][p["day"]] += g["volume_l"]
                self.time[g["layout"]][p["day"]] += g["open_min"]
        self.had = {i: list(v) for i, v in self.given.items()}
        self.had_time = {i: list(v) for i, v in self.time.items()}

    def broken(self, rule, text):
        self.found.append({"rule": rule, "text": text})

    def run(self):
        self.check_zones()
        self.unservable = self.check_left_out() + self.find_idle()
        runs = [r for r in self.schedule["runs"] if self.known(r)]
        for r in runs:
            self.check_run(r)
        self.check_order(runs)
        self.check_instants(runs)
        self.check_days()
        self.check_tanks(runs)
        self.check_gaps()
        self.check_reservoirs()

    # zones ------------------------------------------------------------------------------------------------------
    def check_zones(self):
        home = {}
        for z in self.schedule["zones"]:
            name = z["id"]
            if name in self.zones or z["source"] not in self.sources or not z["layouts"]:
                self.broken("P0", f"zone {name}")
                continue
            source = self.sources[z["source"]]
            members = []
            for i in z["layouts"]:
                if i not in self.layouts or i in home:
                    self.broken("P1", f"zone {name}: layout {i}")
                    continue
                home[i] = name
                members.append(self.layouts[i])
                if self.layouts[i]["source"] != z["source"]:
                    self.broken("P2", f"zone {name}: layout {i}")
            limit = source.get("hose_connections") or 0
            hands = [m for m in members if m.get("hand_flow_lpm") is not None]
            if (limit and len(members) > limit) or (hands and len(members) > 1):
                self.broken("P4", f"zone {name}: {len(members)} members")
            head, flows = Hydraulics(source, members).solve()
            for m in members:
                if m not in hands and head < m.get("head_min_m", 0.0) - SLACK_HEAD:
                    self.broken("P3", f"zone {name}: {head:.4f} m for {m['id']}")
            if sum(flows.values()) > source["flow_max_lpm"] + SLACK_FLOW:
                self.broken("P3", f"zone {name}: {sum(flows.values()):.4f} L/min")
            self.zones[name] = {"source": z["source"], "members": members, "total": sum(flows.values())}
            self.flows.update(flows)
        self.home = home

    def check_left_out(self):
        left = []
        for i, layout in self.layouts.items():
            if i in self.home:
                continue
            source = self.sources[layout["source"]]
            head, flows = Hydraulics(source, [layout]).solve()
            too_much = flows[i] > source["flow_max_lpm"]
            starved = layout.get("hand_flow_lpm") is None and head < layout.get("head_min_m", 0.0)
            if not too_much and not starved:
                self.broken("P1", f"layout {i} is in no zone")
            left.append(i)
        return left

    def find_idle(self):
        """Layouts that draw more alone than their line allows: they stand in a zone, which can't have a run (R7)."""
        idle = []
        for i in self.home:
            source = self.sources[self.layouts[i]["source"]]
            line = self.lines.get(source.get("parent"))
            if line is not None and Hydraulics(source, [self.layouts[i]]).solve()[1][i] > line["flow_limit_lpm"]:
                idle.append(i)
        return idle

    # runs -------------------------------------------------------------------------------------------------------
    def known(self, r):
        if r["zone"] in self.zones and r["window"] in self.windows:
            return True
        self.broken("R0", f"run of {r['zone']} in {r['window']}")
        return False

    def check_run(self, r):
        zone, window = self.zones[r["zone"]], self.windows[r["window"]]
        source, day = self.sources[zone["source"]], window["day"]
        begin, end = r["start_min"], r["end_min"]
        label = f"{r['zone']} in {r['window']}"
        opens, shuts = day * DAY + window["start_min"], day * DAY + window["end_min"]
        if begin < opens - SLACK_MIN or end > shuts + SLACK_MIN or zone["source"] not in window["sources"]:
            self.broken("R1", label)
        if end - begin < source["min_run_min"] - SLACK_MIN or end <= begin:
            self.broken("R4", f"{label}: {end - begin:.3f} min")
        self.parts[id(r)] = self.cut(r, label)
        for m in zone["members"]:
            length = 0.0
            for a, b, flows in self.parts[id(r)]:
                if m["id"] in flows:
                    length += b - a
                    self.given[m["id"]][day] += flows[m["id"]] * (b - a)
            if day in m["closed_days"]:
                self.broken("R2", f"{label}: {m['id']}")
            if length > m["max_run_min"] + SLACK_MIN:
                self.broken("R5", f"{label}: {m['id']} {length:.3f} min")
            self.time[m["id"]][day] += length

    def cut(self, r, label):
        """The parts of a run between closings, with the flows of the members that are open in each."""
        zone, window = self.zones[r["zone"]], self.windows[r["window"]]
        source = self.sources[zone["source"]]
        open_now = [m["id"] for m in zone["members"]]
        parts, since = [], r["start_min"]

        def part(until):
            if until > since:
                members = [m for m in zone["members"] if m["id"] in open_now]
                parts.append((since, until, Hydraulics(source, members).solve()[1]))

        for c in sorted(r.get("closings") or [], key=lambda c: c["at_min"]):
            m = self.layouts.get(c["layout"])
            allowed = window.get("attended") and m is not None and m.get("own_valve") and c["layout"] in open_now
            if not allowed or len(open_now) < 2 or not since <= c["at_min"] <= r["end_min"]:
                self.broken("C1", f"{label}: {c['layout']}")
                continue
            part(c["at_min"])
            open_now.remove(c["layout"])
            since = c["at_min"]
        part(r["end_min"])
        return parts

    def check_order(self, runs):
        def pairs(key):
            groups = {}
            for r in sorted(runs, key=lambda r: (r["start_min"], r["end_min"])):
                groups.setdefault(key(r), []).append(r)
            for rows in groups.values():
                yield from zip(rows, rows[1:])

        for a, b in pairs(lambda r: self.zones[r["zone"]]["source"]):
            changes = a["zone"] != b["zone"] and a["window"] == b["window"]
            pause = self.sources[self.zones[a["zone"]]["source"]]["changeover_min"] if changes else 0.0
            if b["start_min"] - a["end_min"] < pause - SLACK_MIN:
                self.broken("R3", f"{a['zone']} then {b['zone']} in {b['window']}")
        for a, b in pairs(lambda r: r["zone"]):
            soak = max(m["soak_min"] for m in self.zones[a["zone"]]["members"])
            if b["start_min"] - a["end_min"] < soak - SLACK_MIN:
                self.broken("R5", f"{a['zone']} soaks {b['start_min'] - a['end_min']:.3f} min before {b['window']}")
        for r in runs:
            zone = self.zones[r["zone"]]
            for p in self.past:
                gap = r["start_min"] - p["end_min"]
                changes = p.get("zone") != r["zone"] and p.get("window") == r["window"]
                pause = self.sources[zone["source"]]["changeover_min"] if changes else 0.0
                if p["source"] == zone["source"] and gap < pause - SLACK_MIN:
                    self.broken("R3", f"{r['zone']} in {r['window']} after a run of the past")
                watered = {g["layout"] for g in p["given"] if g["open_min"] > 0}
                if any(m["id"] in watered and gap < m["soak_min"] - SLACK_MIN for m in zone["members"]):
                    self.broken("R5", f"{r['zone']} in {r['window']} soaks {gap:.3f} min after a run of the past")

    def check_instants(self, runs):
        """Looks at the middle of every stretch of time between two changes."""
        at = [(a, b, self.sources[self.zones[r["zone"]]["source"]].get("parent"), sum(flows.values()), True)
              for r in runs for a, b, flows in self.parts[id(r)]]
        at += [(p["start_min"], p["end_min"], self.sources[p["source"]].get("parent"), p["flow_lpm"], False) for p in self.past]
        at.sort(key=lambda part: part[:2])
        times = sorted({t for part in at for t in part[:2]})
        for a, b in zip(times, times[1:]):
            if b - a < SLACK_MIN:
                continue
            middle, flow, planned = 0.5 * (a + b), {}, set()
            for start, end, line, q, mine in at:
                if start > middle:
                    break
                if end > middle:
                    flow[line] = flow.get(line, 0.0) + q
                    planned |= {line} if mine else set()
            for line, q in flow.items():
                if line in planned and line in self.lines and q > self.lines[line]["flow_limit_lpm"] + SLACK_FLOW:
                    self.broken("R7", f"{line}: {q:.4f} L/min at minute {middle:.2f}")

    # days -------------------------------------------------------------------------------------------------------
    def check_days(self):
        days = range(self.problem["horizon_days"])
        by_source, by_line = {}, {}
        for i, layout in self.layouts.items():
            most, longest = layout["max_day_l"], layout.get("max_day_min")
            for d in days:
                v = self.given[i][d]
                if v > max(most, self.had[i][d]) * 1.0001 + 1e-4:
                    self.broken("R6", f"{i} day {d}: {v:.3f} L")
                if longest is not None and self.time[i][d] > max(longest, self.had_time[i][d]) + SLACK_MIN:
                    self.broken("R6", f"{i} day {d}: {self.time[i][d]:.3f} min")
                s = layout["source"]
                line = self.sources[s].get("parent")
                by_source[s, d] = by_source.get((s, d), 0.0) + v - self.had[i][d]
                by_line[line, d] = by_line.get((line, d), 0.0) + v - self.had[i][d]
        drawn = {}
        for p in self.past:
            for name in (p["source"], self.sources[p["source"]].get("parent")):
                drawn[name, p["day"]] = drawn.get((name, p["day"]), 0.0) + p["flow_lpm"] * (p["end_min"] - p["start_min"])
        for table, owners in ((by_source, self.sources), (by_line, self.lines)):
            for (name, d), v in table.items():
                limit = owners.get(name, {}).get("daily_volume_cap_l")
                if limit is not None and v > max(0.0, limit - drawn.get((name, d), 0.0)) + 0.01:
                    self.broken("R8", f"{name} day {d}: {v:.3f} L")
        for w in self.windows.values():
            for s in w["sources"]:
                self.check_free(w, s)

    def check_free(self, window, source):
        share = self.sources[source].get("free_share") or 0.0
        rows = sorted((r for r in self.schedule["runs"] if r["window"] == window["id"] and r["zone"] in self.zones
                       and self.zones[r["zone"]]["source"] == source), key=lambda r: r["start_min"])
        used = sum(r["end_min"] - r["start_min"] for r in rows)
        used += self.sources[source]["changeover_min"] * sum(a["zone"] != b["zone"] for a, b in zip(rows, rows[1:]))
        used += sum(p["end_min"] - p["start_min"] for p in self.past if p["source"] == source and p.get("window") == window["id"])
        if share and used > (1 - share) * (window["end_min"] - window["start_min"]) + SLACK_MIN:
            self.broken("R10", f"{source} in {window['id']}: {used:.3f} min")

    def check_tanks(self, runs):
        for name, source in self.sources.items():
            tank = source.get("tank")
            if not tank:
                continue
            level, now = tank["level_l"], 0.0
            draws = [(a, b, sum(flows.values()), r) for r in runs if self.zones[r["zone"]]["source"] == name
                     for a, b, flows in self.parts[id(r)]]
            draws += [(p["start_min"], p["end_min"], p["flow_lpm"], None) for p in self.past if p["source"] == name]
            for start, end, q, r in sorted(draws, key=lambda draw: draw[0]):
                level = min(tank["volume_l"], level + tank["refill_lpm"] * (start - now))
                level = min(tank["volume_l"], level + (tank["refill_lpm"] - q) * (end - start))
                now = end
                if r is None:
                    level = max(level, 0.0)
                elif level < -0.01:
                    self.broken("R9", f"{name} is {-level:.3f} L short after {r['zone']} in {r['window']}")

    def check_gaps(self):
        for i, layout in self.layouts.items():
            if i in self.unservable:
                continue
            marks = [-layout["days_since"]]
            marks += [d for d, t in enumerate(self.time[i]) if t > 0]
            marks.append(self.problem["horizon_days"])
            for a, b in zip(marks, marks[1:]):
                if b - a > layout["max_interval_d"]:
                    self.broken("I1", f"{i}: {b - a} days up to day {b}")

    def check_reservoirs(self):
        """Follows what is missing from every root zone: the day's water fills it, then the plants use theirs."""
        for i, layout in self.layouts.items():
            if i in self.unservable:
                continue
            for soil in layout.get("reservoirs") or []:
                missing = soil["missing_l"]
                days = zip(soil["use_l"], soil["holds_l"], soil["reaches_l"])
                for d, (use, holds, reaches) in enumerate(days, soil.get("from_day") or 0):
                    missing = max(0.0, missing - self.given[i][d])
                    if missing > holds + 0.01:
                        self.broken("I2", f"{i} day {d}: {missing:.3f} L missing, {holds} L held readily")
                    if missing > holds:  # less is used by plants that go short
                        left = max(0.0, reaches - missing)
                        use = min(left, use * left / (reaches - holds) if reaches > holds else use)
                    missing += use

    def report(self):
        fractions, over = {}, 0.0
        tolerance = 1 + self.problem["params"]["over_tolerance"]
        for i, layout in self.layouts.items():
            if i in self.unservable:
                continue
            got, need = sum(self.given[i]), layout["demand_l"]
            fractions[i] = min(1.0, got / need) if need > 0 else 1.0
            over += max(0.0, got - tolerance * need)
        return {"violations": self.found, "unservable": sorted(self.unservable), "over_l": over, "fractions": fractions}


def main():
    check = Check(load(sys.argv[1]), load(sys.argv[2]))
    check.run()
    print(json.dumps(check.report(), sort_keys=True))
    return 1 if check.found else 0


if __name__ == "__main__":
    sys.exit(main())
