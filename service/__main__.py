"""`setbook` and `python -m service`: what is typed, and the verb that does it."""

import argparse
import logging
import os
import sys
from collections.abc import Callable
from uuid import UUID

from service import __version__, cli
from service.kernel.errors import CannotStart


def main() -> None:
    """Run one verb; what it cannot do it says in one sentence, with status 78 (EX_CONFIG of sysexits.h)."""
    given = parser().parse_args()
    logging.basicConfig(level=logging.INFO, stream=sys.stderr, format="%(name)s: %(message)s")
    try:
        given.verb(given)
    except CannotStart as error:
        print(f"setbook: {error}", file=sys.stderr)
        sys.exit(os.EX_CONFIG)


def whole(least: int, most: int) -> Callable[[str], int]:
    """Reads a number as it is typed, within bounds."""

    def read(text: str) -> int:
        if not (text.isascii() and text.isdigit() and least <= int(text) <= most):
            raise argparse.ArgumentTypeError(f"must be a whole number from {least} to {most}, not {text!r}")
        return int(text)

    return read


def parser() -> argparse.ArgumentParser:
    """The verbs and their arguments."""
    top = argparse.ArgumentParser(prog="setbook", description="The record book, the clock and the courier.")
    top.add_argument("--version", action="version", version=__version__)
    verbs = top.add_subparsers(required=True, metavar="VERB")
    data = argparse.ArgumentParser(add_help=False)
    data.add_argument("--data", metavar="FOLDER", help="in place of SETBOOK_DATA (default: .setbook)")

    serve = verbs.add_parser("serve", parents=[data], help="run everything, or one role")
    serve.add_argument(
        "--role", choices=["api", "clock", "courier"], help="only this, on SETBOOK_DATABASE_URL"
    )
    serve.add_argument("--host", help="in place of SETBOOK_HOST (default: 127.0.0.1)")
    serve.add_argument("--port", help="in place of SETBOOK_PORT (default: 8080)")
    serve.set_defaults(verb=cli.serve)

    migrate = verbs.add_parser(
        "migrate",
        parents=[data],
        help="bring the database up to this version, once all roles of an older one have ended",
    )
    migrate.set_defaults(verb=cli.migrate)

    business = verbs.add_parser("business", help="businesses").add_subparsers(required=True, metavar="VERB")
    add = business.add_parser("add", parents=[data], help="add one, and show its first key")
    add.add_argument("name")
    add.add_argument("--zone", required=True, help="IANA time zone, such as America/Los_Angeles")
    add.set_defaults(verb=cli.business_add)

    signing = verbs.add_parser("signing-key", help="keys that sign records and seals").add_subparsers(
        required=True, metavar="VERB"
    )
    rotate = signing.add_parser("rotate", parents=[data], help="sign with a new key; old ones stay published")
    rotate.set_defaults(verb=cli.signing_key_rotate)
    kept = signing.add_parser("list", parents=[data], help="show every key that signs or ever signed")
    kept.set_defaults(verb=cli.signing_key_list)

    _for_the_desk(verbs, data)
    verbs.add_parser("schema", help="write the contract's files").set_defaults(verb=cli.schema)
    return top


def _for_the_desk(
    verbs: "argparse._SubParsersAction[argparse.ArgumentParser]", data: argparse.ArgumentParser
) -> None:
    """What an integrator, an auditor or whoever writes rule packs types."""
    packs = verbs.add_parser("packs", help="rule packs").add_subparsers(required=True, metavar="VERB")
    check = packs.add_parser("check", help="say what is wrong with files of rule packs, line by line")
    check.add_argument("files", nargs="+", metavar="FILE")
    check.set_defaults(verb=cli.packs_check)

    verify = verbs.add_parser("verify", help="check records, exports and sealed months offline")
    verify.add_argument(
        "files", nargs="+", metavar="FILE", help="a record, an export, a seal, a zip, a folder of these"
    )
    verify.add_argument(
        "--keys", metavar="FILE", help="the issuer's key set (default: keys.json beside the records)"
    )
    verify.set_defaults(verb=cli.verify)

    listen = verbs.add_parser("listen", help="receive webhooks, verify and print them")
    listen.add_argument(
        "--secret", required=True, help="the endpoint's secret, whsec_..., or its public key, whpk_..."
    )
    listen.add_argument("--host", default="127.0.0.1")
    listen.add_argument("--port", type=whole(0, 65_535), default=0, help="default: a free one")
    listen.add_argument("--count", type=whole(1, 1_000_000), help="stop after so many")
    listen.set_defaults(verb=cli.listen)

    explain = verbs.add_parser(
        "explain",
        parents=[data],
        help="work a deadline out again, and say why",
        description="Works a deadline out again from what was stated alone, says why and until when, and ends with "
        "status 1 where the book says otherwise. Asks the database, not the API.",
    )
    explain.add_argument(
        "deadline_id", type=UUID, metavar="DEADLINE_ID", help="its id, as /v1/deadlines and events give it"
    )
    explain.set_defaults(verb=cli.explain)


if __name__ == "__main__":
    main()
