"""Solves circuits by the full tableau, in exact fractions.

One circuit a line on standard input, as JSON; one answer a line on standard output. Unknowns are all node voltages and all
branch currents; the rows are one current sum a node and one equation a branch. Nothing is joined, left out or simplified, so
the way has nothing in common with node equations but Kirchhoff's laws. A capacitor carries no current, an inductor is a wire,
an op-amp without figures is ideal: its inputs are equal, and its output current is whatever the current sum there asks for. A
real one has one equation, out = gain * (plus - minus + (plus + minus) / (2 * rejection) + offset) - output_resistance * current.

Of circuits that store energy the natural frequencies are roots of the tableau's determinant, with s * C and s * L in it.

Feedback is judged from the roots of v' = W M v, where M says how far each op-amp's output moves each op-amp's inputs and the
positive speeds W are tried equal and unequal.
"""

import itertools
import json
import sys
from fractions import Fraction

from flint import fmpq, fmpq_mat, fmpq_poly

SPEEDS = [[1, 1, 1, 1], [1, 1000, 1, 1000], [1000, 1, 1000, 1], [1, 7, 50, 300], [300, 50, 7, 1], [5, 1, 900, 2], [2, 800, 1, 3]]


def main():
    for line in sys.stdin:
        parts = json.loads(line)["parts"]
        answer = solve(parts) | {"loops": loops(parts)}
        if any(part.get("rails") for part in parts):
            answer["states"] = states(parts)
        if any(part["kind"] == "opamp" for part in parts):
            answer["frequencies"] = frequencies(parts)
        print(json.dumps(answer))


def solve(parts):
    branches = [branch(part) for part in parts] + [extra for part in parts for extra in at_pins(part)]
    nodes, matrix = tableau(branches)
    size = matrix.nrows()
    if matrix.rank() < size:
        return {"single": False}
    right = fmpq_mat(size, 1)
    for place, (*_, constant) in enumerate(branches):
        right[len(nodes) + place, 0] = constant
    answer = matrix.solve(right)
    return {
        "single": True,
        "nodes": {node: text(answer[row, 0]) for node, row in nodes.items()},
        "currents": {name: text(answer[len(nodes) + place, 0]) for place, (name, *_) in enumerate(branches[: len(parts)])},
    }


def tableau(branches):
    """The row of each node, and the square matrix: current sums first, then the branches' equations."""
    touched = {node for _, ends, volts, *_ in branches for node in [*ends, *(node for node, _ in volts)]}
    nodes = {node: row for row, node in enumerate(sorted(touched - {"ground"}))}
    size = len(nodes) + len(branches)
    matrix = fmpq_mat(size, size)
    for place, (_, (first, second), volts, ohms, _) in enumerate(branches):
        row = current = len(nodes) + place
        for node, sign in ((first, 1), (second, -1)):
            if node != "ground":
                matrix[nodes[node], current] += sign
        for node, factor in volts:
            if node != "ground":
                matrix[row, nodes[node]] += factor
        matrix[row, current] += ohms
    return nodes, matrix


def branch(part):
    """Name, ends, and the equation: sum of factor * voltage + factor * own current = constant.

    The current flows through the branch from its first end to its second one. That is how the program counts an element's
    current, an op-amp's out of its output and a source's out of its first-named node, or for a current source out at `into`.
    """
    kind = part["kind"]
    if kind == "opamp":
        figures = {key: number(value) for key, value in part.get("figures", {}).items()}
        leak = 1 / (2 * figures["rejection"]) if "rejection" in figures else fmpq(0)
        amplified = [(part["plus"], 1 + leak), (part["minus"], leak - 1)]
        offset = figures.get("offset", fmpq(0))
        ends = ("ground", part["drives"])
        if "gain" not in figures:
            return part["name"], ends, amplified, 0, -offset
        gain = figures["gain"]
        volts = [(part["drives"], fmpq(1))] + [(node, -gain * factor) for node, factor in amplified]
        return part["name"], ends, volts, figures.get("output_resistance", 0), gain * offset
    first, second = part["ends"]
    across = [(first, fmpq(1)), (second, fmpq(-1))]
    if kind == "resistor":
        return part["name"], (first, second), across, -number(part["value"]), 0
    if kind == "capacitor":
        return part["name"], (first, second), [], 1, 0
    if kind == "inductor":
        return part["name"], (first, second), across, 0, 0
    against = [(node, -number(factor)) for factor, node in part["drive"]["controls"]]
    constant = number(part["drive"]["constant"])
    if kind == "voltage":
        return part["name"], (second, first), across + against, 0, constant
    if kind == "current":
        return part["name"], (first, second), against, 1, constant
    raise ValueError(kind)


