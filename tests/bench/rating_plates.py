"""How serial numbers on rendered rating plates are read: right, refused, wrong, and whether a wrong letter is marked.

Run: `python -m tests.bench.rating_plates --group 2 --plates 60`. The plates are drawn from the seeds [group, 0],
[group, 1] …; the threshold of `api/plate/fields.py` was chosen on group 1. The makers are invented, the pictures drawn.
"""

import argparse

from guidance.monitor.shares import Share
from tests.support.rating_plates import judged


def main() -> None:
    """Print one line an outcome, each with its interval."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--group", type=int, default=2)
    parser.add_argument("--plates", type=int, default=60)
    given = parser.parse_args()
    counts = judged(given.group, range(given.plates))
    for outcome, hits in counts.most_common():
        print(f"{outcome:30} {Share(hits, given.plates)}")
    right_or_refused = counts["right"] + counts["right, marked"] + counts["refused"]
    print(f"{'right or refused':30} {Share(right_or_refused, given.plates)}   (wanted: ≥ 90 %)")


if __name__ == "__main__":
    main()
