#!/usr/bin/env python3
"""Makes share/demo, the invented demo book. Run from anywhere: python3 share/make-demo.py

The same figures come out each time (one seed). Car, circuit, driver and laps are invented; what the
car is made to do is below, in TRUTH, and told in doc/demo-book.md. Not needed to build or test: its
output is kept as data.
"""
import datetime
import os
import random
import shutil

TOP = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
DEMO = os.path.join(TOP, "share", "demo")
RNG = random.Random(1)

# id: (min, max, decimals, base), as in profiles/cars/larkspur-20.yaml
CAR = {
    "front-wing": (4, 16, 1, 10.0), "rear-wing": (6, 22, 1, 14.0),
    "front-camber": (-4, -2, 1, -3.2), "rear-camber": (-3, -1, 1, -2.0),
    "front-toe": (-0.3, 0.1, 2, -0.10), "rear-toe": (0, 0.4, 2, 0.16),
    "front-spring": (90, 170, 0, 130), "rear-spring": (100, 190, 0, 140),
    "front-bar": (0, 100, 0, 60), "rear-bar": (0, 80, 0, 40),
    "front-height": (14, 24, 0, 18), "rear-height": (28, 44, 0, 34),
    "front-cold-pressure": (95, 135, 0, 110), "rear-cold-pressure": (95, 135, 0, 108),
    "brake-bias": (50, 60, 1, 54.0), "preload": (0, 60, 0, 20),
    "drive-ramp": (30, 60, 0, 45), "coast-ramp": (45, 75, 0, 60),
}
PAIRS = {
    "wing": ("front-wing", "rear-wing"), "camber": ("front-camber", "rear-camber"),
    "toe": ("front-toe", "rear-toe"), "spring": ("front-spring", "rear-spring"),
    "bar": ("front-bar", "rear-bar"), "height": ("front-height", "rear-height"),
    "pressure": ("front-cold-pressure", "rear-cold-pressure"),
}
BASE = {name: row[3] for name, row in CAR.items()}

# What the car does. Coordinates run from -1 to 1 over the limits: c a pair's common (or a single
# adjustable), d a pair's difference. Each row: coefficients of c, c^2, d, d^2, c*d.
# Directions are those of common practice, no source; sizes are invented.
TRUTH = {
    #             lap time, s                      wear front, %/lap                wear rear, %/lap
    "wing":       ((0.30, 0.55, -0.10, 0.40, 0.0), (-0.18, 0.0, -0.10, 0.0, 0.0), (-0.30, 0.10, 0.18, 0.0, 0.0)),
    "camber":     ((0.10, 0.35, 0.05, 0.30, 0.0), (-0.18, 0.10, -0.05, 0.0, 0.0), (-0.12, 0.0, 0.05, 0.0, 0.0)),
    "toe":        ((0.05, 0.25, 0.02, 0.20, 0.0), (-0.06, 0.10, -0.05, 0.0, 0.0), (0.08, 0.08, -0.05, 0.0, 0.0)),
    "spring":     ((-0.04, 0.20, 0.02, 0.10, 0.0), (0.06, 0.0, 0.05, 0.0, 0.0), (0.08, 0.0, -0.04, 0.0, 0.0)),
    "bar":        ((-0.02, 0.12, -0.03, 0.15, 0.0), (0.05, 0.0, 0.14, 0.0, 0.0), (0.02, 0.0, -0.10, 0.0, 0.0)),
    "height":     ((0.30, 0.15, 0.05, 0.20, 0.0), (-0.02, 0.0, 0.03, 0.0, 0.0), (-0.02, 0.0, -0.03, 0.0, 0.0)),
    "pressure":   ((-0.02, 0.30, 0.02, 0.20, 0.0), (-0.12, 0.05, -0.05, 0.0, 0.0), (-0.10, 0.05, 0.05, 0.0, 0.0)),
    "brake-bias": ((0.03, 0.40), (0.12, 0.0), (-0.03, 0.0)),
    "preload":    ((0.02, 0.06), (0.03, 0.0), (0.05, 0.0)),
    "drive-ramp": ((0.0, 0.05), (0.0, 0.0), (-0.04, 0.0)),
    "coast-ramp": ((0.0, 0.05), (-0.03, 0.0), (0.0, 0.0)),
}
LEVEL = (98.24, 2.42, 2.65)             # base sheet, effort 100, new tyres, 20 kg, 30 deg C
EFFORT = (-0.060, 0.033, 0.039)         # per point; exchange rates 0.55 and 0.65 %/lap for each s/lap
TYRE_AGE = (0.038, -0.004, -0.005)      # per lap
FUEL = (0.032, 0.006, 0.008)            # per kg
TRACK_TEMP = (0.010, 0.008, 0.011)      # per deg C
RUN_SD = (0.060, 0.020, 0.020)
LAP_SD = (0.150, 0.050, 0.050)
EFFORT_SD = 0.4                         # what the driver's own figure misses
FUEL_PER_LAP = 1.9


