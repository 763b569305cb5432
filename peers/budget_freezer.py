#!/usr/bin/env python3
"""The freezer's budget (type T below the board's temperature, 24 bits), independent of our code."""

import sys

import budget

if __name__ == "__main__":
    sys.exit(budget.main("examples/freezer.toml", "instrumentation"))
