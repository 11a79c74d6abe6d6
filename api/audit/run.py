"""An audit from a source to its result: list, read, put together, answer, tell. What is done is not done again."""

from __future__ import annotations

import itertools
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any, TextIO

from api.audit.grouping import group, ways_of
from api.audit.lifts import Lift
from api.audit.plan import Gap, Plan, gaps, list_photos
from api.audit.progress import Progress
from api.audit.report import language_of
from api.audit.result import write_result
from api.audit.source import listed, store_of
from api.audit.tables import rows_of, write_whole
from api.audit.worker import Job, Lifts, Photos, check_same, given_up, made_of
from api.settings import Settings
from classifier.errors import InputError
from classifier.identify import WEIGHTS_DIR
from classifier.recipe import Recipe
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from workers.dispatch import Workers, WorkersError, results
from workers.places import opened

PIECE_PHOTOS, PIECE_LIFTS = 32, 32
"""What goes to a worker at once: seconds of work, so that a lost one costs little and the pipe costs nothing."""

FEWEST_PIECES, SMALLEST_PIECE = 64, 4
"""Of a small audit the pieces are smaller, so that all workers are busy to the end."""

WORK = "audit.work"
"""Folder inside the result's, gone when the audit is finished."""

PIECES_OF_LIFTS_IN_MEMORY = 16


@dataclass(frozen=True)
class Asked:
    """What somebody asked for. `ray`: address of a cluster, else processes of this machine; `workers`: None for all."""

    source: str
    out: Path
    group_by: str = "folder"
    workers: int | None = None
    ray: str | None = None
    language: str = "en"


def audit(asked: Asked, settings: Settings, told: TextIO) -> dict[str, int]:
    """Run an audit, or go on with it; how many lifts and photos, and how many of those could not be read.

    Raises `InputError`, after which the same command goes on; a source that cannot be used leaves nothing behind.
    """
    ways = ways_of(asked.group_by)
    language = language_of(asked.language, settings.languages)
    catalogue = load(Path(settings.catalogue) if settings.catalogue else DEMO_CATALOGUE)
    recipe, sha256 = Recipe.read(Path(settings.weights))
    expects = made_of(sha256, catalogue)
    with _begun(asked, expects) as plan:
        job = Job(_needed(settings), store_of(asked.source), ways, date.fromisoformat(plan.state("day") or ""), expects)
        try:
            with opened(job, asked.workers, asked.ray) as workers:
                _read_all(plan, workers, told)
                _put_together(plan, ways)
                _answer_all(plan, workers, told)
                about = {"source": asked.source, "day": job.day.isoformat(), "model": recipe.version}
                about |= {"renders": str(recipe.trained_on.synthetic), "owned": str(recipe.trained_on.owned_photos)}
                counts = write_result(_work(plan), asked.out, workers, catalogue, about, language)
        except WorkersError as problem:
            raise InputError(f"{problem} What is done stays; the same command goes on.") from problem
    shutil.rmtree(asked.out / WORK)
    return counts


@contextmanager
def _begun(asked: Asked, expects: dict[str, str]) -> Iterator[Plan]:
    """The plan with its list of photos, new or of an interrupted audit."""
    work = asked.out / WORK
    if not (work / "plan.db").exists():
        _refuse_used(asked.out)
        _refuse_inside(asked)
        photos = listed(asked.source)
        first = next(photos, None)
        if first is None:
            raise InputError(f"{asked.source} holds no file. Name a folder or a table of photos.")
        with _made(asked.out, work) as plan:
            for name, value in _same(asked, expects).items():
                plan.note(name, value)
            plan.note("day", date.today().isoformat())
            list_photos(plan, itertools.chain([first], photos))
            plan.close()
    plan = Plan(work / "plan.db")
    try:
        _check_same_audit(plan, asked, expects)
        yield plan
    finally:
        plan.close()


def _needed(settings: Settings) -> Settings:
    """What a worker needs of the settings, without keys; on another machine the weights of its own installation."""
    weights = "" if Path(settings.weights) == WEIGHTS_DIR else settings.weights
    return Settings(
        catalogue=settings.catalogue, weights=weights, threads=settings.threads, max_photo_mib=settings.max_photo_mib,
        max_megapixels=settings.max_megapixels,
    )  # fmt: skip


def _refuse_used(out: Path) -> None:
    if out.exists() and (not out.is_dir() or any(path.name != WORK for path in out.iterdir())):
        raise InputError(f"--out {out} is in use. Name a folder that is not there yet, or an empty one.")


def _refuse_inside(asked: Asked) -> None:
    """What is written would be read as photos."""
    if "://" not in asked.source and asked.out.resolve().is_relative_to(Path(asked.source).resolve()):
        raise InputError(f"--out {asked.out} lies in {asked.source}, whose files are read. Name a folder beside it.")


@contextmanager
def _made(out: Path, work: Path) -> Iterator[Plan]:
    """A new plan; its folders go again when listing fails."""
    there = out.exists()
    try:
        shutil.rmtree(work, ignore_errors=True)
        for folder in ("photos", "lifts", "of_lifts"):
            (work / folder).mkdir(parents=True)
    except OSError as problem:
        raise InputError(f"--out {out}: {problem.strerror}. Name a folder that can be written to.") from problem
    try:
        plan = Plan(work / ".plan.db")
        yield plan
        (work / ".plan.db").replace(work / "plan.db")
    except BaseException:
        shutil.rmtree(work if there else out, ignore_errors=True)
        raise


