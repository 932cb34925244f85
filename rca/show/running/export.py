"""An executed notebook as one self-contained page that asks nothing of any network."""

import html
import json
import warnings
from pathlib import Path
from typing import Any

from rca.errors import RcaError
from rca.records.number_style import NumberStyle
from rca.show import page

PLOTLY = "application/vnd.plotly.v1+json"
WIDGET = "application/vnd.jupyter.widget-view+json"
NOT_ON_PAGE = "not-on-page"  # tag of cells that serve the tests of the workbooks only
PLAIN = NumberStyle()
_CONFIG = {"displayModeBar": False, "responsive": True}


def notebook_to_page(
    notebook: Path, *, title: str, made: str = "", style: NumberStyle = PLAIN
) -> str:
    """Return the notebook's outputs as a page: code hidden, figures drawn, nothing loaded.

    Parameters
    ----------
    made
        When the page was made, for its foot: the one thing in which two runs of the same inputs
        differ.
    style
        How the figures write numbers.

    Raises
    ------
    RcaError
        A figure of the notebook did not reach the page.
    """
    import nbformat
    from traitlets.config import Config

    node = nbformat.read(notebook, as_version=4)
    wanted = _draw_plotly_as_html(node, style)
    config = Config()
    config.HTMLExporter.extra_template_basedirs = [str(Path(__file__).parents[1] / "templates")]
    config.HTMLExporter.exclude_input = True
    config.HTMLExporter.exclude_output_prompt = True
    config.TagRemovePreprocessor.enabled = True
    config.TagRemovePreprocessor.remove_cell_tags = {NOT_ON_PAGE}
    exporter = _exporter()(config=config, template_name="page")
    resources = {
        "page_title": title,
        "page_style": page.style(),
        "page_made": made,
        "page_script": _plotly_script() if wanted else "",
    }
    with warnings.catch_warnings():
        warnings.simplefilter("error", UserWarning)  # nbconvert drops what it cannot show
        body, _ = exporter.from_notebook_node(node, resources=resources)
    drawn = body.count('class="figure"')
    if drawn != wanted:
        raise RcaError(f"{wanted} figures in the notebook, {drawn} on the page")
    return str(body)


def _exporter() -> type:
    """Return nbconvert's exporter without its last step, which parses the whole page once more.

    That step gives images an alternative text; figures here carry their own.
    """
    from nbconvert import HTMLExporter, TemplateExporter

    class Exporter(HTMLExporter):
        def from_notebook_node(self, nb: Any, resources: Any = None, **more: Any) -> Any:
            self.register_filter("highlight_code", lambda source, **_: source)  # no code is shown
            return TemplateExporter.from_notebook_node(self, nb, resources, **more)

    return Exporter


def _plotly_script() -> str:
    from plotly.offline import get_plotlyjs

    return str(get_plotlyjs()).replace("</script", "<\\/script")


def _draw_plotly_as_html(node: Any, style: NumberStyle) -> int:
    """Turn every plotly output into a div and its script; drop widgets, which need a kernel."""
    node.metadata.pop("widgets", None)
    count = 0
    for cell in node.cells:
        if cell.cell_type != "code":
            continue
        kept = []
        for output in cell.outputs:
            data = output.get("data", {})
            if WIDGET in data:
                continue
            if PLOTLY in data:
                data = {"text/html": _figure_html(data[PLOTLY], number=count, style=style)}
                output["data"] = data
                count += 1
            if output.get("name") != "stderr":
                kept.append(output)
        cell.outputs = kept
    return count


def _figure_html(figure: Any, *, number: int, style: NumberStyle) -> str:
    """One figure as HTML; JSON inside a script must not end it, text in it is only text."""
    layout = {**figure.get("layout", {}), "separators": style.plotly}
    said = style.sentence(str((layout.get("meta") or {}).get("alt", "figure")))
    alt = html.escape(said, quote=True)
    height = int(layout.get("height", 400))
    name = f"figure-{number}"
    text = {
        part: json.dumps(_plain(value)).replace("</", "<\\/").replace("<!--", "<\\!--")
        for part, value in (("data", figure.get("data", [])), ("layout", layout))
    }
    return (
        f'<div class="figure" id="{name}" role="img" aria-label="{alt}" '
        f'style="height:{height}px"></div>\n'
        f'<script>Plotly.newPlot("{name}", {text["data"]}, {text["layout"]}, '
        f"{json.dumps(_CONFIG)});</script>"
    )


def _plain(value: Any) -> Any:
    """Take the meaning of markup out of every text of a figure, which may come from the records.

    plotly would show tags such as links as such.
    """
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if isinstance(value, str):
        return value.replace("&", "&amp;").replace("<", "&lt;")
    return value
