"""Run pytest and judge by its report.

QGIS may crash while the program ends, after every test has passed and the report is written. So a
crash counts as success when the report is there, holds tests and no failure; without a report nothing does.
"""

import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

REPORT = Path(".test-results.xml")
PYTEST_STATUSES = range(6)  # what pytest itself returns; a crash returns something else
COUNTED = (("tests",), ("failures", "errors"))


def main() -> int:
    REPORT.unlink(missing_ok=True)
    status = subprocess.call([sys.executable, "-m", "pytest", f"--junitxml={REPORT}", *sys.argv[1:]])
    if not REPORT.exists():
        print("The tests left no report: they did not come to their end.", file=sys.stderr)
        return status or 1
    if status in PYTEST_STATUSES:
        return status
    suites = list(ElementTree.parse(REPORT).getroot().iter("testsuite"))
    tests, bad = (sum(int(suite.get(word, 0)) for suite in suites for word in words) for words in COUNTED)
    print(f"Ended with status {status} after the report was written: {tests} tests, {bad} bad.", file=sys.stderr)
    return 0 if tests and not bad else 1


if __name__ == "__main__":
    sys.exit(main())
