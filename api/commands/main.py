"""The `hoistlore` command: identify photos of a lift, or serve the API.

Exit status: 0 with an answer, 2 for arguments, settings, a catalogue or weights that cannot be used, 3 when no photo
could be read (each is named on standard error with the reason).
"""

import argparse
import gc
import os
import shutil
import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path

from api.commands.audit import add_audit_command
from api.commands.backup import add_backup_commands
from api.commands.cases import add_case_commands
from api.commands.monitor import add_monitor_command
from api.commands.photos import add_photo_commands
from api.commands.pool import add_pool_commands
from api.commands.stock import add_stock_command
from api.commands.troubleshooting import add_commands
from api.commands.users import add_user_commands
from api.settings import MOST_PHOTOS, PREFIX, Settings
from classifier.errors import (
    HoistloreError,
    InputError,
    NothingToGoOn,
    PhotoError,
    PhotoTooLarge,
    SettingsError,
    UnreadablePhoto,
)

UNUSABLE, NO_PHOTO_READ = 2, 3


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    arguments = _parser().parse_args(argv)
    warnings.filterwarnings("ignore", module="PIL")  # what a codec murmurs about odd metadata helps nobody here
    try:
        return arguments.run(arguments)
    except HoistloreError as error:
        print(f"hoistlore: {error}", file=sys.stderr)
        return UNUSABLE
    except BrokenPipeError:  # the reader of our output has gone, as `head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="hoistlore", description="Which patient lift is this, and what do I do now?")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    identify = commands.add_parser(
        "identify",
        help="identify a lift from photos of it and from what somebody saw",
        description=f"Reads up to {MOST_PHOTOS} photos as views of ONE lift and says what it is and what to do now.",
    )
    identify.add_argument("photos", nargs="*", metavar="PHOTO", help="JPEG, PNG, WebP or HEIC")
    identify.add_argument("--json", action="store_true", help="print the answer as one JSON document")
    identify.add_argument(
        "--each", action="store_true", help="each photo is a lift of its own: one JSON document a line"
    )
    identify.add_argument(
        "--observe", action="append", default=[], metavar="ID=ANSWER", help="what somebody saw; enough without a photo"
    )
    identify.add_argument("--role", default="caregiver", help="who is told: caregiver (default), agent or technician")
    identify.add_argument(
        "--overlay", type=Path, metavar="DIR", help="also write each photo there, with what was found"
    )
    identify.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    identify.set_defaults(run=_identify)
    for add in (
        _add_serve,
        add_commands,
        add_case_commands,
        add_backup_commands,
        add_audit_command,
        add_pool_commands,
        add_stock_command,
        add_monitor_command,
        add_user_commands,
        add_photo_commands,
    ):
        add(commands)
    return parser


