"""The tests that failed and what they said, from what ctest --output-junit has written: failed_tests.py FILE..."""

import os
import sys
import xml.etree.ElementTree as xml

LONGEST = 6000  # characters a test; its end is what tells

for path in sys.argv[1:]:
    if not os.path.exists(path):
        print(f"{path}: not run")
        continue
    cases = xml.parse(path).getroot().findall("testcase")
    failed = [case for case in cases if case.get("status") not in ("run", "disabled")]
    print(f"{path}: {len(failed)} of {len(cases)}")
    for case in failed:
        why = case.find("failure").get("message") if case.find("failure") is not None else ""
        said = (case.findtext("system-out") or "").strip()
        print(f"\n-- {case.get('name')} ({why or case.get('status')}, {float(case.get('time', 0)):.1f} s)\n{said[-LONGEST:]}")
