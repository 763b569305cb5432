"""Nodal analysis of linear circuits for many boards or many frequencies at once, with numpy.linalg.solve.

One row per unknown node: Kirchhoff's current law, but where an amplifier drives the node, its equation takes that row.
Nodes that an ideal source holds against ground are not unknown: their voltage goes to the right-hand side. Ground is
"gnd", 0 V. Every value may be a scalar or an array over the batch.

Each column of the right-hand side is one excitation, so one solve answers for the supplies, the thermocouple and every
noise source together.
"""

import numpy as np


class Nodal:
    def __init__(self, unknown, held, batch, columns, dtype=float):
        """`held`: node → sequence of its voltage for each column."""
        self.at = {name: i for i, name in enumerate(unknown)}
        self.held = dict(held)
        self.columns = columns
        self.g = np.zeros((batch, len(unknown), len(unknown)), dtype)
        self.rhs = np.zeros((batch, len(unknown), columns), dtype)
        self.driven = set()

    def _voltage(self, node):
        """Held voltage per column, each a scalar or an array over the batch."""
        if node == "gnd":
            return [0.0] * self.columns
        return self.held[node]

    def admittance(self, a, b, y, emf=None):
        """Branch from a to b: current y·(v_a − v_b + emf); `emf` per column."""
        emf = [0.0] * self.columns if emf is None else emf
        for here, there, sign in ((a, b, 1.0), (b, a, -1.0)):
            row = self.at.get(here)
            if row is None or here in self.driven:
                continue
            self.g[:, row, row] += y
            if there in self.at:
                self.g[:, row, self.at[there]] -= y
            else:
                for k, v in enumerate(self._voltage(there)):
                    self.rhs[:, row, k] += y * v
            for k, v in enumerate(emf):
                self.rhs[:, row, k] -= sign * y * v

    def current(self, node, column, amperes):
        """Current flowing into a node from outside, in one column (None: in all)."""
        row = self.at.get(node)
        if row is not None and node not in self.driven:
            self.rhs[:, row, column] += amperes

    def drive(self, out, weights, right):
        """The row of `out` becomes Σ weight·v(node) = right, per column. Call it before any branch at `out`."""
        row = self.at[out]
        self.driven.add(out)
        self.g[:, row, :] = 0.0
        self.rhs[:, row, :] = 0.0
        for node, weight in weights:
            if node in self.at:
                self.g[:, row, self.at[node]] += weight
            else:
                for k, v in enumerate(self._voltage(node)):
                    self.rhs[:, row, k] -= weight * v
        for k, v in enumerate(right):
            self.rhs[:, row, k] += v

    def solve(self):
        """Voltages: (batch, node, column)."""
        return np.linalg.solve(self.g, self.rhs)

    def of(self, solution, node):
        """(batch, column) of one node."""
        if node in self.at:
            return solution[:, self.at[node], :]
        held = np.zeros((solution.shape[0], self.columns), solution.dtype)
        for k, v in enumerate(self._voltage(node)):
            held[:, k] = v
        return held
