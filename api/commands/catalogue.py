"""`hoistlore catalogue check|show|learn`: prove a catalogue, draw its fault network, count closed cases."""

import argparse
import sys
from pathlib import Path

from classifier.errors import CaseError, CatalogueError, InputError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.diagnose.learning import count_cases, load_cases, shares
from guidance.diagnose.network_drawing import network_svg

UNUSABLE = 2


def check(arguments: argparse.Namespace) -> int:
    """Say that a catalogue holds together and what it holds, or name everything that is wrong with it."""
    path = Path(arguments.file)
    try:
        catalogue = load(path)
    except CatalogueError as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        count = len(error.problems)
        print(f"{path}: {count} problem(s). Nothing uses this catalogue until they are gone.", file=sys.stderr)
        return UNUSABLE
    print("\n".join(_summary(catalogue, path)))
    return 0


def show(arguments: argparse.Namespace) -> int:
    """Draw the fault network as SVG, to a file or to standard output."""
    catalogue = load(Path(arguments.catalogue) if arguments.catalogue else DEMO_CATALOGUE)
    if not catalogue.faults:
        raise CaseError("This catalogue has no fault model, so there is nothing to draw.")
    if arguments.generation is not None and arguments.generation not in catalogue.generations_by_id:
        known = ", ".join(catalogue.generations_by_id)
        raise CaseError(f"unknown generation {arguments.generation!r}; known are {known}")
    drawing = network_svg(catalogue, arguments.generation)
    if arguments.out is None:
        print(drawing, end="")
        return 0
    try:
        arguments.out.write_text(drawing, encoding="utf-8")
    except OSError as error:
        raise InputError(f"--out {arguments.out}: {error.strerror}. Name a file that can be written.") from None
    print(f"drawn: {arguments.out}", file=sys.stderr)
    return 0


def learn(arguments: argparse.Namespace) -> int:
    """Show what closed cases make of the rates; nothing is changed but by handing the same file to `triage --cases`."""
    catalogue = load(Path(arguments.catalogue) if arguments.catalogue else DEMO_CATALOGUE)
    if not catalogue.faults:
        raise CaseError("This catalogue has no fault model to learn for.")
    rows = shares(catalogue, count_cases(load_cases(arguments.cases), catalogue))
    settings = catalogue.fault_settings
    print(f"{settings.rates_note} They count like {settings.prior_cases:g} cases a setting.")
    print(f"{'setting':<18}{'fault':<26}{'before':>8}{'cases':>7}{'now':>8}  ±")
    for row in rows:
        print(
            f"{row.setting:<18}{row.fault:<26}{row.share_before:>8.1%}{row.cases:>7}{row.share_now:>8.1%}"
            f"  {row.deviation:.1%}"
        )
    return 0


def _summary(catalogue: Catalogue, path: Path) -> list[str]:
    counts = {
        "generations": len(catalogue.generations),
        "mechanisms": len(catalogue.mechanisms),
        "questions": len(catalogue.observations),
        "faults": len(catalogue.faults),
        "findings": len(catalogue.findings),
        "checks": len(catalogue.checks),
        "repairs": len(catalogue.repairs),
        "symptoms": len(catalogue.symptoms),
        "parts": len(catalogue.parts),
    }
    lines = [f"{path}: {catalogue.pool.id} {catalogue.pool.version} holds together."]
    lines += [f"  {count:>4} {what}" for what, count in counts.items() if count]
    if catalogue.faults:
        most = catalogue.fault_settings.faults_at_once
        beyond = 1 - catalogue.fault_space.mass_within_limit
        lines.append(f"  More than {most} faults at once are left out: {beyond:.1e} of lifts, before any complaint.")
        lines.append(f"  {catalogue.fault_settings.rates_note}")
    return lines
