"""`hoistlore users`: who may sign in at the pages, and as what."""

import argparse
import os
import sys

from api.settings import Settings

COMMAND_LINE = "command line"


def add_user_commands(commands: argparse._SubParsersAction) -> None:
    """Add them to the command line."""
    users = commands.add_parser(
        "users",
        help="who may sign in at the pages: add, list, disable, give a new password",
        description="From the first user on, the tokens of roles are for programs alone.",
    )
    does = users.add_subparsers(required=True, metavar="WHAT")
    add = does.add_parser("add", help="add somebody; prints a password to hand over once")
    add.add_argument("name", metavar="NAME", help="with which they sign in, such as ana.ruiz")
    add.add_argument("--role", required=True, help="agent, technician or administrator")
    add.add_argument("--called", default="", metavar="TEXT", help="as colleagues see them in a case; else NAME")
    add.set_defaults(run=_add)
    listed = does.add_parser("list", help="everybody, with role and state")
    listed.set_defaults(run=_list)
    for name, run, help_ in (
        ("reset", _reset, "give somebody a new password, and end their sessions"),
        ("disable", _disable, "let somebody in no more, from their next request on"),
        ("enable", _enable, "let somebody in again"),
    ):
        one = does.add_parser(name, help=help_)
        one.add_argument("name", metavar="NAME")
        one.set_defaults(run=run)
    role = does.add_parser("role", help="give somebody another role")
    role.add_argument("name", metavar="NAME")
    role.add_argument("role", metavar="ROLE", help="agent, technician or administrator")
    role.set_defaults(run=_role)


def _add(arguments: argparse.Namespace) -> int:
    from api.people.passwords import Passwords, made_password
    from api.people.users import add_user

    password, called = made_password(), arguments.called or arguments.name
    add_user(_store(), arguments.name, called, arguments.role, Passwords().hashed(password), _operator())
    print(password)
    return 0


def _list(arguments: argparse.Namespace) -> int:
    from api.people.users import all_users

    for user in all_users(_store()):
        by = f"  by {user.issuer}" if user.issuer else ""
        print(f"{user.name}  {user.role}  {user.called}{by}{'  DISABLED' if user.disabled else ''}")
    return 0


def _reset(arguments: argparse.Namespace) -> int:
    from api.people.passwords import Passwords, made_password
    from api.people.users import RESET, change_user

    password = made_password()
    change_user(_store(), arguments.name, RESET, _operator(), password_hash=Passwords().hashed(password))
    print(password)
    return 0


def _disable(arguments: argparse.Namespace) -> int:
    from api.people.users import DISABLED, change_user

    store = _store()
    change_user(store, arguments.name, DISABLED, _operator(), disabled_ms=store.now_ms())
    print(f"disabled: {arguments.name}", file=sys.stderr)
    return 0


def _enable(arguments: argparse.Namespace) -> int:
    from api.people.users import ENABLED, change_user

    change_user(_store(), arguments.name, ENABLED, _operator(), disabled_ms=None)
    print(f"enabled: {arguments.name}", file=sys.stderr)
    return 0


def _role(arguments: argparse.Namespace) -> int:
    from api.people.users import ROLE_CHANGED, change_user

    change_user(_store(), arguments.name, ROLE_CHANGED, _operator(), role=arguments.role)
    print(f"{arguments.name} is {arguments.role} from the next sign-in on", file=sys.stderr)
    return 0


def _store():
    from api.cases.store import CaseStore  # the database is loaded by the command that needs it alone

    return CaseStore.open(Settings.from_environment(os.environ).database)


def _operator():
    from api.cases.store import Who

    return Who("administrator", COMMAND_LINE)
