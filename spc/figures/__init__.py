"""Every chart people see: a result in, a plotly figure or a picture out. Nothing here computes a limit."""

from spc.figures.course import Course as Course
from spc.figures.course import course as course
from spc.figures.frame import Screen as Screen
from spc.figures.individuals import places_drawn as places_drawn
from spc.figures.stream import stream_figure as stream_figure
from spc.figures.theme import THEMES as THEMES
from spc.figures.theme import Theme as Theme
from spc.figures.warning import with_forecast as with_forecast
from spc.figures.window import Window as Window
from spc.figures.window import all_readings as all_readings
from spc.figures.window import around as around
from spc.figures.window import last_readings as last_readings
from spc.figures.window import last_segment as last_segment

__all__ = [
    "THEMES",
    "Course",
    "Screen",
    "Theme",
    "Window",
    "all_readings",
    "around",
    "course",
    "last_readings",
    "last_segment",
    "places_drawn",
    "stream_figure",
    "with_forecast",
]
