"""The numbers that EWMA and CUSUM are drawn with: out of an address, and in words."""

from dataclasses import replace
from typing import Any

from dashboard.queries.remembered import Remembered
from dashboard.urls import StreamView
from dashboard.views.choices import Setting, Settings
from spc.errors import InputError
from spc.formats import formats_now
from spc.other_charts import SETTINGS_OF, SETTINGS_WITHIN, USUAL_SETTINGS, ChartSettings, false_alarm_every
from spc.wording import in_figures

NAMES = {"weight": "lam", "width": "width", "slack": "k", "decision": "h"}
"""What an address calls each setting."""

LABELS = {
    "weight": ("Weight of the newest reading", "\N{GREEK SMALL LETTER LAMDA}, {low} to {high}"),
    "width": ("Width of the limits", "sigmas of the average, {low} to {high}"),
    "slack": ("Slack", "k, in sigmas: half the change to find, {low} to {high}"),
    "decision": ("Sum that signals", "h, in sigmas, {low} to {high}"),
}


def settings_of(view: StreamView) -> tuple[ChartSettings, str]:
    """Return the settings that an address asks for, and why one of them is not used; "" where all are."""
    found, refused = USUAL_SETTINGS, []
    for name in SETTINGS_OF.get(view.chart, ()):
        text = getattr(view, NAMES[name])
        try:
            found = replace(found, **{name: _number(name, text)}) if text else found
        except InputError as error:
            refused.append(str(error))
    return found, " ".join(refused)


def _number(name: str, text: str) -> float:
    """Return a setting as an address writes it.

    Raises:
        InputError: it is no number, or none that can be drawn.
    """
    low, high = SETTINGS_WITHIN[name]
    label = LABELS[name][0]
    try:
        value = float(text) if len(text) <= 12 else None
    except ValueError:
        value = None
    if value is None or not low <= value <= high:
        shown = text if len(text) <= 12 else f"{text[:12]} ..."
        raise InputError(f"{label} cannot be “{shown}”: give {_told(low)} to {_told(high)}; the usual one is drawn.")
    return value


def _told(value: float) -> str:
    return formats_now().written(f"{value:g}")


def with_settings(view: StreamView, fields: dict[str, str]) -> StreamView:
    """Return the view drawn with the numbers that a person typed as the site writes them; usual ones are left out."""
    asked: dict[str, Any] = {}
    for setting, name in NAMES.items():
        if name in fields:
            text = _canonical(fields[name].strip()[:40])
            usual = f"{getattr(USUAL_SETTINGS, setting):g}"
            asked[name] = "" if text == usual else text
    return replace(view, **asked)


def _canonical(text: str) -> str:
    """Return a typed number with a point; as it was typed where it can be read two ways, to be refused in words."""
    try:
        return formats_now().read(text)
    except InputError:
        return text


def settings_shown(view: StreamView, chart: str, memory: Remembered) -> Settings:
    """Return the settings of a chart for its page."""
    if chart not in SETTINGS_OF:
        return Settings()
    settings, refused = settings_of(view)
    fields = []
    for name in SETTINGS_OF[chart]:
        low, high = (_told(end) for end in SETTINGS_WITHIN[name])
        label, hint = LABELS[name]
        value = _told(getattr(settings, name))
        fields.append(Setting(NAMES[name], label, value, hint.format(low=low, high=high)))
    every = memory.once(("false alarms", chart, settings), (), lambda: false_alarm_every(chart, settings))
    rate = "fewer than one in a million" if every is None else f"one in about {in_figures(every, 2)}"
    return Settings(
        fields=tuple(fields),
        says=f"False alarms: {rate} readings that do not follow one another, around a level that stays and is known.",
        usual="" if settings == USUAL_SETTINGS else replace(view, lam="", width="", k="", h="").href,
        refused=refused,
    )
