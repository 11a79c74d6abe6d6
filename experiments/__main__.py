"""`python -m experiments`: check `runs.jsonl`, and draw its table and its figure anew; the curves' likewise."""

import sys
from pathlib import Path

from experiments.curves import curves_figure, curves_page, read_curves
from experiments.drawn import figure, page
from experiments.runs import RunsError, read_runs

ROOM = Path(__file__).parent


def main() -> int:
    """Write `README.md` and `served.svg` beside the runs; exit status 2 with one sentence where they do not hold."""
    try:
        runs = read_runs()
    except RunsError as problem:
        print(f"python -m experiments: {problem}", file=sys.stderr)
        return 2
    (ROOM / "README.md").write_text(page(runs), encoding="utf-8")
    (ROOM / "served.svg").write_text(figure(runs), encoding="utf-8")
    curves = read_curves()
    if curves:
        (ROOM / "CURVES.md").write_text(curves_page(curves), encoding="utf-8")
        (ROOM / "curves.svg").write_text(curves_figure(curves), encoding="utf-8")
    figures = sum(len(run.metrics) for run in runs)
    print(f"{len(runs)} runs, {figures} figures: experiments/README.md, experiments/served.svg")
    return 0


if __name__ == "__main__":
    sys.exit(main())
