"""The command of the set-up sample: `spc setup`."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spc.cli.audit import read_audit
from spc.cli.given import person, zone_named
from spc.cli.options import AsJson, CatalogueFile, Events, LogOrStore, Now, StoreForLog, Zone
from spc.cli.terminal import console, echo_json
from spc.errors import InputError

if TYPE_CHECKING:
    from spc.catalogue.check import Catalogue
    from spc.run_start import Circuit, Reference


def add_commands(app: typer.Typer) -> None:
    """Add the command of the set-up sample to `app`."""
    app.command()(setup)


def setup(
    line: Annotated[str, typer.Option(help="Line that is set up.", show_default=False)],
    log: LogOrStore = None,
    store: StoreForLog = None,
    events: Events = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    now: Now = None,
    part: Annotated[str, typer.Option(help="Shape of the part.", show_default=False)] = "",
    technique: Annotated[
        str,
        typer.Option(help="direct contact, central conductor, coil or multidirectional.", show_default=False),
    ] = "",
    circuit: Annotated[
        list[str] | None,
        typer.Option(help="A circuit and its amperes: head=1500; may be given again.", show_default=False),
    ] = None,
    continuous: Annotated[bool, typer.Option(help="Whether the bath is on the part while the current flows.")] = True,
    shim: Annotated[str | None, typer.Option(help="Notched shim: its type.", show_default=False)] = None,
    where: Annotated[str, typer.Option(help="Where on the part the shim sits.", show_default=False)] = "",
    ring: Annotated[str | None, typer.Option(help="Ring specimen: its type.", show_default=False)] = None,
    amperes: Annotated[float | None, typer.Option(help="Current through the ring.", show_default=False)] = None,
    minimum: Annotated[
        int | None, typer.Option(help="Least holes asked. [default: the catalogue's]", show_default=False)
    ] = None,
    known_part: Annotated[
        str | None, typer.Option(help="Part with known defects: its name.", show_default=False)
    ] = None,
    expected: Annotated[int | None, typer.Option(help="Indications expected of it.", show_default=False)] = None,
    seen: Annotated[
        str, typer.Option(help="What was seen: shown, partly or not shown; or how many.", show_default=False)
    ] = "",
    photo: Annotated[Path | None, typer.Option(help="Picture of it.", show_default=False)] = None,
    note: Annotated[str, typer.Option(help="Anything else.", show_default=False)] = "",
    by: Annotated[
        str | None, typer.Option(help="Who made it. [default: this machine's user]", show_default=False)
    ] = None,
    runs: Annotated[bool, typer.Option("--runs", help="Tell of the line's samples in the store instead.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write down the set-up sample before a run; where it shows too little, lead through what to look at."""
    from spc.run_start import SetupSample, Technique, checked
    from spc.setup_look import guided_look

    if runs:
        if log is not None:
            raise InputError("--runs tells of the samples in the store; leave the log out")
        print_runs(line, store, zone, as_json=as_json)
        return
    audit = read_audit(log, store, events, catalogue, None, zone, None, now)
    seen_of = reference_given(
        audit.catalogue_at(line, audit.ledger.now),
        shim=shim,
        where=where,
        ring=ring,
        amperes=amperes,
        minimum=minimum,
        known_part=known_part,
        expected=expected,
        seen=seen,
    )
    circuits = tuple(map(circuit_given, circuit or ()))
    made = checked(
        SetupSample(
            at=audit.ledger.now,
            line=line,
            part_shape=part,
            technique=Technique(technique, circuits, continuous),  # type: ignore[arg-type]  # refused where it is none
            reference=seen_of,
            by=person(by),
            photo=str(photo or ""),
            note=note,
        )
    )
    results = audit.monitored(key for key in audit.streams if key.line == line)
    look = guided_look(made, results, zone=audit.ledger.zone, now=audit.ledger.now)
    if log is None:
        from spc.store.store import Store

        with Store.open(store, must_exist=True) as kept:
            kept.append(made, who=made.by, now=datetime.now(UTC))
    if as_json:
        from spc.as_json.audit import setup_json

        echo_json(setup_json(made, look, audit.ledger))
    else:
        from spc.printed.setup_look import setup_printed

        console().print(setup_printed(made, look, audit.ledger.zone))


def print_runs(line: str, store: str | None, zone: str | None, *, as_json: bool) -> None:
    """Print how often the set-up samples of a line, kept in the store, showed too little."""
    from spc.ingest.dates import machine_zone
    from spc.printed.setup_look import runs_printed
    from spc.run_start import SetupSample, counts_by_month, runs_between_failures
    from spc.store.store import Store

    with Store.open(store, must_exist=True) as kept:
        samples = [entry.record for entry in kept.records(SetupSample, line)]
    if not samples:
        raise InputError(f"the store has no set-up sample of {line!r}; write the first down with spc setup")
    months, counts = counts_by_month(samples, line=line, zone=zone_named(zone) or machine_zone())
    gaps, limits = runs_between_failures(samples, line=line)
    if as_json:
        rows = [{"month": m, "failed": f, "inspected": n} for m, (f, n) in zip(months, counts, strict=True)]
        echo_json({"line": line, "months": rows, "good_runs_between": list(gaps)})
    else:
        console().print(runs_printed(line, months, counts, limits))


def circuit_given(text: str) -> "Circuit":
    """Return the circuit that "head=1500" names.

    Raises:
        InputError: it names none.
    """
    from spc.run_start import Circuit

    name, _, amperes = text.rpartition("=")
    try:
        return Circuit(name.strip(), float(amperes))
    except ValueError:
        raise InputError(f"--circuit {text!r} is no circuit; write its name and amperes, such as head=1500") from None


def reference_given(
    catalogue: "Catalogue",
    *,
    shim: str | None,
    where: str,
    ring: str | None,
    amperes: float | None,
    minimum: int | None,
    known_part: str | None,
    expected: int | None,
    seen: str,
) -> "Reference":
    """Return the reference that the options name.

    Raises:
        InputError: none, or more than one is named, or something of it is missing.
    """
    from spc.run_start import KnownDefectPart, NotchedShim, RingHoles, ring_minimum

    if sum(given is not None for given in (shim, ring, known_part)) != 1:
        raise InputError("a sample needs one reference; give one of --shim, --ring and --known-part")
    if shim is not None:
        return NotchedShim(shim, where, seen.casefold().strip())
    if not seen.isdecimal():
        raise InputError(f"--seen {seen!r} is no count; write how many holes or indications were seen")
    if ring is not None:
        if amperes is None:
            raise InputError("the current through the ring is not known; give --amperes")
        least = minimum if minimum is not None else ring_minimum(catalogue, amperes)
        if least is None:
            raise InputError(f"the catalogue has no minimum at {amperes:g} A; give --minimum, from your procedure")
        return RingHoles(ring, amperes, int(seen), least)
    if expected is None:
        raise InputError("how many indications are expected is not known; give --expected")
    return KnownDefectPart(known_part or "", int(seen), expected)
