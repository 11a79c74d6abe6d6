"""`hoistlore photos`: what may be learned from, into a folder; taking it back for a sender; what is still open."""

import argparse
import sys
from pathlib import Path

from api.commands.cases import case_store, operator
from classifier.errors import InputError


def add_photo_commands(commands: argparse._SubParsersAction) -> None:
    """Add it to the command line."""
    photos = commands.add_parser("photos", help="photos that may be learned from: export them, or take them back")
    does = photos.add_subparsers(required=True, metavar="WHAT")
    export = does.add_parser(
        "export",
        help="write the labelled ones into a folder for `python -m training add-photos`",
        description="Brings DIR to what may be learned from now. Nothing of it says whose the photos are, and nothing "
        "is sent anywhere.",
    )
    export.add_argument("folder", type=Path, metavar="DIR", help="an empty folder, or one of an earlier export")
    export.add_argument("--coco", action="store_true", help="the labels as COCO JSON instead of CSV")
    export.set_defaults(run=_export)
    withdraw = does.add_parser(
        "withdraw", help="delete the photos of one case, or one photo; name the models it taught"
    )
    withdraw.add_argument("named", metavar="CODE", help="the code of the case, or the random name of one photo")
    withdraw.set_defaults(run=_withdraw)
    does.add_parser("list", help="each photo; those to label next, with their case and what they lack").set_defaults(
        run=_list
    )


def _export(arguments: argparse.Namespace) -> int:
    from api.cases.learned.photo_export import export_photos

    store, _ = case_store()
    told = export_photos(store, arguments.folder, operator(), arguments.coco)
    for line in told.left_out:
        print(f"left out: {line}", file=sys.stderr)
    changed = f"{len(told.written)} written, {len(told.removed)} removed"
    print(f"{arguments.folder}: {told.whole} photos ({changed}), {len(told.left_out)} left out")
    if told.withdrawn:
        print(f"withdrawn since they were exported: {len(told.withdrawn)}; `add-photos` deletes them from its store")
    return 0


def _withdraw(arguments: argparse.Namespace) -> int:
    from api.cases.learned.consent import named, withdraw
    from api.servers.shelf import shelf_of

    store, settings = case_store()
    gone = withdraw(store, shelf_of(store.engine), named(arguments.named), operator(), Path(settings.weights))
    if not gone.pictures:
        raise InputError(f"No photo of {arguments.named!r} may be learned from. `hoistlore photos list` shows all.")
    print(f"deleted: {gone.pictures} photos. Export again into the same folder, and `add-photos` it.")
    for version, origins in gone.models.items():
        print(f"the model {version} learned from {len(origins)} of them: teach it anew without them")
    return 0


def _list(arguments: argparse.Namespace) -> int:
    from api.cases.learned.asked import photos_to_label
    from api.cases.learned.learned_photos import ready_photos

    store, _ = case_store()
    ready, left_out = ready_photos(store)
    asked = photos_to_label(store)
    for one in ready:
        kinds = ", ".join(part.kind for part in one.label.parts) or "nothing of a lift"
        print(f"{one.origin}: {kinds} ({one.label.said_by}, {one.label.surely})")
    if asked:
        print("to label next, the most doubtful first, each in its case:")
    for each in asked:
        print(f"{each.origin}: case {each.code}, {each.bits:.1f} bits; {each.lacks}")
    named = {each.origin for each in asked}
    for line in left_out:
        if line.split(":")[0] not in named:
            print(line)
    return 0