def coordinates(values):
    """group: (c, d) of the design's coordinates; d None for a single adjustable."""
    middle = {k: (r[0] + r[1]) / 2 for k, r in CAR.items()}
    half = {k: (r[1] - r[0]) / 2 for k, r in CAR.items()}
    out = {}
    for pair, (f, r) in PAIRS.items():
        h = max(half[f], half[r])
        df, dr = values[f] - middle[f], values[r] - middle[r]
        out[pair] = ((df + dr) / (2 * h), (df - dr) / (2 * h))
    paired = {m for members in PAIRS.values() for m in members}
    for k in CAR:
        if k not in paired:
            out[k] = ((values[k] - middle[k]) / half[k], None)
    return out


def effect(values, response):
    """What the set-up does to a response, base sheet = 0."""
    def total(coords):
        s = 0.0
        for group, (c, d) in coords.items():
            t = TRUTH[group][response]
            s += t[0] * c + t[1] * c * c
            if d is not None:
                s += t[2] * d + t[3] * d * d + t[4] * c * d
        return s
    return total(coordinates(values)) - total(coordinates(BASE))


def moved(**steps):
    """The base sheet with pairs (both members) or single adjustables moved by so much."""
    values = dict(BASE)
    for key, by in steps.items():
        key = key.replace("_", "-")
        for member in PAIRS.get(key, (key,)):
            lo, hi, decimals, _ = CAR[member]
            values[member] = round(values[member] + by, decimals)
            assert lo <= values[member] <= hi, (member, values[member])
    return values


SHEETS = {
    "quick-base": ("Quick base", moved(), "The reference: what the car came with."),
    "fast": ("Fast", moved(wing=-1.5, height=-1, brake_bias=0.5), "Less wing, lower, for one quick lap."),
    "kind": ("Kind to the tyres", moved(wing=1.5, camber=0.4, pressure=8),
             "More wing, less camber, more pressure; all of it along what was driven."),
    "soft-rear-camber": ("Rear camber alone", moved(rear_camber=0.4),
                         "Rear camber was never moved without the front: no run speaks about this."),
}

# One block a half-day: the base opens it and returns at least every fifth run.
# (sheet the values came from, moves, laps, kind of effort)
B = ("quick-base", {}, 6, "push")


def t(**moves):
    return ("quick-base", moves, 6, "push")


BLOCKS = [
    ("2026-03-14T09:40", 24, [B, t(wing=-4), t(camber=0.8), t(bar=30), B, t(wing=4), t(spring=-25), t(camber=-0.5)]),
    ("2026-03-14T14:05", 31, [B, t(height=3), t(brake_bias=-2), t(spring=25), ("quick-base", {}, 8, "lift"),
                              t(toe=0.1), t(bar=-30), t(height=-3)]),
    ("2026-03-15T09:30", 23, [B, t(preload=-20), t(pressure=12), t(toe=-0.1), B, t(brake_bias=2), t(pressure=-3),
                              t(preload=30)]),
    ("2026-03-15T14:00", 33, [B, t(front_wing=4), t(front_bar=40), t(rear_wing=4), t(front_bar=-40), B,
                              t(front_wing=-4), t(rear_bar=30)]),
    ("2026-03-21T09:45", 26, [B, t(wing=4), t(camber=0.8), ("kind", None, 6, "push"), ("quick-base", {}, 8, "lift"),
                              t(pressure=12), t(wing=-4), ("fast", None, 6, "push")]),
    ("2026-03-21T14:10", 32, [B, ("kind", None, 8, "push"), t(bar=30), t(spring=-25), B, ("kind", None, 8, "lift"),
                              ("fast", None, 6, "push")]),
]

