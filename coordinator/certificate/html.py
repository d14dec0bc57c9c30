"""Write a certificate as one HTML file, pictures inside, nothing fetched from elsewhere."""

from coordinator.certificate.content import BOLT_COLUMNS, SIGNATURES, TOOL_COLUMNS, Certificate
from coordinator.certificate.drawing import draw_circle, draw_plot
from coordinator.packaged import render

_PENS = {"plain": ("#1a1a1a", 1.0), "strong": ("#000000", 2.2), "pale": ("#8a8a8a", 0.8)}


def to_html(made: Certificate) -> str:
    """Return the certificate as HTML."""
    return render(
        "coordinator.certificate",
        "certificate.html.j2",
        made=made,
        circle=draw_circle(made.circle),
        plots=[draw_plot(plot) for plot in made.plots],
        bolt_columns=BOLT_COLUMNS,
        tool_columns=TOOL_COLUMNS,
        signatures=SIGNATURES,
        pens=_PENS,
    )
