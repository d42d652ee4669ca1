"""Where the lanes of a timeline stand: heights in pixels, one table a layout."""

from dataclasses import dataclass
from enum import StrEnum


class Lane(StrEnum):
    """The lanes of a timeline, from the top."""

    LEGEND = "legend"
    SETTINGS = "settings"
    CO2 = "co2"
    NIGHTS = "nights"
    SYMPTOMS = "symptoms"
    USE = "use"
    LEAK = "leak"
    EVENTS = "events"


@dataclass(frozen=True, slots=True)
class Place:
    """Top and bottom of a lane [px from the top of the plot]."""

    top: float
    bottom: float

    @property
    def middle(self) -> float:
        """Half way down [px]."""
        return (self.top + self.bottom) / 2


@dataclass(frozen=True, slots=True)
class Layout:
    """One arrangement of lanes and its sizes.

    Attributes
    ----------
    name : str
        Its name.
    heights : tuple of (Lane, float)
        Height of each lane shown [px], from the top; a lane not named is not drawn.
    gap_px : float
        Between two lanes [px].
    font_px : float
        Text size [px].
    sign_px2 : float
        Area of a reading's sign [px2].
    line_px : float
        Width of a line of data [px].
    margin_px : float
        Room for the lane names on the left [px].
    plot_px : float
        Width of the plot at which texts are set out so that they do not collide [px].
    ticks : int
        At most so many ticks on the time axis.
    """

    name: str
    heights: tuple[tuple[Lane, float], ...]
    gap_px: float
    font_px: float
    sign_px2: float
    line_px: float
    margin_px: float
    plot_px: float
    ticks: int

    def place(self, lane: Lane) -> Place:
        """Give where a lane stands.

        Raises
        ------
        KeyError
            This layout does not show the lane.
        """
        top = 0.0
        for name, height in self.heights:
            if name == lane:
                return Place(top, top + height)
            top += height + self.gap_px
        raise KeyError(f"layout {self.name!r} has no lane {lane.value!r}")

    @property
    def height_px(self) -> float:
        """Height of the plot [px]."""
        return sum(height for _, height in self.heights) + self.gap_px * (len(self.heights) - 1)

    @property
    def row_px(self) -> float:
        """Height of one row of text [px]."""
        return round(self.font_px * 1.25)

    def shows(self, lane: Lane) -> bool:
        """Whether the layout draws a lane."""
        return any(name == lane for name, _ in self.heights)


REVIEW = Layout(
    "review",
    (
        (Lane.LEGEND, 34.0),
        (Lane.SETTINGS, 36.0),
        (Lane.CO2, 216.0),
        (Lane.NIGHTS, 74.0),
        (Lane.SYMPTOMS, 96.0),
        (Lane.USE, 44.0),
        (Lane.LEAK, 32.0),
        (Lane.EVENTS, 34.0),
    ),
    gap_px=12.0,
    font_px=12.0,
    sign_px2=95.0,
    line_px=1.2,
    margin_px=128.0,
    plot_px=860.0,
    ticks=10,
)
"""One person at a desk."""

MEETING = Layout(
    "meeting",
    ((Lane.LEGEND, 74.0), (Lane.SETTINGS, 40.0), (Lane.CO2, 278.0)),
    gap_px=14.0,
    font_px=28.0,
    sign_px2=460.0,
    line_px=2.6,
    margin_px=150.0,
    plot_px=1360.0,
    ticks=8,
)
"""One person on the wall of a meeting room: text of 28 px, read at 2.5 to 3 m on a 55-inch screen."""

LAYOUTS: dict[str, Layout] = {layout.name: layout for layout in (REVIEW, MEETING)}
