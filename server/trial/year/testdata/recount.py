"""Counts a year of facts stroke by stroke, and prints what should be shown.

usage: recount.py FACTS NOW-MS    (FACTS: one JSON object a line)

Nothing here is taken from the programs: all facts of a lab are put into the
order of the time at which they held, and gone through once.

kinds of facts: item, plan, set, mount, shot, again, settle, bare, counter,
service, certificate, correction, state, void, move, withdraw, cell.
"""
import collections
import json
import sys

DAY = 86_400_000


def main(path, now):
    facts = [json.loads(line) for line in open(path)]
    marks, moved, settled, changed = {}, {}, {}, collections.defaultdict(dict)
    for f in facts:  # what is said about other facts, the last word holds
        if f["kind"] in ("void", "withdraw"):
            marks[f["of"]] = f.get("yes", False)
        elif f["kind"] == "move":
            moved[f["of"]] = f["at"]
        elif f["kind"] == "settle":
            settled[f["of"]] = f.get("yes", False)
        elif f["kind"] == "set":
            changed[f["of"]][f["word"]] = f["number"]

    labs = collections.defaultdict(lambda: dict(shots=0, to_assign=0, seen_again=0))
    items, plans, cells = {}, {}, {}
    line = []  # (time, rank, no, fact)
    for no, f in enumerate(facts):
        kind = f["kind"]
        gone = marks.get(f.get("id"), False)
        if kind == "item":
            items[f["id"]] = dict(
                fact=f, total=f.get("opening", 0), since=f.get("opening", 0), rig="", position="", state="in service",
                first=None, served=None, cert=None)
            labs[f["lab"]]
        elif kind == "plan":
            plans[f["lab"], f["class"]] = f
        elif kind == "cell":
            cells[f["lab"], f["id"]] = dict(done=0, off_speed=0, void=0, target=f["speed"], planned=f["number"])
        elif kind == "shot":
            labs[f["lab"]]["shots"] += 1
            if f["word"] == "shot" and not gone and "cell" not in f:
                labs[f["lab"]]["to_assign"] += 1
            line.append((moved.get(f["id"], f["at"]), 1, no, f))
        elif kind == "again":
            if f["id"] not in settled:
                labs[f["lab"]]["seen_again"] += 1
            elif settled[f["id"]]:
                line.append((f["at"], 1, no, f))
        elif kind == "bare":
            if not gone:
                line.append((f["at"], 1, no, f))
        elif kind in ("counter", "mount", "service", "certificate", "correction", "state"):
            if not gone:
                line.append((f["at"], 0, no, f))
    line.sort(key=lambda e: e[:3])

    sits, at_rig = {}, collections.defaultdict(set)  # place -> item, rig -> items
    place_of = {}
    counter, seen = {}, collections.Counter()  # of each rig: the last reading, strokes since

    def leave(place):
        item = sits.pop(place, None)
        if item is not None:
            at_rig[place[0]].discard(item)
            del place_of[item]

    def strike(rig, n):
        for item in at_rig[rig]:
            if item in items:
                items[item]["total"] += n
                items[item]["since"] += n

    for at, _, _, f in line:
        if at > now:
            break
        kind = f["kind"]
        if kind == "mount":
            place = (f["rig"], f["position"])
            item = f.get("item")
            if item is not None and item in place_of:
                leave(place_of[item])
            leave(place)
            if item is not None:
                sits[place], place_of[item] = item, place
                at_rig[place[0]].add(item)
                if item in items and items[item]["first"] is None:
                    items[item]["first"] = at
        elif kind in ("shot", "again", "bare"):
            n = f.get("number", 1)
            strike(f["rig"], n)
            seen[f["rig"]] += n
        elif kind == "counter":  # what the controller counted beyond what is known
            if f["rig"] in counter:
                more = f.get("number", 0) - counter[f["rig"]]
                if more > seen[f["rig"]]:
                    strike(f["rig"], more - seen[f["rig"]])
            counter[f["rig"]] = f.get("number", 0)
            seen[f["rig"]] = 0
        elif f.get("item") in items:
            i = items[f["item"]]
            if kind == "service":
                i["since"], i["served"] = 0, at
            elif kind == "certificate":
                i["cert"] = f["due"]
            elif kind == "correction":
                i["total"] += f["number"]
                i["since"] += f["number"]
            elif kind == "state":
                i["state"] = f["word"]
    for item, place in place_of.items():
        if item in items:
            items[item]["rig"], items[item]["position"] = place

    for f in facts:  # hits of campaigns
        if f["kind"] == "shot" and f["word"] == "shot" and "cell" in f:
            c = cells[f["lab"], f["cell"]]
            if marks.get(f["id"], False):
                c["void"] += 1
            elif abs(round(1000 * f["speed"]) - round(1000 * c["target"])) <= 200:  # mm/s
                c["done"] += 1
            else:
                c["off_speed"] += 1

    out = {}
    for name, i in items.items():
        f = i["fact"]
        every_strokes, every_days = f.get("every_strokes", 0), f.get("every_days", 0)
        every_strokes = changed[name].get("service_every_strokes", every_strokes)
        every_days = changed[name].get("service_every_days", every_days)
        if not every_strokes and not every_days and (f["lab"], f["class"]) in plans:
            p = plans[f["lab"], f["class"]]
            every_strokes, every_days = p.get("every_strokes", 0), p.get("every_days", 0)
        begun = i["served"] or i["first"] or f["entered"]
        due = begun + every_days * DAY if every_days else 0
        by_strokes = every_strokes > 0 and i["since"] >= every_strokes
        by_days = due > 0 and (due - now) // DAY < 0
        row = dict(lab=f["lab"], since=i["since"], total=i["total"], rig=i["rig"], position=i["position"], state=i["state"])
        if i["cert"] is None:
            row.update(calibration="never calibrated" if f.get("yes") else "not required", calibration_due=0)
        else:
            left = i["cert"] - now
            row.update(calibration="overdue" if left < 0 else "due soon" if left <= 30 * DAY else "ok", calibration_due=i["cert"])
        row["planned"] = bool(every_strokes or every_days) and i["state"] != "retired"
        row["overdue"] = row["planned"] and (by_strokes or by_days)
        # Where strokes have a say, the date is a forecast: no exact one to compare.
        row["service_due"] = due if row["planned"] and every_days and not every_strokes else 0
        out[name] = row
    json.dump(dict(labs=labs, items=out, cells={"/".join(k): dict(done=v["done"], off_speed=v["off_speed"], void=v["void"]) for k, v in cells.items()}), sys.stdout)


main(sys.argv[1], int(sys.argv[2]))