def _add_serve(commands: argparse._SubParsersAction) -> None:
    serve = commands.add_parser(
        "serve",
        help="serve the API",
        description="Serves the API until it is stopped.",
        epilog=_settings_help(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    serve.add_argument("--host", help="address to listen on")
    serve.add_argument("--port", type=int, help="port to listen on")
    serve.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    serve.set_defaults(run=_serve)


def _settings_help() -> str:
    rows = [(PREFIX + f.name.upper(), f.metadata["help"], f.default) for f in fields(Settings)]
    return "environment variables:\n" + "\n".join(
        f"  {name}\n      {text} (default: {default})" for name, text, default in rows
    )


def _serve(arguments: argparse.Namespace) -> int:
    import uvicorn  # the web stack is loaded by the command that needs it alone

    from api.app import create_app
    from api.memory import give_back_large_pieces, give_back_what_is_free

    give_back_large_pieces()
    settings = Settings.from_environment(
        os.environ, host=arguments.host, port=arguments.port, catalogue=arguments.catalogue
    )
    traced = _tracing()
    app = create_app(settings, tracer=traced.tracer if traced else None)
    give_back_what_is_free()
    # No access log: the address of a case is its key, and keys do not belong into logs.
    options = {"server_header": False, "access_log": False, "timeout_graceful_shutdown": 5}
    uvicorn.run(app, host=settings.host, port=settings.port, **options)
    if traced:
        traced.close()
    return 0


def _tracing():
    """Where spans go, when the standard variables of OpenTelemetry ask for them. Raises `SettingsError`."""
    asked = {"OTEL_TRACES_EXPORTER", "OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT"}
    off = os.environ.get("OTEL_TRACES_EXPORTER") == "none" or os.environ.get("OTEL_SDK_DISABLED", "").lower() == "true"
    if off or not any(os.environ.get(name) for name in asked):
        return None
    try:
        from api.gate.traces import tracing
    except ModuleNotFoundError as error:
        raise SettingsError(f"OTEL_… wants the extra `traces` installed ({error.name} is missing).") from None
    return tracing(os.environ)


def _identify(arguments: argparse.Namespace) -> int:
    groups = [[photo] for photo in arguments.photos] if arguments.each else [arguments.photos]
    if not groups:
        raise NothingToGoOn("--each reads photos and none came. Name at least one.")
    with _kept_until_the_end():
        from api.identification import Resources, check_request
        from guidance.identify.sources import Observed

        settings = Settings.from_environment(os.environ, catalogue=arguments.catalogue)
        observed = [Observed(*pair) for pair in map(_pair, arguments.observe)]
        resources = Resources.load(settings)
    for group in groups:
        check_request(len(group), observed, arguments.role, resources)
    answered = [_answer_group(group, observed, resources, arguments) for group in groups]
    return 0 if any(answered) else NO_PHOTO_READ


@contextmanager
def _kept_until_the_end() -> Iterator[None]:
    """What is loaded here stays while the process lives, so no garbage is looked for in it, then or at its end."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def _pair(came: str) -> tuple[str, str]:
    identifier, equals, answer = came.partition("=")
    if not (identifier and equals and answer):
        raise InputError(f"--observe {came!r} came; ID=ANSWER is wanted, for example battery_comes_off=yes.")
    return identifier.strip(), answer.strip()


def _answer_group(paths: list[str], observed: list, resources, arguments: argparse.Namespace) -> bool:
    """Read one lift's photos and print its answer; false when there was nothing left to answer from."""
    from api.identification import answer_for, read_photos

    photos, failures = _files(paths, resources.limits.max_bytes)
    readings, unread = read_photos(photos, resources)
    for failure in [*failures, *unread]:
        print(f"hoistlore: {failure}", file=sys.stderr)
    if not readings and not observed:
        return False
    answer = answer_for(readings, observed, arguments.role, resources)
    if arguments.json or arguments.each:
        print(answer.model_dump_json(), flush=True)
    else:
        from api.commands.terminal import told

        print(told(answer, resources.catalogue, shutil.get_terminal_size((80, 24)).columns))
    if arguments.overlay:
        _write_overlays(arguments, photos, readings, resources)
    return True


def _files(paths: list[str], max_bytes: int) -> tuple[list, list[PhotoError]]:
    from api.identification import NamedPhoto

    photos, failures = [], []
    for path in paths:
        try:
            size = Path(path).stat().st_size
            if size > max_bytes:
                told = (
                    f"{size / 2**20:.1f} MiB, at most {max_bytes / 2**20:.0f} MiB are read. Send it in a smaller size."
                )
                failures.append(PhotoTooLarge(path, told))
            else:
                with Path(path).open("rb"):  # a file that cannot be opened is named here, with the others
                    photos.append(NamedPhoto(path, Path(path).read_bytes))
        except OSError as error:
            failures.append(UnreadablePhoto(path, f"{error.strerror}. Check the path."))
    return photos, failures


def _write_overlays(arguments: argparse.Namespace, photos: list, readings: list, resources) -> None:
    from api.jpeg import jpeg_bytes
    from api.overlay import draw_overlay

    directory: Path = arguments.overlay
    load = {photo.name: photo.load for photo in photos}
    try:
        directory.mkdir(parents=True, exist_ok=True)
        for reading in readings:
            number = arguments.photos.index(reading.name) + 1  # tells apart photos of one name in several folders
            target = directory / f"{Path(reading.name).stem}.{number}.overlay.jpg"
            target.write_bytes(jpeg_bytes(draw_overlay(load[reading.name](), reading, resources.limits)))
            if not arguments.each:
                print(f"drawn: {target}", file=sys.stderr)
    except OSError as error:
        raise InputError(f"--overlay {directory}: {error.strerror}. Name a folder that can be written to.") from error


if __name__ == "__main__":
    sys.exit(main())