# (run number, lap from 1): the reason why it is kept but not fitted
SKIPS = {
    (2, 4): "traffic", (4, 2): "ran wide at the slow corner", (7, 5): "traffic", (10, 3): "yellow flag",
    (11, 1): "out-lap, tyres cold", (13, 6): "locked the front left", (16, 2): "traffic", (19, 4): "spin, no harm",
    (22, 5): "traffic", (25, 3): "missed a gear", (28, 1): "out-lap, tyres cold", (31, 4): "traffic",
    (34, 2): "yellow flag", (37, 5): "traffic", (40, 3): "ran wide", (44, 4): "rain drops in the last sector",
}
SUSPECT = (21, 3)       # one lap that the driver did not explain
WORN_RUN = 6            # the gauge's total so far, on a used set
TOTAL_RUN = 15          # one reading for the whole run
NO_WEAR = {(30, 5), (30, 6)}    # gauge left in the garage


def effort_of(kind, lap):
    if kind == "lift":
        return (100, 93, 99, 90, 98, 92, 100, 94)[lap - 1] + RNG.choice((-1, 0, 0, 1)) * (lap > 1)
    return min(100, round(RNG.gauss(98.0, 1.3)))


def drive(number, values, laps, kind, fuel, age, temp):
    """One run's laps: dicts of time, wear, effort, skip."""
    run_noise = [RNG.gauss(0, s) for s in RUN_SD]
    out = []
    for j in range(1, laps + 1):
        effort = min(100, effort_of(kind, j))
        true_effort = effort + RNG.gauss(0, EFFORT_SD)
        y = []
        for r in range(3):
            y.append(LEVEL[r] + effect(values, r) + EFFORT[r] * (true_effort - 100) + TYRE_AGE[r] * (age + j - 1)
                     + FUEL[r] * (fuel - FUEL_PER_LAP * (j - 1) - 20) + TRACK_TEMP[r] * (temp - 30)
                     + run_noise[r] + RNG.gauss(0, LAP_SD[r]))
        skip = SKIPS.get((number, j))
        if skip:
            y[0] += RNG.uniform(0.8, 4.0)
        if (number, j) == SUSPECT:
            y[0] += 0.95
        out.append({"time": y[0], "wear": y[1:], "effort": effort, "skip": skip})
    return out


def text_value(name, value):
    return f"{value:.{CAR[name][2]}f}"


def clock(seconds):
    return f'"{int(seconds // 60)}:{seconds % 60:06.3f}"'


def pair_text(label, values):
    return f"{label}: {{front: {values[0]:.2f}, rear: {values[1]:.2f}}}"


def values_lines(values):
    names = list(CAR)
    rows = [names[i:i + 4] for i in range(0, len(names), 4)]
    body = ",\n  ".join(", ".join(f"{n}: {text_value(n, values[n])}" for n in row) for row in rows)
    return "values: {\n  " + body + "\n}\n"


