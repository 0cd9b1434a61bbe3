"""The command of what run rules cost: `spc arl`."""

from pathlib import Path
from typing import Annotated

import typer

from spc.cli.given import zone_named
from spc.cli.options import AsJson, CatalogueFile, Dates, Events, Zone, quiet
from spc.cli.terminal import console, echo_json
from spc.errors import InputError


def add_commands(app: typer.Typer) -> None:
    """Add the command of run rules to `app`."""
    app.command()(arl)


def arl(
    check: Annotated[str, typer.Option(help="Key of the check, such as bath_concentration.", show_default=False)],
    sigma: Annotated[float | None, quiet("Sigma of its control limits, in the unit of its chart.")] = None,
    log: Annotated[Path | None, quiet("Check log to take sigma from, in place of --sigma.")] = None,
    line: Annotated[str | None, quiet("Line whose stream to take from the log.")] = None,
    position: Annotated[str | None, quiet("Position whose stream to take from the log.")] = None,
    shift: Annotated[
        list[float] | None,
        quiet("Shift to look for, in the unit of its chart; may be given again. [default: 1, 2 and 3 sigma]"),
    ] = None,
    rules: Annotated[
        list[str] | None,
        quiet("Run rules and rule sets, joined by commas; may be given again. [default: the catalogue's]"),
    ] = None,
    compare: Annotated[str | None, quiet("Rule sets to put beside them, joined by commas, or all.")] = None,
    every: Annotated[str | None, quiet("Time from check to check, such as 8h. [default: the catalogue's]")] = None,
    per_year: Annotated[float | None, quiet("Checks in a year, in place of the time between them.")] = None,
    correlation: Annotated[float, typer.Option(help="Correlation of a reading and the one before.")] = 0.0,
    seed: Annotated[int, typer.Option(help="Seed of what has to be simulated.", min=0)] = 1,
    events: Events = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Tell what run rules cost a check: false alarms a year, checks and days until a shift is seen."""
    import numpy as np

    from spc.catalogue.load import load_catalogue
    from spc.rule_choice.cost import compared_rules, every_given, given_sigma, rules_cost, sigma_of_stream, stream_named

    if (sigma is None) == (log is None):
        raise InputError("sigma is not known; give one of --sigma and --log, and not both")
    if log is None and (line, position, events) != (None, None, None):
        raise InputError("--line, --position and --events belong to --log; give it in place of --sigma")
    found = load_catalogue(catalogue).named(check)
    if log is None:
        of_chart = given_sigma(sigma or 0.0)
    else:
        from spc.scan import scan as scan_log

        scanned = scan_log(log, events=events, catalogue=catalogue, zone=zone_named(zone), dates=dates)
        stream = stream_named(scanned.streams, check, line=line, position=position)
        found, of_chart = stream.check, sigma_of_stream(stream)
    cost = rules_cost(
        every_given(found, every),
        compared_rules(rules or (), compare, found),
        shift or (),
        sigma=of_chart,
        generator=np.random.default_rng(seed),
        per_year=per_year,
        lag_correlation=correlation,
    )
    if as_json:
        from spc.as_json.rules_cost import rules_cost_json

        echo_json(rules_cost_json(cost))
    else:
        from spc.printed.rules_cost import rules_cost_printed

        console().print(rules_cost_printed(cost))
