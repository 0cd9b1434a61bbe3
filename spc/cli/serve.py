"""The command of the dashboard: `spc serve`."""

from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from spc.cli.given import zone_named
from spc.cli.options import CatalogueFile, Dates, Events, Host, Port, StoreAddress, Zone, quiet


def add_commands(app: typer.Typer) -> None:
    """Add the command of the dashboard to `app`."""
    app.command()(serve)


def serve(
    store: StoreAddress = None,
    follow: Annotated[
        Path | None,
        typer.Option(help="Check log to follow as it grows; without --store, it alone is shown.", show_default=False),
    ] = None,
    events: Events = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    calendar: Annotated[
        Path | None, quiet("When the site works (TOML), for checks that are overdue. [default: around the clock]")
    ] = None,
    fleet: Annotated[Path | None, quiet("Folder of results of `spc fleet --out`, for the fleet page.")] = None,
    host: Host = "127.0.0.1",
    port: Port = 8050,
    behind_proxy: Annotated[
        str | None, quiet("Name by which browsers know a proxy on this machine that lets them in over TLS.")
    ] = None,
    log_format: Annotated[
        Literal["plain", "json"] | None,
        quiet("Log every request to the standard error: plain or json. [default: what goes wrong alone]"),
    ] = None,
    idle: Annotated[
        float, typer.Option(help="Minutes without a touch after which a signed-in screen asks who is there.", min=1)
    ] = 15.0,
) -> None:
    """Show the dashboard on the store, or on a log: a row appended to the file is on the screen at once."""
    show_board(
        log=follow,
        store=_to_show(store, follow),
        events=events,
        catalogue=catalogue,
        zone=zone_named(zone),
        dates=dates,
        calendar=calendar,
        fleet=fleet,
        host=host,
        port=port,
        behind_proxy=behind_proxy,
        log_format=log_format,
        idle_minutes=idle,
    )


def show_board(**settings: Any) -> None:
    """Show the dashboard until it is asked to end; `settings` as `dashboard.settings.Settings` has them."""
    from dashboard.server import serve as serve_dashboard
    from dashboard.settings import Settings

    serve_dashboard(Settings(**settings))


def _to_show(store: str | None, follow: Path | None) -> str | None:
    """Return the store that the dashboard shows: the one named, the usual one without a log, None for a log alone."""
    if store is not None or follow is not None:
        return store
    from spc.store.engine import default_store

    return default_store()