def run_text(number, date, sheet, values, laps, fuel, age, temp, worn):
    s = f"kind: run\nversion: 1\ndate: {date}\nsheet: {sheet}\ndriver: a\n" + values_lines(values)
    s += f"fuel: {fuel:.1f}\nfuel-per-lap: {FUEL_PER_LAP}\ntrack-temp: {temp}\ntyre-age: {age}\n"
    if number == WORN_RUN:
        s += pair_text("worn-at-start", worn) + "\n"
    if number == TOTAL_RUN:
        s += pair_text("wear-total", [sum(lap["wear"][c] for lap in laps) for c in (0, 1)]) + "\n"
    s += "laps:\n"
    for j, lap in enumerate(laps, 1):
        worn = [w + x for w, x in zip(worn, lap["wear"])]
        parts = ["time: " + (clock(lap["time"]) if number % 3 else f"{lap['time']:.3f}")]
        if number == WORN_RUN:
            parts.append(pair_text("worn", worn))
        elif number != TOTAL_RUN and (number, j) not in NO_WEAR:
            parts.append(pair_text("wear", lap["wear"]))
        parts.append(f"effort: {lap['effort']}")
        if lap["skip"]:
            parts.append(f'skip: "{lap["skip"]}"')
        s += "  - {" + ", ".join(parts) + "}\n"
    return s


def sheet_text(name, values, notes):
    s = f"kind: sheet\nversion: 1\nname: {name}\nvalues:\n"
    s += "".join(f"  {k}: {text_value(k, v)}\n" for k, v in values.items())
    locks = [p for p in PAIRS if name != "Rear camber alone" or p != "camber"]
    s += f"locks: [{', '.join(locks)}]\nfrozen: [drive-ramp, coast-ramp]\nnotes: \"{notes}\"\n"
    return s


BOOK = """\
# Invented: the car, the circuit, the driver and every lap in this book come from share/make-demo.py.
# They show how treadlight works and say nothing about any car, tyre or place that exists.
kind: book
version: 1
name: Harrow Fen spring test, invented
car: larkspur-20
circuit: harrow-fen
reference: quick-base
wear-channels: [front, rear]
wear-limit: 60
conditions: {effort: 100, tyre-age: 0, fuel: 20, track-temp: 30}
covariates:
  fuel: {time: 0.032}       # known from another test, s per kg
curvature: auto
exchange-rate: auto
stint: {laps: 24, pit-loss: 24.0, fuel-per-lap: 1.9, pace-loss: 0.015, cliff-at: 50, cliff: 0.1}
"""


def write(path, text):
    path = os.path.join(DEMO, path)
    os.makedirs(os.path.dirname(path), exist_ok=True)
    with open(path, "w", encoding="utf-8", newline="\n") as f:
        f.write(text)


def write_runs():
    number = laps_total = skipped = 0
    for start, temp, runs in BLOCKS:
        at = datetime.datetime.fromisoformat(start)
        age, worn = 0, [0.0, 0.0]
        for place, (sheet, moves, n, kind) in enumerate(runs):
            number += 1
            values = SHEETS[sheet][1] if moves is None else moved(**moves)
            if place % 3 == 0 or age > 12:      # a new set
                age, worn = 0, [0.0, 0.0]
            fuel = RNG.choice((16.0, 20.0, 24.0, 28.0, 32.0))
            shown = temp + RNG.choice((-1, 0, 0, 1)) + place // 3
            laps = drive(number, values, n, kind, fuel, age, shown)
            write(f"runs/r{number:02d}.yaml",
                  run_text(number, at.strftime("%Y-%m-%dT%H:%M"), sheet, values, laps, fuel, age, shown, worn))
            age += n
            worn = [w + sum(lap["wear"][c] for lap in laps) for c, w in enumerate(worn)]
            laps_total += n
            skipped += sum(1 for lap in laps if lap["skip"])
            at += datetime.timedelta(minutes=26)
    return number, laps_total, skipped


def main():
    shutil.rmtree(DEMO, ignore_errors=True)
    write("book.yaml", BOOK)
    for sheet, (name, values, notes) in SHEETS.items():
        write(f"sheets/{sheet}.yaml", sheet_text(name, values, notes))
        print(sheet, *(f"{effect(values, r):+.3f}" for r in range(3)))
    for profile in ("cars/larkspur-20.yaml", "circuits/harrow-fen.yaml"):
        os.makedirs(os.path.join(DEMO, "profiles", os.path.dirname(profile)))
        shutil.copyfile(os.path.join(TOP, "profiles", profile), os.path.join(DEMO, "profiles", profile))
    print("%d runs, %d laps, %d of them skipped" % write_runs())


if __name__ == "__main__":
    main()
