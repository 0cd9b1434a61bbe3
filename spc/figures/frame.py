"""Where the parts of a chart stand, in pixels of the screen it is drawn for."""

from dataclasses import dataclass

from spc.figures.theme import FONT_SIZE, SMALL, THEMES, Theme

NARROW = 620
"""Width in pixels, at normal letter size, below which words beside the chart are shortened."""


WIDE = 1000
"""Width from which a chart is drawn higher."""


@dataclass(frozen=True, slots=True)
class Screen:
    """What a chart is drawn for."""

    theme: str = "light"  # a key of THEMES
    width: int = 960  # pixels the chart has
    scale: float = 1.0  # size of letters, 1 being normal; a wall screen asks for more

    @property
    def colours(self) -> Theme:
        """The theme's colours."""
        return THEMES[self.theme]

    @property
    def narrow(self) -> bool:
        """Whether there is little room for words."""
        return self.width < NARROW * self.scale


@dataclass(frozen=True, slots=True)
class Frame:
    """Sizes in pixels, from top to bottom: lanes for events, main pane, gap, range pane, axis."""

    screen: Screen
    lanes: int
    main: int
    ranges: int  # height of the lower pane; 0 where there is none

    @property
    def lane(self) -> int:
        """Height of one lane of event labels."""
        return self.px(20)

    @property
    def gap(self) -> int:
        """Space between the panes."""
        return self.px(22) if self.ranges else 0

    @property
    def left(self) -> int:
        """Space for axis titles and ticks."""
        return self.px(56 if self.screen.narrow else 76)

    @property
    def right(self) -> int:
        """Space for the names of the lines."""
        return self.px(92 if self.screen.narrow else 104)

    @property
    def top(self) -> int:
        """Space above everything."""
        return self.px(8)

    @property
    def bottom(self) -> int:
        """Space for the time axis."""
        return self.px(46)

    @property
    def plot_width(self) -> int:
        """Width between the margins."""
        return max(self.px(80), self.screen.width - self.left - self.right)

    @property
    def plot_height(self) -> int:
        """Height between the margins."""
        return self.lanes * self.lane + self.main + self.gap + self.ranges

    @property
    def height(self) -> int:
        """Height of the whole figure."""
        return self.top + self.plot_height + self.bottom

    @property
    def range_domain(self) -> tuple[float, float]:
        """The lower pane, as a part of the height between the margins."""
        return 0.0, self.ranges / self.plot_height

    @property
    def main_domain(self) -> tuple[float, float]:
        """The main pane, likewise."""
        low = (self.ranges + self.gap) / self.plot_height
        return low, low + self.main / self.plot_height

    @property
    def lane_domain(self) -> tuple[float, float]:
        """The lanes of event labels, likewise."""
        return self.main_domain[1], 1.0

    @property
    def font(self) -> int:
        """Letter size."""
        return self.px(FONT_SIZE)

    @property
    def small(self) -> int:
        """Letter size of what is said beside the chart."""
        return self.px(SMALL)

    def px(self, size: float) -> int:
        """Return `size` at the letter size of the screen."""
        return round(size * self.screen.scale)

    def text_width(self, text: str) -> float:
        """Return about how wide `text` is in small letters; rather too wide than too narrow."""
        return 0.56 * self.small * len(text)


def frame_for(screen: Screen, *, lanes: int, ranges: bool, main: int | None = None) -> Frame:
    """Return the sizes of a chart with `lanes` lanes of event labels, with or without a range pane."""
    usual = 270 if screen.narrow else 330 if screen.width < WIDE * screen.scale else 400
    height = main if main is not None else usual
    main_px = round(height * screen.scale)
    return Frame(screen, lanes, main_px, round(118 * screen.scale) if ranges else 0)
