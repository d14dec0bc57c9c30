"""Draw a sequence: the lanes side by side, with the barriers across them.

`to_chart` makes a neutral picture out of a loaded sequence; `to_svg` and `to_mermaid` write it.
"""

from coordinator.draw.chart import Chart
from coordinator.draw.folded import to_chart
from coordinator.draw.mermaid import to_mermaid
from coordinator.draw.svg import to_svg
from coordinator.draw.unrolled import to_unrolled_chart

__all__ = ["Chart", "to_chart", "to_mermaid", "to_svg", "to_unrolled_chart"]
