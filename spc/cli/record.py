"""The commands that read the record and sign for it: `spc baseline`, `spc history`."""

from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Annotated, Any

import typer

from spc.cli.audit import read_audit, wanted_streams
from spc.cli.given import moment_given, person, zone_named
from spc.cli.options import AsJson, CatalogueFile, CheckKey, Line, Now, Position, StoreForLog, Zone
from spc.cli.terminal import console, echo_json
from spc.errors import InputError

if TYPE_CHECKING:
    from spc.baseline_book import ReviewedReadings
    from spc.records import StreamKey
    from spc.results import StreamResult

SEED = 1
"""Of the simulated p values of a review: the same review is said the same way each time."""

STEPS = ("proposed", "reviewed", "signed off", "withdrawn")


def add_commands(app: typer.Typer) -> None:
    """Add the commands of the record to `app`."""
    for command in (baseline, history):
        app.command()(command)


def baseline(
    store: StoreForLog = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    now: Now = None,
    line: Line = None,
    check: CheckKey = None,
    position: Position = None,
    step: Annotated[
        str | None,
        typer.Option(help="What is done: proposed, reviewed, 'signed off' or withdrawn.", show_default=False),
    ] = None,
    version: Annotated[int | None, typer.Option(help="Version. [default: the newest]", show_default=False)] = None,
    first: Annotated[
        str | None,
        typer.Option("--from", help="First reading of a proposal. [default: the segment's first]", show_default=False),
    ] = None,
    last: Annotated[
        str | None,
        typer.Option("--to", help="Last reading. [default: as many as the catalogue asks for]", show_default=False),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            help="Reading to leave out and its cause: '2025-03-04T06:10=tube not rinsed'; may be given again.",
            show_default=False,
        ),
    ] = None,
    valid_from: Annotated[
        str | None,
        typer.Option(
            help="From when on it sets the limits, or no longer does. [default: the clock's]", show_default=False
        ),
    ] = None,
    words: Annotated[str, typer.Option(help="Why.")] = "",
    by: Annotated[
        str | None, typer.Option(help="Who does it. [default: this machine's user]", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List the baselines of the store, review one, or keep a step: proposed, reviewed, signed off, withdrawn."""
    from spc.baseline_book import propose, take_step, versions
    from spc.ingest.dates import machine_zone
    from spc.store.store import Store

    if step is not None and step not in STEPS:
        raise InputError(f"--step {step!r} is none; write one of {', '.join(STEPS)}")
    if step is None and (leave_out or valid_from or words or version):
        raise InputError("--version, --leave-out, --valid-from and --words belong to a step; give --step as well")
    if step != "proposed" and leave_out:
        raise InputError("--leave-out belongs to --step proposed; propose a new version")
    audit = read_audit(None, store, None, catalogue, None, zone, None, now)
    site = audit.ledger.zone or machine_zone()
    wanted = wanted_streams(audit, line, check, position)
    keys = [key for key in sorted(audit.streams) if wanted.holds(key)]
    if step is not None and len(keys) != 1:
        raise InputError("a step is that of one stream; give --line, --check and --position")
    reviewed, clock = None, datetime.now(UTC) if now is None else audit.ledger.now.astimezone(UTC)
    with Store.open(store, must_exist=True) as kept:
        result = audit.monitored(keys)[0] if len(keys) == 1 else None
        if step == "proposed" and result is not None:
            propose(
                kept,
                result,
                words=words,
                left_out=dict(left_out_given(each, site) for each in leave_out or ()),
                first=_in(site, first, "--from"),
                last=_in(site, last, "--to"),
                who=person(by),
                now=clock,
            )
        elif step is not None:
            newest = version or max(
                (each.stands.version for each in versions(kept, keys[0]).get(keys[0], ())), default=1
            )
            at = _in(site, valid_from, "--valid-from")
            take_step(kept, keys[0], newest, step, words=words, valid_from=at, who=person(by), now=clock)  # type: ignore[arg-type]  # one of STEPS
        elif result is not None:
            reviewed = review_of(result, _in(site, first, "--from"), _in(site, last, "--to"))
        found = {key: of_key for key, of_key in versions(kept).items() if wanted.holds(key)}
    if as_json:
        from spc.as_json.audit import baselines_json

        echo_json(baselines_json(found, reviewed))
    else:
        from spc.printed.baselines import baselines_printed

        console().print(baselines_printed(found, reviewed, site))


def review_of(
    result: "StreamResult", first: datetime | None, last: datetime | None
) -> "tuple[StreamResult, ReviewedReadings] | None":
    """Return what speaks against the readings of a baseline; None where nothing is charted or they are too few."""
    import numpy as np

    from spc.baseline_book import readings_reviewed

    if not result.segments:
        return None
    try:
        return result, readings_reviewed(result, generator=np.random.default_rng(SEED), first=first, last=last)
    except InputError:
        if (first, last) != (None, None):
            raise
        return None


def left_out_given(text: str, zone: tzinfo) -> tuple[datetime, str]:
    """Return the reading and the cause that "2025-03-04T06:10=cause" names.

    Raises:
        InputError: it names none.
    """
    at, separator, cause = text.partition("=")
    if not separator or not cause.strip():
        raise InputError(f"--leave-out {text!r} names no cause; write the time, an equals sign and what was found")
    moment = _in(zone, at.strip(), "--leave-out")
    assert moment is not None
    return moment, cause.strip()


def _in(zone: tzinfo, text: str | None, option: str) -> datetime | None:
    moment = moment_given(text, option)
    return moment if moment is None or moment.tzinfo is not None else moment.replace(tzinfo=zone)


def history(
    store: StoreForLog = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    line: Annotated[str | None, typer.Option(help="Line of the stream.", show_default=False)] = None,
    check: Annotated[str | None, typer.Option("--check", help="Its check.", show_default=False)] = None,
    position: Annotated[str, typer.Option(help="Its position, where it has one.", show_default=False)] = "",
    at: Annotated[str | None, typer.Option(help="When a reading was taken, to the minute.", show_default=False)] = None,
    last: Annotated[int, typer.Option(help="How many changes to show, the latest.", min=1)] = 50,
    as_json: AsJson = False,
) -> None:
    """Tell who changed what, when and why: of everything, of one stream, or of one of its readings."""
    from spc.catalogue.load import load_catalogue
    from spc.ingest.dates import machine_zone
    from spc.records import StreamKey
    from spc.store.history import history as history_of
    from spc.store.store import Store

    if (line is None) != (check is None) or (at is not None and line is None):
        raise InputError("a stream is named by its line, check and position; give --line, --check and --position")
    site = zone_named(zone) or machine_zone()
    key = StreamKey(line, check, position) if line is not None and check is not None else None
    with Store.open(store, must_exist=True) as kept:
        if key is not None:
            refuse_unknown(key, [each.key for each in kept.kept_streams()])
        known = load_catalogue(catalogue)
        found = history_of(kept, known, key=key, taken_at=_in(site, at, "--at"), zone=site)
    shown = found[-last:]
    if as_json:
        echo_json(
            {
                "changes": len(found),
                "shown": [
                    {
                        "entry": each.entry,
                        "at": each.at.isoformat(),
                        "who": each.who,
                        "kind": each.kind,
                        "about": each.about,
                        "words": each.words,
                    }
                    for each in shown
                ],
            }
        )
    else:
        from spc.printed.baselines import history_printed

        console().print(history_printed(shown, len(found), site, known))


def refuse_unknown(key: "StreamKey", have: "list[StreamKey]") -> Any:
    """Refuse a stream that the store does not hold.

    Raises:
        InputError: so; the message names what is near.
    """
    from spc.catalogue.table import nearest

    if key not in have:
        raise InputError(f"{key}: the store holds no such stream; {nearest(str(key), [str(each) for each in have])}")