def _same(asked: Asked, expects: dict[str, str]) -> dict[str, str]:
    return {"source": asked.source, "group_by": asked.group_by, **expects}


def _check_same_audit(plan: Plan, asked: Asked, expects: dict[str, str]) -> None:
    for name in ("source", "group_by"):
        was, now = plan.state(name), getattr(asked, name)
        if was != now:
            raise InputError(
                f"--out {asked.out} holds an audit that was interrupted, with {name.replace('_', ' ')} {was!r}, and "
                f"{now!r} came. Give the same command to go on, or another folder."
            )
    was = {name: plan.state(name) or "" for name in expects}
    check_same(was, expects, f"The interrupted audit in {asked.out} was begun with other code or data: this")


def _size(total: int, most: int) -> int:
    return min(most, max(SMALLEST_PIECE, total // FEWEST_PIECES))


def _work(plan: Plan) -> Path:
    return plan.path.parent


def _named(folder: Path, start: int, stop: int) -> Path:
    return folder / f"{start:010d}-{stop:010d}.parquet"


def _done(folder: Path) -> list[tuple[int, int]]:
    """The pieces in a folder; what was being written when somebody pulled the plug is no piece."""
    return [tuple(map(int, path.stem.split("-"))) for path in sorted(folder.glob("[0-9]*.parquet"))]


def _read_all(plan: Plan, workers: Workers, told: TextIO) -> None:
    folder, total = _work(plan) / "photos", plan.one("SELECT count(*) FROM photos")
    done = _done(folder)
    left = gaps(done, total, _size(total, PIECE_PHOTOS))
    progress = Progress("photos", total, sum(stop - start for start, stop in done), told)
    for result in results(workers, (_photos(plan, gap) for gap in left), lambda piece: piece.halves()):
        read = given_up(result.piece) if result.given_up else result.value
        write_whole(_named(folder, result.piece.start, result.piece.stop), read.table)
        progress.add(read.photos, read.failures)
    progress.end()


def _photos(plan: Plan, gap: Gap) -> Photos:
    rows = plan.run(
        "SELECT name, size FROM photos WHERE number >= ? AND number < ? ORDER BY number", (gap.start, gap.stop)
    )
    return Photos(gap.start, gap.stop, tuple(rows))


def _put_together(plan: Plan, ways: tuple[str, ...]) -> None:
    if plan.state("grouped"):
        return
    columns = ["number", "label", "taken_s", "latitude", "longitude"]
    folder = _work(plan) / "photos"
    with plan.at_once():
        for start, stop in _done(folder):
            rows = [[row[name] for name in columns] for row in rows_of(_named(folder, start, stop), columns)]
            plan.run_many(
                "UPDATE photos SET start = ?, stop = ?, label = ?, taken_s = ?, latitude = ?, longitude = ? "
                "WHERE number = ?",
                [(start, stop, *told, number) for number, *told in rows],
            )
    group(plan, ways)


def _answer_all(plan: Plan, workers: Workers, told: TextIO) -> None:
    work, total = _work(plan), plan.one("SELECT count(*) FROM lifts")
    done = _done(work / "lifts")
    progress = Progress("lifts", total, sum(stop - start for start, stop in done), told)
    photos_of = lru_cache(PIECES_OF_LIFTS_IN_MEMORY)(_rows_by_number)
    pieces = (_lifts(plan, gap, photos_of) for gap in gaps(done, total, _size(total, PIECE_LIFTS)))
    for result in results(workers, pieces, lambda piece: piece.halves()):
        if result.given_up:
            names = ", ".join(lift.name for lift in result.piece.lifts)
            raise InputError(f"Answering {names} ended the process, three times. See whether memory runs out.")
        lifts, photos = result.value
        # The lifts last: the piece is done once they are there.
        write_whole(_named(work / "of_lifts", result.piece.start, result.piece.stop), photos)
        write_whole(_named(work / "lifts", result.piece.start, result.piece.stop), lifts)
        progress.add(len(result.piece.lifts), Counter())
    progress.end()


def _rows_by_number(path: Path) -> dict[int, dict[str, Any]]:
    return {row["number"]: row for row in rows_of(path)}


def _lifts(plan: Plan, gap: Gap, rows_by_number: Callable[[Path], dict[int, dict[str, Any]]]) -> Lifts:
    folder, lifts = _work(plan) / "photos", []
    for lift, doubts in plan.run(
        "SELECT lift, doubts FROM lifts WHERE number >= ? AND number < ? ORDER BY number", (gap.start, gap.stop)
    ):
        photos, ways = [], set()
        for name, way, start, stop, photo in plan.run(
            "SELECT name, way, start, stop, number FROM photos WHERE lift = ? ORDER BY name", (lift,)
        ):
            row = rows_by_number(_named(folder, start, stop))[photo]
            photos.append({key: value for key, value in row.items() if key in KEPT} | {"photo": name})
            ways.add(way)
        lifts.append(Lift(lift, tuple(sorted(ways)), tuple(doubts.split()), tuple(photos)))
    return Lifts(gap.start, gap.stop, tuple(lifts))


KEPT = ("sha256", "failure", "reason", "width", "height", "usable", "problems", "label", "subjects")
"""Columns of a photo that go on to its lift: when and where it was taken does not."""
