#!/usr/bin/env python3
"""The burn-out kiln's budget (instrumentation amplifier, measured reference junction), independent of our code."""

import sys

import budget

if __name__ == "__main__":
    sys.exit(budget.main("examples/burnout-kiln.toml", "instrumentation"))
