"""Counts comparisons and says which ones fail: the one reporter of all peers."""

import sys


class Agreement:
    """Collects comparisons; `close` prints the plain closing line and gives the exit code."""

    def __init__(self, title, verbose=False):
        self.title, self.verbose = title, verbose
        self.passed, self.failed = 0, []
        self.worst = {}

    def near(self, what, found, expected, tolerance, unit="", group=None):
        """|found − expected| <= tolerance; NaN never passes."""
        off = abs(found - expected)
        good = off <= tolerance
        line = f"{what}: {found:.9g} {unit}, expected {expected:.9g}, off by {off:.2g}, allowed {tolerance:.2g}"
        if good:
            self.passed += 1
            if self.verbose:
                print("  " + line)
        else:
            self.failed.append(line)
        if group is not None:
            share = off / tolerance if tolerance > 0 else float(off > 0)
            if group not in self.worst or not share <= self.worst[group][0]:
                self.worst[group] = (share, line)
        return good

    def true(self, what, condition):
        if condition:
            self.passed += 1
        else:
            self.failed.append(what)

    def close(self):
        for group, (share, line) in self.worst.items():
            print(f"  worst of {group}: {100 * share:.0f} % of its tolerance; {line}")
        for line in self.failed[:40]:
            print(f"  DISAGREES {line}")
        if len(self.failed) > 40:
            print(f"  … and {len(self.failed) - 40} more")
        if not self.passed and not self.failed:
            self.failed.append("nothing was compared")
        print(f"{self.title}: {self.passed} passed, {len(self.failed)} failed")
        sys.stdout.flush()
        return 1 if self.failed else 0