def at_pins(part):
    """What a real op-amp has at its input pins: a resistance between them, and a current into each."""
    if part["kind"] != "opamp":
        return
    figures = {key: number(value) for key, value in part.get("figures", {}).items()}
    plus, minus = part["plus"], part["minus"]
    if "input_resistance" in figures:
        yield "between", (plus, minus), [(plus, fmpq(1)), (minus, fmpq(-1))], -figures["input_resistance"], 0
    each, half = figures.get("bias_current", fmpq(0)), figures.get("bias_offset", fmpq(0)) / 2
    for pin, current in ((plus, each + half), (minus, each - half)):
        yield "bias", (pin, "ground"), [], 1, current


def states(parts):
    """Every way in which op-amps with rails can stand: linear inside them, or at one with the inputs pulling that way; each tried in the tableau.

    None where some way leaves the voltages open. Whether it lasts is told as for loops, by the op-amps that are linear."""
    opamps = [part for part in parts if part["kind"] == "opamp"]
    found = []
    for modes in itertools.product(("linear", "high", "low"), repeat=len(opamps)):
        mode_of = {opamp["name"]: mode for opamp, mode in zip(opamps, modes)}
        branches = [at_rail(part, mode_of[part["name"]]) if part["kind"] == "opamp" else branch(part) for part in parts]
        nodes, matrix = tableau(branches)
        if any(opamp[pin] not in nodes | {"ground": 0} for opamp in opamps for pin in ("plus", "minus")):
            return None
        if matrix.rank() < matrix.nrows():
            return None
        right = fmpq_mat(matrix.nrows(), 1)
        for place, (*_, constant) in enumerate(branches):
            right[len(nodes) + place, 0] = constant
        answer = matrix.solve(right)
        volts = {"ground": fmpq(0)} | {node: answer[row, 0] for node, row in nodes.items()}
        if all(stands(opamp, mode, volts) for opamp, mode in zip(opamps, modes)):
            linear = [part if part["kind"] != "opamp" or mode_of[part["name"]] == "linear" else quiet(part) for part in parts]
            found.append({"modes": mode_of, "nodes": {node: text(volts[node]) for node in nodes}, "loops": loops(linear)})
    return found


def frequencies(parts):
    """How many natural frequencies lie right of the imaginary axis and on it (without 0), op-amps as at rest: roots of the tableau's determinant.

    None without stores of energy, with many, or where the determinant is zero at every s."""
    stores = [part for part in parts if part["kind"] in ("capacitor", "inductor")]
    if not 0 < len(stores) <= 6:
        return None
    # A polynomial of at most this degree in s, from its values at whole multiples of 100 000/s.
    points = range(1, len(stores) + 2)
    powers = fmpq_mat([[fmpq(point) ** power for power in range(len(stores) + 1)] for point in points])
    values = fmpq_mat([[tableau([moving(part, fmpq(100_000 * point)) for part in parts])[1].det()] for point in points])
    polynomial = fmpq_poly([row for row in powers.solve(values).entries()])
    if polynomial == 0:
        return None
    roots = [(root, count) for root, count in polynomial.complex_roots() if root != 0]
    right = sum(count for root, count in roots if root.real > 0)
    left = sum(count for root, count in roots if root.real < 0)
    return {"right": right, "axis": sum(count for _, count in roots) - right - left}


