#!/usr/bin/env python3
"""The bench thermometer's budget (one amplifier, analog compensation, a line of mV/K), independent of our code."""

import sys

import budget

if __name__ == "__main__":
    sys.exit(budget.main("examples/bench-voltmeter.toml", "single-amplifier"))
