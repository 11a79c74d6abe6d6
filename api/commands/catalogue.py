"""`hoistlore catalogue new|schema|check|show|learn`: begin a catalogue, prove it, draw its network, count cases."""

import argparse
import json
import math
import sys
from pathlib import Path

from classifier.errors import CaseError, CatalogueError, InputError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.new_pool import new_pool
from guidance.catalogue.schema import catalogue_schema
from guidance.diagnose.network_drawing import network_svg
from guidance.learning.closed_cases import check_cases, load_cases
from guidance.learning.learning import Learning
from guidance.learning.learning import learn as learn_rates

UNUSABLE = 2


def new(arguments: argparse.Namespace) -> int:
    """Write the files of a new catalogue and say what to do with them."""
    for file in new_pool(arguments.folder):
        print(f"written: {file}")
    print("Begin with pool.toml and generations.toml; the field guide, docs/catalogue.md, tells of every field.")
    print(f"After each change: hoistlore catalogue check {arguments.folder}")
    return 0


def schema(arguments: argparse.Namespace) -> int:
    """Print the JSON Schema of a catalogue's files."""
    print(json.dumps(catalogue_schema(), indent=2, ensure_ascii=False))
    return 0


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
    cases = load_cases(arguments.cases)
    check_cases(cases, catalogue)
    settings = catalogue.fault_settings
    print(f"{settings.rates_note} They count like {settings.prior_cases:g} cases a setting.")
    print("\n".join(_learned(learn_rates(cases, catalogue))))
    return 0


def _learned(found: Learning) -> list[str]:
    """The rates by setting, and the generations of which a fault differs by more than two standard deviations."""
    lines = [f"{'setting':<18}{'fault':<26}{'before':>8}{'cases':>7}{'now':>8}  ±"]
    lines += [
        f"{row.setting:<18}{row.fault:<26}{row.share_before:>8.1%}{row.cases:>7}{row.share_now:>8.1%}"
        f"  {row.deviation:.1%}"
        for row in found.by_setting
    ]
    own = [row for row in found.by_generation if abs(math.log(row.times)) > 2 * row.deviation]
    if own:
        lines.append(f"{'generation':<18}{'fault':<26}{'expected':>8}{'cases':>7}{'times':>8}  ±")
    lines += [
        f"{row.generation:<18}{row.fault:<26}{row.expected:>8.0f}{row.cases:>7}{row.times:>8.2f}  {row.deviation:.0%}"
        for row in own
    ]
    if found.set_aside:
        lines.append(f"{found.set_aside} cases name a fault that their generation cannot have; they teach nothing.")
    return lines


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