def moving(part, s):
    """The branch at the complex frequency s: a capacitor's current is s * C * voltage, an inductor's voltage s * L * current."""
    if part["kind"] not in ("capacitor", "inductor"):
        return branch(part)
    first, second = part["ends"]
    size = s * number(part["value"])
    if part["kind"] == "capacitor":
        return part["name"], (first, second), [(first, size), (second, -size)], -1, 0
    return part["name"], (first, second), [(first, fmpq(1)), (second, fmpq(-1))], -size, 0


def at_rail(opamp, mode):
    if mode == "linear":
        return branch(opamp)
    rail = number(opamp["rails"][1 if mode == "high" else 0])
    return opamp["name"], ("ground", opamp["drives"]), [(opamp["drives"], fmpq(1))], 0, rail


def quiet(opamp):
    """An output that stands still."""
    return {"kind": "voltage", "name": opamp["name"], "ends": [opamp["drives"], "ground"], "drive": {"constant": "0", "controls": []}}


def stands(opamp, mode, volts):
    pull = volts[opamp["plus"]] - volts[opamp["minus"]]
    low, high = (number(rail) for rail in opamp["rails"])
    if mode == "linear":
        return low <= volts[opamp["drives"]] <= high
    return pull >= 0 if mode == "high" else pull <= 0


def loops(parts):
    """Each block of op-amps that move each other's inputs, and whether it comes to rest at each of the speeds."""
    opamps = [part for part in parts if part["kind"] == "opamp"]
    # One output is moved by one volt, the others are held, all other constants are left out.
    branches = [held(part) if part["kind"] == "opamp" else branch(part) for part in parts]
    nodes, matrix = tableau(branches)
    if not opamps or any(opamp[pin] not in nodes | {"ground": 0} for opamp in opamps for pin in ("plus", "minus")):
        return []
    if matrix.rank() < matrix.nrows():
        return []
    right = fmpq_mat(matrix.nrows(), len(opamps))
    for column, opamp in enumerate(opamps):
        right[len(nodes) + parts.index(opamp), column] = 1
    answer = matrix.solve(right)

    def moved(node, column):
        return fmpq(0) if node == "ground" else answer[nodes[node], column]

    moves = [[moved(it["plus"], column) - moved(it["minus"], column) for column in range(len(opamps))] for it in opamps]
    found = []
    for block in blocks(moves):
        inside = [[moves[row][column] for column in block] for row in block]
        if fmpq_mat(inside).det() != 0 and len(block) <= len(SPEEDS[0]):
            found.append({"block": [opamps[place]["name"] for place in block], "stable": [rests(inside, speeds) for speeds in SPEEDS]})
    return found


def held(opamp):
    return opamp["name"], ("ground", opamp["drives"]), [(opamp["drives"], fmpq(1))], 0, 0


def blocks(moves):
    """The strongly connected parts of "output j moves input i"."""
    count = len(moves)
    reach = [[i == j or moves[i][j] != 0 for j in range(count)] for i in range(count)]
    for k in range(count):
        for i in range(count):
            for j in range(count):
                reach[i][j] = reach[i][j] or (reach[i][k] and reach[k][j])
    return sorted({tuple(j for j in range(count) if reach[i][j] and reach[j][i]) for i in range(count)})


def rests(moves, speeds):
    """Whether all roots lie left of the axis; None where one lies on it."""
    scaled = fmpq_mat([[entry * speed for entry in row] for row, speed in zip(moves, speeds)])
    reals = [root.real for root, _ in scaled.charpoly().complex_roots()]
    if any(real > 0 for real in reals):
        return False
    return True if all(real < 0 for real in reals) else None


def number(text):
    fraction = Fraction(text)
    return fmpq(fraction.numerator, fraction.denominator)


def text(value):
    return str(value.p) if value.q == 1 else f"{value.p}/{value.q}"


if __name__ == "__main__":
    main()
